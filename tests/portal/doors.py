"""Ways in for tests: a browser in which somebody is signed in."""

from __future__ import annotations

import time
from typing import Any

from allauth.mfa.totp.internal.auth import TOTP
from django.test import Client

from lifecycle.models import Customer, Member, User
from portal.access.devices import NOTED
from portal.access.second_factor import SET_UP_MARK

SECRET = "JBSWY3DPEHPK3PXP"


def as_member(member: Member, *, second_factor: bool = True) -> Client:
    """A member's browser; with a second factor unless told otherwise."""
    client = Client()
    client.force_login(member.user)
    if second_factor:
        TOTP.activate(member.user, SECRET)
        _put(client, SET_UP_MARK, member.user.pk)
    return _noted(client)


def as_user(person: Customer | User) -> Client:
    """The browser of a customer, or of a user who is nobody here."""
    user: Any = person.user if isinstance(person, Customer) else person
    client = Client()
    client.force_login(user)
    return _noted(client)


def _noted(client: Client) -> Client:
    """Seen just now, so that counting queries does not begin with a note of the device."""
    return _put(client, NOTED, ["", time.time()])


def _put(client: Client, name: str, value: Any) -> Client:
    session = client.session
    session[name] = value
    session.save()
    return client
