"""The link by which a member sets a password, once; the second factor is asked for at the first sign-in."""

from __future__ import annotations

from typing import Any

from allauth.account.forms import default_token_generator
from allauth.account.utils import user_pk_to_url_str
from django.conf import settings
from django.core.mail import EmailMessage
from django.template.loader import render_to_string
from django.urls import reverse


def days_it_holds() -> int:
    """How many days such a link holds."""
    return settings.PASSWORD_RESET_TIMEOUT // 86_400


def password_link(user: Any) -> str:
    """The address at which this user sets a password. It holds for `days_it_holds`, and until it is used.

    The very link that the sign-in page mails to whoever forgot the password, built without a request.
    """
    where = {"uidb36": user_pk_to_url_str(user), "key": default_token_generator.make_token(user)}
    return f"{settings.SITE_ADDRESS}{reverse('account_reset_password_from_key', kwargs=where)}"


def invite(user: Any, *, studio: str) -> str:
    """Mail the link to a member.

    Returns:
        "" where the mail was handed over, else why it was not, for the owner who asked.
    """
    context = {
        "studio": studio, "name": user.name, "password_reset_url": password_link(user), "days": days_it_holds(),
        "site_address": settings.SITE_ADDRESS,
    }  # fmt: skip
    subject = " ".join(render_to_string("account/email/invitation_subject.txt", context).split())
    body = render_to_string("account/email/invitation_message.txt", context).strip() + "\n"
    try:
        EmailMessage(subject, body, settings.DEFAULT_FROM_EMAIL, [user.email]).send()
    except Exception as error:  # each mail provider has its own; the owner must hear of all of them
        return f"{type(error).__name__}: {error}"[:200]
    return ""
