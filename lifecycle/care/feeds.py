"""Private calendar addresses: made, renewed, ended; and the calendar behind one (RFC 5545, by the icalendar library).

The address is a signature (HMAC by Django's signer) over the feed and its serial: nothing that opens it is stored, and
a new serial ends every older address.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime, timedelta
from typing import Final
from uuid import NAMESPACE_URL, uuid5

from django.conf import settings
from django.core.signing import BadSignature, Signer
from django.db import transaction
from django.db.models import Q
from django.utils import translation
from django.utils.translation import gettext as _
from icalendar import Alarm, Calendar, Event, vText

from lifecycle import journal
from lifecycle.care.feed_zone import timezone_of
from lifecycle.care.find import one
from lifecycle.care.visit_changes import of_customers
from lifecycle.care.visit_reads import VisitView, in_calendar
from lifecycle.care.visit_times import span
from lifecycle.errors import NotFoundHere
from lifecycle.models import CalendarFeed, Customer, Member, Site, Studio

SALT: Final = "sheenward.calendar"
# Roles whose pages show the bookings; whoever loses them loses the feed.
MAY: Final = ("owner", "desk")
STATUS: Final = {
    "asked": "TENTATIVE", "offered": "TENTATIVE", "booked": "CONFIRMED", "done": "CONFIRMED",
    "cancelled": "CANCELLED", "declined": "CANCELLED", "no_show": "CANCELLED",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class FeedView:
    """A feed, or the place where one can be made (`token` "")."""

    customer_id: int | None
    site_id: int | None
    name: str
    token: str


@dataclass(frozen=True, slots=True)
class Contents:
    """What a feed shows: its name, its visits, and whether it is a site's (with plates and no alarms)."""

    name: str
    visits: tuple[VisitView, ...]
    for_site: bool
    language: str


def _token(feed: CalendarFeed | None) -> str:
    if feed is None or feed.ended_at is not None:
        return ""
    return Signer(salt=SALT, sep="~").sign(f"{feed.pk}.{feed.serial}")


def make(*, customer_id: int, actor: str, at: datetime) -> CalendarFeed:
    """Make the calendar address of a customer, or a new one that ends the old.

    Raises:
        NotFoundHere: no such customer.
    """
    customer = Customer.objects.select_related("studio").filter(pk=customer_id, erased_at=None).first()
    if customer is None:
        raise NotFoundHere(f"There is no customer {customer_id}.")
    return _renew(customer.studio, actor=actor, at=at, customer=customer)


def make_for_site(*, studio: Studio, member_id: int, site_id: int, actor: str, at: datetime) -> CalendarFeed:
    """The same for a member and a site.

    Raises:
        NotFoundHere: member or site of another studio.
    """
    member, site = one(Member, studio, member_id), one(Site, studio, site_id)
    return _renew(studio, actor=actor, at=at, member=member, site=site)


def _renew(studio: Studio, *, actor: str, at: datetime, **of: object) -> CalendarFeed:
    with transaction.atomic():
        feed: CalendarFeed
        feed, new = CalendarFeed.objects.select_for_update().get_or_create(
            studio=studio, **of, defaults={"made_at": at}
        )
        if not new:
            feed.serial, feed.made_at, feed.ended_at = feed.serial + 1, at, None
            feed.save(update_fields=["serial", "made_at", "ended_at"])
        _note(feed, "calendar address made", actor, at)
    return feed


def _note(feed: CalendarFeed, verb: str, actor: str, at: datetime) -> None:
    journal.record(
        studio=feed.studio, actor=actor, at=at, verb=verb, subject="calendar feed", subject_id=feed.pk,
        serial=feed.serial,
    )  # fmt: skip


def end(*, customer_id: int, actor: str, at: datetime) -> None:
    """End the calendar address of a customer."""
    _end(CalendarFeed.objects.filter(customer_id=customer_id), actor, at)


def end_for_site(*, studio: Studio, member_id: int, site_id: int, actor: str, at: datetime) -> None:
    """The same for a member and a site.

    Raises:
        NotFoundHere: site of another studio.
    """
    site = one(Site, studio, site_id)
    _end(CalendarFeed.objects.filter(studio=studio, member_id=member_id, site=site), actor, at)


def _end(rows: object, actor: str, at: datetime) -> None:
    with transaction.atomic():
        for feed in rows.filter(ended_at=None).select_related("studio"):  # type: ignore[attr-defined]
            feed.ended_at = at
            feed.save(update_fields=["ended_at"])
            _note(feed, "calendar address ended", actor, at)


def feeds_of_customers(customer_ids: Sequence[int]) -> tuple[FeedView, ...]:
    """One line for each studio that looks after a person's vehicles."""
    rows = Customer.objects.filter(pk__in=list(customer_ids)).select_related("studio", "feed").order_by("pk")
    return tuple(FeedView(row.pk, None, row.studio.name, _token(getattr(row, "feed", None))) for row in rows)


