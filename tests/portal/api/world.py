"""Programs for tests: tokens, and asking with them."""

from __future__ import annotations

from typing import Any

from django.test import Client
from django.utils import timezone

from lifecycle.connect.scopes import open_to
from lifecycle.connect.tokens import MadeToken, make_token
from lifecycle.models import Member


def made_token(member: Member, *scopes: str, **fields: Any) -> MadeToken:
    """A token of a member with these scopes; with all that the role allows unless told otherwise."""
    return make_token(
        studio=member.studio, member_id=member.pk, name="cash register",
        scopes=scopes or [scope.code for scope in open_to(member.role)],
        **{"days": 30, "actor": f"member:{member.pk}", "at": timezone.now()} | fields,
    )  # fmt: skip


def program(member: Member, *scopes: str, **fields: Any) -> Client:
    """A program that sends a member's token with every request."""
    return Client(headers={"Authorization": f"Bearer {made_token(member, *scopes, **fields).secret}"})
