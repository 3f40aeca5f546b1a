"""Verbs that set a studio up and keep its house: studio, sites, bays, members."""

from __future__ import annotations

import re
from datetime import datetime

from django.core.exceptions import ValidationError
from django.core.validators import validate_email
from django.db import IntegrityError, transaction

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.keeping import known_zone
from lifecycle.care.places import check_place
from lifecycle.care.register import known
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Bay, Member, Role, Site, Studio, User

SLUG = re.compile(r"[a-z0-9]+(?:-[a-z0-9]+)*")
CURRENCY = re.compile(r"[A-Z]{3}")


def _named(field: str, text: str, most: int) -> str:
    name = text.strip()
    if not 0 < len(name) <= most:
        raise DomainError(f"{field}: write 1 to {most} characters.", field=field)
    return name


def _address(field: str, email: str) -> str:
    address = email.strip().lower()
    try:
        validate_email(address)
    except ValidationError as error:
        raise DomainError(f"{field}: {email!r} is no e-mail address.", field=field) from error
    return address


def found_studio(
    *,
    name: str,
    slug: str,
    owner_name: str,
    owner_email: str,
    zone: str = "UTC",
    currency: str = "EUR",
    phone: str = "",
    reply_to: str = "",
    actor: str,
    at: datetime,
) -> Member:
    """Put a studio on record, together with its first owner: without one nobody could get in.

    Args:
        slug: short name for machines: small letters, digits and single hyphens.
        zone: time zone of the studio, like Europe/Oslo.  currency: three letters of ISO 4217.
        reply_to: where answers to the studio's mails go; "" for the sender.

    Returns:
        The owner, whose `user` has no usable password yet.

    Raises:
        DomainError: names the field, what is wrong with it and what would be right.
    """
    if not SLUG.fullmatch(slug) or len(slug) > 50:
        raise DomainError(
            f"slug: {slug!r} is not made of small letters, digits and single hyphens; write it like "
            "north-harbour, 50 characters at most.",
            field="slug",
        )
    if not CURRENCY.fullmatch(currency):
        raise DomainError(f"currency: {currency!r} is not three capital letters like EUR.", field="currency")
    answers = _address("reply_to", reply_to) if reply_to.strip() else ""
    called, clock = _named("name", name, 120), known_zone(zone)
    if Studio.objects.filter(slug=slug).exists():
        raise DomainError(f"slug: a studio {slug!r} is already on record; choose another.", field="slug")
    with transaction.atomic():
        studio: Studio = Studio.objects.create(
            name=called, slug=slug, zone=clock, currency=currency, phone=phone.strip(), reply_to=answers
        )
        journal.record(
            studio=studio, actor=actor, at=at, verb="studio founded", subject="studio", subject_id=studio.pk, slug=slug
        )
        return _join(studio, name=owner_name, email=owner_email, role=Role.OWNER, owner=True, actor=actor, at=at)


def add_site(
    *,
    studio: Studio,
    name: str,
    lat: float,
    lon: float,
    height_m: float | None = None,
    sea_distance_m: float | None = None,
    zone: str = "",
    road_salt: str = "none",
    bays: int = 0,
    actor: str,
    at: datetime,
) -> Site:
    """Add a site, with its first bays named Bay 1, Bay 2 and so on.

    Args:
        lat, lon: degrees, north and east positive.  height_m, sea_distance_m: None where nobody knows.
        zone: time zone; "" for the studio's.

    Raises:
        DomainError: a name that is taken, a figure out of range, an unknown word; the field says which.
    """
    check_place(lat=lat, lon=lon, height_m=height_m, sea_distance_m=sea_distance_m, road_salt=road_salt)
    if not 0 <= bays <= 50:
        raise DomainError(f"bays: {bays} is not between 0 and 50.", field="bays")
    called, clock = _named("name", name, 120), known_zone(zone or studio.zone)
    if Site.objects.of(studio).filter(name=called).exists():
        raise DomainError(f"name: this studio already has a site {called!r}.", field="name")
    with transaction.atomic():
        site: Site = Site.objects.create(
            studio=studio, name=called, lat=lat, lon=lon, height_m=height_m, sea_distance_m=sea_distance_m,
            zone=clock, road_salt=road_salt,
        )  # fmt: skip
        journal.record(
            studio=studio, actor=actor, at=at, verb="site added", subject="site", subject_id=site.pk, lat=lat, lon=lon
        )
        for number in range(1, bays + 1):
            add_bay(studio=studio, site_id=site.pk, name=f"Bay {number}", actor=actor, at=at)
    return site