def feeds_of_member(studio: Studio, member_id: int) -> tuple[FeedView, ...]:
    """One line for each site of the studio."""
    mine = {feed.site_id: feed for feed in CalendarFeed.objects.filter(studio=studio, member_id=member_id)}
    return tuple(
        FeedView(None, site.pk, site.name, _token(mine.get(site.pk)))
        for site in Site.objects.of(studio).order_by("name")
    )


def contents(token: str, *, at: datetime) -> Contents:
    """What stands behind an address.

    Raises:
        NotFoundHere: no such address, renewed or ended since, or its holder is gone.
    """
    try:
        key, serial = Signer(salt=SALT, sep="~").unsign(token).split(".")
    except (BadSignature, ValueError) as error:
        raise NotFoundHere("There is no such calendar.") from error
    rows = CalendarFeed.objects.select_related("customer", "member", "site", "studio")
    feed = rows.filter(pk=int(key), serial=int(serial), ended_at=None).first()
    if feed is None:
        raise NotFoundHere("There is no such calendar.")
    if feed.customer is not None:
        visits = in_calendar(of_customers([feed.customer.pk]), at=at)
        return Contents(feed.studio.name, visits, False, feed.customer.language or feed.studio.language)
    if feed.member is None or feed.member.ended_at is not None or feed.member.role not in MAY:
        raise NotFoundHere("There is no such calendar.")
    visits = in_calendar(Q(studio=feed.studio, site=feed.site), at=at)
    return Contents(str(feed.site), visits, True, "en")


def uid_of(visit_id: int) -> str:
    """The UID of a visit, the same for ever and in every calendar (RFC 7986, 5.3: a UUID)."""
    return str(uuid5(NAMESPACE_URL, f"{getattr(settings, 'SITE_ADDRESS', '')}/visit/{visit_id}"))


def calendar_of(
    visits: Sequence[VisitView], *, name: str, for_site: bool, language: str, url: Callable[[], str]
) -> bytes:
    """The visits as an iCalendar file; the same visits give the same bytes.

    Args:
        url: the page that each event points to.
    """
    with translation.override(language):
        calendar = Calendar()
        calendar.add("prodid", "-//Sheenward//visits//EN")
        calendar.add("version", "2.0")
        calendar.add("calscale", "GREGORIAN")
        calendar.add("x-wr-calname", vText(" ".join(name.split())))
        # RFC 7986, 5.7: how often a calendar should ask again.
        calendar.add("refresh-interval", timedelta(hours=6), parameters={"VALUE": "DURATION"})
        for zone, days in _zones(visits).items():
            # The years around the visits: what a calendar shows beside them is not ours.
            calendar.add_component(
                timezone_of(zone, first=date(min(days).year, 1, 1), last=date(max(days).year + 1, 2, 1))
            )
        for visit in visits:
            calendar.add_component(_event(visit, for_site=for_site, url=url()))
    return bytes(calendar.to_ical())


def _zones(visits: Sequence[VisitView]) -> dict[str, list[date]]:
    """The zones of the visits that have times, with their days."""
    found: dict[str, list[date]] = {}
    for visit in visits:
        if not span(visit.on, visit.starts, visit.hours, visit.zone).whole_days:
            found.setdefault(visit.zone, []).append(visit.on)
    return dict(sorted(found.items()))


def _event(visit: VisitView, *, for_site: bool, url: str) -> Event:
    event, taken = Event(), span(visit.on, visit.starts, visit.hours, visit.zone)
    what = ", ".join(visit.tasks) or _("Visit")
    event.add("uid", uid_of(visit.id))
    changed = visit.changed_at.astimezone(UTC).replace(microsecond=0)
    event.add("dtstamp", changed)
    event.add("last-modified", changed)
    event.add("sequence", visit.sequence)
    event.add("status", STATUS[visit.state])
    event.add("dtstart", taken.start)
    event.add("dtend", taken.end)
    event.add("summary", f"{visit.plate}: {what}" if for_site else f"{visit.studio}: {what}")
    event.add("location", visit.site)
    event.add("url", url)
    if visit.state in ("asked", "offered"):
        event.add("description", _("Asked for; not booked yet."))
    else:
        event.add("description", visit.vehicle if for_site else f"{visit.vehicle}, {visit.plate}")
    if visit.state == "booked" and not for_site:
        alarm = Alarm()
        alarm.add("action", "DISPLAY")
        alarm.add("description", vText(what))
        # A day before a time; at nine in the morning of the day before where only the day is known.
        alarm.add("trigger", timedelta(hours=-15) if taken.whole_days else timedelta(days=-1))
        event.add_component(alarm)
    return event
