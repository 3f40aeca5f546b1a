"""Signing in as a customer: by a code or a link from one mail. Neither is used up by a program that only looks."""

from __future__ import annotations

import time
from typing import Any, Final

from allauth.account.adapter import get_adapter
from allauth.account.internal.flows.login import get_authentication_records, perform_login, record_authentication
from allauth.account.models import Login
from django.conf import settings
from django.contrib import messages
from django.contrib.auth import get_user_model
from django.core.exceptions import PermissionDenied
from django.core.mail import EmailMessage
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone, translation
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lifecycle.care import door
from lifecycle.care.customer_reads import language_of

from .courier import hand_over
from .forms import AskForm, CodeForm
from .paths import own_path
from .registry import access

ASKED: Final = "sign_in_asked"
FRESH_S: Final = 10 * 60


def caller_of(request: HttpRequest) -> str:
    """The network address that asks; behind a proxy the one that the proxy saw."""
    try:
        return str(get_adapter().get_client_ip(request))
    except PermissionDenied:  # a socket file has no address
        return ""


def is_fresh(request: HttpRequest) -> bool:
    """Whether the person showed who they are within the last ten minutes, in this session."""
    records = get_authentication_records(request, request.user)
    return bool(records) and time.time() - records[-1]["at"] < FRESH_S


def to_fresh_sign_in(request: HttpRequest, back: str) -> HttpResponse:
    """Off to sign in once more, and back to `back` afterwards."""
    messages.info(request, _("Please sign in once more: this changes who gets in, or ends something for good."))
    return redirect(f"{reverse('account_request_login_code')}?{urlencode({'next': back})}")


def send_key(*, key_id: int, email: str, code: str, link: str, at: Any) -> None:
    """Mail the code and the link, if the address is a customer's. Done beside the request, for it takes longer then."""
    user = door.who_asked(key_id=key_id, email=email, at=at)
    if user is None:
        return
    with translation.override(language_of(user.pk)):
        context = {
            "code": code,
            "link": f"{settings.SITE_ADDRESS}{reverse('sign_in_link', args=[link])}",
            "site_address": settings.SITE_ADDRESS,
        }
        subject = " ".join(render_to_string("account/email/login_code_subject.txt", context).split())
        body = render_to_string("account/email/login_code_message.txt", context).strip() + "\n"
    EmailMessage(subject, body, settings.DEFAULT_FROM_EMAIL, [email.strip().lower()]).send()


def _ask(request: HttpRequest, email: str, goal: str) -> bool:
    """Make a key and have it mailed. False: too many were asked for."""
    at = timezone.now()
    try:
        key = door.make_key(email=email, caller=caller_of(request), goal=goal, at=at)
    except door.TooManyKeys:
        return False
    request.session[ASKED] = {"key": key.id, "email": email, "goal": goal}
    hand_over(send_key, key_id=key.id, email=email, code=key.code, link=key.link, at=at)
    return True


def too_many() -> str:
    """What is said where the limits hold."""
    return _("Codes were asked for many times. Wait a quarter of an hour, then ask again.")


@access("public")
@require_http_methods(["GET", "POST"])
@never_cache
def request_code(request: HttpRequest) -> HttpResponse:
    """Ask for a mail. The answer does not tell whether anybody here has the address, nor does how long it takes."""
    goal = own_path(request.POST.get("next") or request.GET.get("next"))
    known = str(getattr(request.user, "email", ""))
    form = AskForm(request.POST or None, initial={"email": known})
    status = 200
    if form.is_valid():
        if _ask(request, form.cleaned_data["email"], goal):
            return redirect("account_confirm_login_code")
        form.add_error(None, too_many())
        status = 429
    return render(request, "account/request_login_code.html", {"form": form, "goal": goal}, status=status)


@access("public")
@require_http_methods(["GET", "POST"])
@never_cache
def confirm_code(request: HttpRequest) -> HttpResponse:
    """Type the code, or have another mail sent."""
    asked = request.session.get(ASKED)
    if not isinstance(asked, dict):
        return redirect("account_request_login_code")
    if request.POST.get("action") == "resend":
        if _ask(request, asked["email"], asked["goal"]):
            messages.info(request, _("A new code is on its way, if the address is on record."))
        else:
            messages.error(request, too_many())
        return redirect("account_confirm_login_code")
    form = CodeForm(request.POST or None)
    if form.is_valid():
        at = timezone.now()
        opened = door.use_code(key_id=asked["key"], code=form.cleaned_data["code"], at=at)
        if opened is not None:
            return _let_in(request, opened)
        if not door.key_lives(key_id=asked["key"], at=at):
            del request.session[ASKED]
            messages.error(request, _("That code has ended. Ask for a new one."))
            return redirect(f"{reverse('account_request_login_code')}?{urlencode({'next': asked['goal']})}")
        form.add_error("code", _("That is not the code of the last mail. Look again, or have a new one sent."))
    context = {"form": form, "email": asked["email"], "goal": asked["goal"]}
    return render(request, "account/confirm_login_code.html", context)


@access("public")
@require_http_methods(["GET", "POST"])
@never_cache
def open_link(request: HttpRequest, link: str) -> HttpResponse:
    """The mailed link: a page with a button. Programs that look at links in mails press no buttons."""
    at = timezone.now()
    if request.method == "POST":
        opened = door.use_link(link=link, at=at)
        if opened is not None:
            return _let_in(request, opened)
    return render(request, "account/sign_in_link.html", {"lives": door.link_lives(link=link, at=at)})


def _let_in(request: HttpRequest, opened: door.Opened) -> HttpResponse:
    request.session.pop(ASKED, None)
    user = get_user_model().objects.get(pk=opened.user_id)
    record_authentication(request, user, method="code", email=user.email)
    goal = own_path(opened.goal) or reverse("home")
    answer: HttpResponse = perform_login(request, Login(user=user, redirect_url=goal, email=user.email))
    return answer