def add_bay(*, studio: Studio, site_id: int, name: str, actor: str, at: datetime) -> Bay:
    """Add a bay to a site. The outlook counts the hours of every bay as capacity.

    Raises:
        DomainError: no name, or one that another bay of the site has.
        NotFoundHere: the site is not of this studio.
    """
    called = _named("name", name, 60)
    with transaction.atomic():
        site = one(Site, studio, site_id, lock=True)
        if Bay.objects.filter(site=site, name=called).exists():
            raise DomainError(f"name: {site} already has a bay {called!r}.", field="name")
        bay: Bay = Bay.objects.create(studio=studio, site=site, name=called)
        journal.record(studio=studio, actor=actor, at=at, verb="bay added", subject="bay", subject_id=bay.pk)
    return bay


def add_member(*, studio: Studio, name: str, email: str, role: str, actor: str, at: datetime) -> Member:
    """Let a person work in the studio. Somebody who has an account already keeps it; nobody gets a password by this.

    A member signs in with password and second factor, no longer by a code, wherever the address is known.

    Raises:
        DomainError: a bad name, address or role, or an address that belongs to a member already.
    """
    with transaction.atomic():
        return _join(studio, name=name, email=email, role=role, actor=actor, at=at)


def _join(studio: Studio, *, name: str, email: str, role: str, owner: bool = False, actor: str, at: datetime) -> Member:
    prefix = "owner_" if owner else ""
    known("role", role, tuple(Role.values))
    called, address = _named(f"{prefix}name", name, 120), _address(f"{prefix}email", email)
    field = f"{prefix}email"
    user = User.objects.filter(email__iexact=address).first()
    if user is not None:
        _refuse_second_membership(studio, user, field)
        if not user.name:
            user.name = called
            user.save(update_fields=["name"])
    try:
        with transaction.atomic():
            if user is None:
                user = User.objects.create_user(address, None, name=called)
            member: Member = Member.objects.create(studio=studio, user=user, role=role)
    except IntegrityError as error:
        raise DomainError(f"{field}: somebody else has just entered {address}; look again.", field=field) from error
    journal.record(
        studio=studio, actor=actor, at=at, verb="member added", subject="member", subject_id=member.pk, role=role
    )
    return member


def _refuse_second_membership(studio: Studio, user: User, field: str) -> None:
    """A person works in one studio of an installation: signing in leads to one work list."""
    now = Member.objects.filter(user=user, ended_at=None).first()
    if now is not None:
        where = "this studio" if now.studio_id == studio.pk else "another studio of this installation"
        raise DomainError(f"{field}: {user.email} already belongs to a member of {where}.", field=field)


def _present(studio: Studio, member_id: int) -> Member:
    """A member who still works here, with the studio's row locked: two owners cannot remove each other at once."""
    Studio.objects.select_for_update().get(pk=studio.pk)
    member = one(Member, studio, member_id)
    if member.ended_at is not None:
        raise NotFoundHere(f"Member {member_id} no longer works in this studio.")
    return member


def _keep_an_owner(member: Member, field: str) -> None:
    others = Member.objects.of(member.studio).filter(role=Role.OWNER, ended_at=None).exclude(pk=member.pk)
    if member.role == Role.OWNER and not others.exists():
        raise DomainError(f"{field}: a studio keeps at least one owner; make somebody else owner first.", field=field)


def change_role(*, studio: Studio, member_id: int, role: str, actor: str, at: datetime) -> Member:
    """Give a member another role; it holds from the next page on.

    Raises:
        DomainError: an unknown role, or the last owner would be gone.
        NotFoundHere: nobody who works in this studio.
    """
    known("role", role, tuple(Role.values))
    with transaction.atomic():
        member = _present(studio, member_id)
        if member.role == role:
            return member
        _keep_an_owner(member, "role")
        before, member.role = member.role, role
        member.save(update_fields=["role"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="role changed", subject="member", subject_id=member.pk,
            before=before, after=role,
        )  # fmt: skip
    return member


def end_member(*, studio: Studio, member_id: int, actor: str, at: datetime) -> Member:
    """A person no longer works here: the studio's pages close at once, what they recorded stays theirs.

    Raises:
        DomainError: the last owner would be gone.
        NotFoundHere: nobody who works in this studio.
    """
    with transaction.atomic():
        member = _present(studio, member_id)
        _keep_an_owner(member, "member")
        member.ended_at = at
        member.save(update_fields=["ended_at"])
        journal.record(studio=studio, actor=actor, at=at, verb="member ended", subject="member", subject_id=member.pk)
    return member
