"""What a program may be allowed, and which role of its member it needs besides. No Django in here.

A token never opens more than the pages open to its member: the role is asked anew at every request.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass
from typing import Final

MEMBERS: Final = frozenset({"owner", "technician", "desk"})
TECHNICIANS: Final = frozenset({"owner", "technician"})
DESK: Final = frozenset({"owner", "desk"})
OWNER: Final = frozenset({"owner"})


@dataclass(frozen=True, slots=True)
class Scope:
    """`words` is what the page says beside the tick; `roles` may do the same on the pages."""

    code: str
    words: str
    roles: frozenset[str]


SCOPES: Final[Mapping[str, Scope]] = {
    scope.code: scope
    for scope in (
        Scope("read:vehicles", "read vehicles and their surfaces", MEMBERS),
        Scope("write:vehicles", "put vehicles on record", DESK),
        Scope("read:layers", "read layers with their forecast", MEMBERS),
        Scope("write:layers", "record layers", TECHNICIANS),
        Scope("read:events", "read washes and other events", MEMBERS),
        Scope("write:events", "record washes and other events", TECHNICIANS),
        Scope("read:due", "read the care that is due", MEMBERS),
        Scope("read:offers", "read offers", DESK),
        Scope("write:offers", "record answers to offers", DESK),
        Scope("read:outlook", "read the outlook by month", OWNER),
    )
}


def open_to(role: str) -> tuple[Scope, ...]:
    """The scopes that a member of this role can give to a token."""
    return tuple(scope for scope in SCOPES.values() if role in scope.roles)


def effective(scopes: Collection[str], *, role: str) -> frozenset[str]:
    """Of a token's scopes those that its member's present role still allows; unknown words allow nothing."""
    return frozenset(code for code in scopes if code in SCOPES and role in SCOPES[code].roles)
