"""One-click sign-in for the demo. In any other mode, or without its key, these addresses do not exist."""

from __future__ import annotations

import secrets
from typing import Final

from django.conf import settings
from django.contrib.auth import get_user_model, login
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.views.decorators.cache import never_cache

from portal.access.registry import access
from portal.access.second_factor import DEMO_MARK

WHO: Final = {
    "owner": "irune.sallow@example.org",
    "technician": "piet.oxenrood@example.org",
    "desk": "dace.ferrule@example.org",
    "customer": "tove.halvarsen@example.org",
}


@access("public")
@never_cache
def enter(request: HttpRequest, key: str, who: str) -> HttpResponse:
    """Sign in as one of the demo's people and go to their start page."""
    wanted = settings.DEMO_KEY if settings.MODE == "demo" else ""
    if not wanted or not secrets.compare_digest(key.encode(), wanted.encode()) or who not in WHO:
        raise Http404
    user = get_user_model().objects.filter(email__iexact=WHO[who], is_active=True).first()
    if user is None:
        raise Http404("The demo studio is not loaded; run: manage.py load_demo")
    login(request, user, backend=settings.AUTHENTICATION_BACKENDS[0])
    request.session[DEMO_MARK] = True
    return redirect("home")
