"""People, not fixtures: the owner, the technician, the desk, a customer, a stranger."""

from __future__ import annotations

from typing import Any

from lifecycle.models import Customer, Member, Studio, User
from tests.factories import CustomerFactory, MemberFactory, StudioFactory, UserFactory


def _member(role: str, studio: Studio | None) -> Member:
    return MemberFactory(studio=studio or StudioFactory(), role=role, user=UserFactory(name=role.title()))


def owner(studio: Studio | None = None) -> Member:
    return _member("owner", studio)


def technician(studio: Studio | None = None) -> Member:
    return _member("technician", studio)


def desk(studio: Studio | None = None) -> Member:
    return _member("desk", studio)


def customer(studio: Studio | None = None, **fields: Any) -> Customer:
    """A customer who can sign in."""
    user = UserFactory(name="Customer")
    return CustomerFactory(studio=studio or StudioFactory(), user=user, email=user.email, **fields)


def stranger() -> User:
    """Signed in, but nobody here."""
    return UserFactory(name="Stranger")
