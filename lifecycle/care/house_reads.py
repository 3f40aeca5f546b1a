"""Who works in the studio, and which bays its sites have. Reads only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from lifecycle.care.find import one
from lifecycle.errors import NotFoundHere
from lifecycle.models import Bay, Member, Site, Studio, User


@dataclass(frozen=True, slots=True)
class MemberRow:
    """A member. `has_password`: the link was used, or the person had an account before; `ended_at`: None at work."""

    id: int
    user_id: int
    name: str
    email: str
    role: str
    has_password: bool
    last_seen: datetime | None
    ended_at: datetime | None


@dataclass(frozen=True, slots=True)
class SiteBays:
    """A site's bays by name."""

    site_id: int
    site: str
    bays: tuple[str, ...]


def _row(member: Member) -> MemberRow:
    user = member.user
    return MemberRow(
        id=member.pk, user_id=user.pk, name=str(user), email=user.email, role=member.role,
        has_password=user.has_usable_password(), last_seen=user.last_login, ended_at=member.ended_at,
    )  # fmt: skip


def team(studio: Studio) -> tuple[MemberRow, ...]:
    """Everybody who works or worked in the studio, those at work first; one query."""
    rows = [_row(member) for member in Member.objects.of(studio).select_related("user").order_by("id")]
    return tuple(sorted(rows, key=lambda row: row.ended_at is not None))


def member_at_work(studio: Studio, member_id: int) -> MemberRow:
    """One member who works in the studio.

    Raises:
        NotFoundHere: nobody who works in this studio.
    """
    member = one(Member, studio, member_id)
    if member.ended_at is not None:
        raise NotFoundHere(f"Member {member_id} no longer works in this studio.")
    return _row(member)


def user_of(row: MemberRow) -> User:
    """The account behind a member, for the link that sets its password."""
    return User.objects.get(pk=row.user_id)


def bays_of(studio: Studio, site_id: int) -> SiteBays:
    """The bays of one site.

    Raises:
        NotFoundHere: the site is not of this studio.
    """
    site = one(Site, studio, site_id)
    names = Bay.objects.filter(site=site).order_by("name").values_list("name", flat=True)
    return SiteBays(site.pk, site.name, tuple(names))
