"""A customer's own data: to read, to take along, to have erased."""

from __future__ import annotations

import json
from typing import Any, Final

from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.contrib import messages
from django.contrib.auth import logout
from django.core.serializers.json import DjangoJSONEncoder
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care.customer_reads import studio_of_customer
from lifecycle.care.erasure import erase_customer, what_would_go
from lifecycle.care.own_data import own_data
from lifecycle.errors import DomainError
from portal.access.door import is_fresh, to_fresh_sign_in
from portal.access.people import PortalRequest
from portal.access.registry import access
from portal.studio.common import plain

from .data_words import FILE_ONLY, field_words, value_words
from .forms import EraseForm

LONGEST: Final = 1000


def _all_of(request: PortalRequest) -> dict[str, Any]:
    """What is on record here, and what the sign-in keeps."""
    data = own_data(request.customer_ids, at=timezone.now())
    user: Any = request.user
    account = [{"email": user.email, "name": user.name, "since": user.date_joined, "last_sign_in": user.last_login}]
    sessions = UserSession.objects.filter(user=user).order_by("pk")
    passkeys = Authenticator.objects.filter(user=user).order_by("pk")
    data["parts"] |= {
        "Your account": account,
        "Where you are signed in": list(sessions.values("created_at", "last_seen_at", "ip", "user_agent")),
        "Your passkeys": [
            {"name": row.data.get("name", ""), "kind": row.type, "added_at": row.created_at,
             "last_used_at": row.last_used_at}
            for row in passkeys
        ],
    }  # fmt: skip
    return data


@access("customer")
@require_GET
@never_cache
def download(request: PortalRequest) -> HttpResponse:
    """Everything as one JSON file (RFC 8259)."""
    text = json.dumps(_all_of(request), cls=DjangoJSONEncoder, ensure_ascii=False, indent=1)
    answer = HttpResponse(text, content_type="application/json")
    answer["Content-Disposition"] = 'attachment; filename="my-data.json"'
    return answer


def _shown(row: dict[str, Any]) -> list[tuple[str, str]]:
    """What is filled in, in order; a course of hundreds of points is for the file, not for eyes."""
    filled = [(name, value) for name, value in row.items() if value not in (None, "", [], {})]
    said = [(field_words(name), "" if name in FILE_ONLY else value_words(value)) for name, value in filled]
    return [(name, value if 0 < len(value) <= LONGEST else _("(long; it stands in the file)")) for name, value in said]


@access("customer")
@gzip_page
@require_GET
@never_cache
def readable(request: PortalRequest) -> HttpResponse:
    """The same to read and to print."""
    data = _all_of(request)
    parts = [(_(title), [_shown(row) for row in rows]) for title, rows in data["parts"].items()]
    return render(request, "customer/data.html", {"data": data, "parts": parts})


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def erase(request: PortalRequest, customer_id: int) -> HttpResponse:
    """What goes, what stays; then for good, soon after signing in and with the name typed again."""
    if customer_id not in request.customer_ids:
        raise Http404
    if not is_fresh(request):
        return to_fresh_sign_in(request, request.path)
    studio = studio_of_customer(customer_id).studio
    form = EraseForm(request.POST or None)
    if form.is_valid():
        try:
            erase_customer(
                studio=studio, customer_id=customer_id, actor=f"customer:{customer_id}", at=timezone.now(),
                **form.cleaned_data,
            )  # fmt: skip
        except DomainError as error:
            form.add_error(error.field or None, plain(error))
        else:
            logout(request)
            messages.success(request, _("You are erased. The technical record of the vehicle stays, linked to nobody."))
            return redirect("account_login")
    what = what_would_go(studio=studio, customer_id=customer_id)
    context = {"form": form, "what": what, "studio": studio}
    return render(request, "customer/erase.html", context, status=422 if form.errors else 200)
