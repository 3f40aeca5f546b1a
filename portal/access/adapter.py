"""How people get an account: the studio enters them. Nobody signs up alone."""

from __future__ import annotations

from typing import Any

from allauth.account.adapter import DefaultAccountAdapter
from allauth.mfa.adapter import DefaultMFAAdapter
from allauth.mfa.models import Authenticator
from django.conf import settings
from django.http import HttpRequest
from django.utils.translation import gettext as _

from lifecycle.care import signin


class AccountAdapter(DefaultAccountAdapter):
    """No open sign-up; mails carry no prefix of the host."""

    def is_open_for_signup(self, request: HttpRequest) -> bool:
        return False

    def format_email_subject(self, subject: str) -> str:
        return str(subject)

    def send_mail(self, template_prefix: str, email: str, context: dict[str, Any]) -> None:
        super().send_mail(template_prefix, email, {"site_address": settings.SITE_ADDRESS, **context})


class MFAAdapter(DefaultMFAAdapter):
    """Only members have a second factor. A customer's passkey is a first one, as the mailed code is."""

    def is_mfa_enabled(self, user: Any, types: Any = None) -> bool:
        return bool(super().is_mfa_enabled(user, types)) and signin.is_member(user.pk)

    def generate_authenticator_name(self, user: Any, type: Any) -> str:
        return (
            _("My passkey")
            if type == Authenticator.Type.WEBAUTHN
            else str(super().generate_authenticator_name(user, type))
        )
