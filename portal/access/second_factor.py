"""Whether this session of a member has shown a second factor."""

from __future__ import annotations

from typing import Any

from allauth.account.authentication import get_authentication_records
from allauth.mfa.models import Authenticator
from allauth.mfa.signals import authenticator_added
from django.conf import settings
from django.dispatch import receiver
from django.http import HttpRequest

DEMO_MARK = "demo_sign_in"
SET_UP_MARK = "second_factor_set_up"
FACTORS = [Authenticator.Type.TOTP, Authenticator.Type.WEBAUTHN]


@receiver(authenticator_added, dispatch_uid="second_factor_set_up_here")
def remember_set_up(sender: Any, request: HttpRequest, user: Any, authenticator: Authenticator, **kwargs: Any) -> None:
    """Whoever sets the factor up in this session has just held it in hand."""
    if authenticator.type in FACTORS:
        request.session[SET_UP_MARK] = user.pk


def has_one(user: Any) -> bool:
    """Say whether the person has a second factor at all (one query)."""
    return Authenticator.objects.filter(user=user, type__in=FACTORS).exists()


def shown(request: HttpRequest) -> bool:
    """Say whether this session has shown it."""
    if request.session.get(SET_UP_MARK) == request.user.pk:
        return True
    return any(record.get("method") == "mfa" for record in get_authentication_records(request, request.user))


def is_demo(request: HttpRequest) -> bool:
    """The mark of the one-click demo sign-in stands for a second factor, in demo mode only."""
    return settings.MODE == "demo" and request.session.get(DEMO_MARK) is True
