"""Ask the registry before every view. No rule, no entry."""

from __future__ import annotations

from collections.abc import Callable
from http import HTTPStatus
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.conf import settings
from django.contrib import messages
from django.contrib.auth import logout
from django.contrib.auth.views import redirect_to_login
from django.core.exceptions import PermissionDenied
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import gettext as _

from lifecycle.care import signin

from . import second_factor
from .devices import note_seen
from .door import is_fresh, to_fresh_sign_in
from .language import speak
from .registry import ROLES_OF, allows, rule_of

CHANGES_PASSKEYS: Final = frozenset({"mfa_add_webauthn", "mfa_edit_webauthn", "mfa_remove_webauthn"})
PASSKEY_PAGES: Final = CHANGES_PASSKEYS | {"mfa_index", "mfa_list_webauthn"}


class AccessMiddleware:
    """Sets `request.member` (MemberFacts or None), `request.customer_ids`, the language and the time zone, then lets
    in, redirects or refuses.

    Anonymous: to the sign-in page, back afterwards. Wrong role: 403. A member without a second factor: to its set-up.
    """

    def __init__(self, get_response: Callable[[HttpRequest], HttpResponseBase]) -> None:
        self.get_response = get_response

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        request.member = None
        request.customer_ids = ()
        request.wishes = signin.NOBODY
        request.user_seen = False
        # Without the cookie nobody can be signed in: probes of the health page cost no query.
        if settings.SESSION_COOKIE_NAME in request.COOKIES and request.user.is_authenticated:
            request.user_seen = True
            request.member = signin.member_of(request.user.pk)
            customer = signin.customer_of(request.user.pk)
            request.customer_ids, request.wishes = customer.ids, customer
            note_seen(request)
        speak(request, request.wishes.languages, units=request.wishes.units)
        # Times by the clock of whoever reads them; the name of the zone stands beside each.
        at_work = request.member is not None and (request.path.startswith("/studio/") or not request.customer_ids)
        zone = request.member.studio.zone if at_work else request.wishes.zone
        with timezone.override(ZoneInfo(zone)):
            response = self.get_response(request)
            if response.status_code == HTTPStatus.METHOD_NOT_ALLOWED and _wants_a_page(request, response):
                # Signing in leads back to where one was sent from, and that may have been a button.
                response.content = render_to_string("405.html", request=request)
        if request.user_seen and not response.has_header("Cache-Control"):
            # What one person may see must not wait in a shared cache for the next one.
            response["Cache-Control"] = "private, no-cache"
        return response

    def process_view(
        self, request: HttpRequest, view: Callable[..., Any], args: tuple[Any, ...], kwargs: dict[str, Any]
    ) -> HttpResponseBase | None:
        match = request.resolver_match
        rule = rule_of(view, match.view_name if match else "")
        if rule is None:
            raise PermissionDenied("This page has no access rule; nobody gets in until it has one.")
        if rule == "closed":
            raise Http404
        if rule in ("public", "token"):  # the API asks for its token itself
            return None
        if not request.user.is_authenticated:
            return _to_sign_in(request)
        member = request.member
        if not allows(
            rule,
            role=member.role if member else None,
            is_customer=bool(request.customer_ids),
        ):
            raise PermissionDenied("Your role does not open this page.")
        if rule in ROLES_OF:
            return _second_factor(request)
        if member is None and match is not None and match.view_name.startswith("mfa_"):
            return _passkey_of_a_customer(request, match.view_name)
        return None


def _wants_a_page(request: HttpRequest, response: HttpResponseBase) -> bool:
    empty = not response.streaming and not response.content
    return request.method == "GET" and request.user_seen and empty and request.accepts("text/html")


def _passkey_of_a_customer(request: HttpRequest, name: str) -> HttpResponseBase | None:
    """Passkeys alone, and only soon after signing in: a phone that lies about must not make a way in for good."""
    if name not in PASSKEY_PAGES:
        raise Http404
    if name in CHANGES_PASSKEYS and not is_fresh(request):
        return to_fresh_sign_in(request, request.path)
    return None


def _to_sign_in(request: HttpRequest) -> HttpResponseBase:
    if request.headers.get("HX-Request"):
        # A fragment cannot hold the sign-in page: the browser goes there as a whole.
        here = request.headers.get("HX-Current-URL", "/")
        answer = HttpResponse(status=401)
        answer["HX-Redirect"] = redirect_to_login(here.removeprefix(settings.SITE_ADDRESS)).url
        return answer
    return redirect_to_login(request.get_full_path())


def _second_factor(request: HttpRequest) -> HttpResponseBase | None:
    if second_factor.is_demo(request):
        return None
    if second_factor.has_one(request.user):
        if second_factor.shown(request):
            return None
        # Signed in before the factor was set up elsewhere.
        logout(request)
        messages.info(request, _("Please sign in again: your account has a second factor now."))
        return _to_sign_in(request)
    messages.info(
        request, _("The studio's pages need a second factor. Set up an authenticator app or a passkey here first.")
    )
    return redirect("mfa_index")
