"""Verbs about a site's calendar: opening hours, public holidays, warm still bays, people's hours, closures."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.care.site_days import SKILLS, WEEKDAYS, public_holidays
from lifecycle.care.site_plan import plan_days, site_day
from lifecycle.errors import DomainError
from lifecycle.models import Bay, Closure, Hands, Member, OpeningHours, Site, Studio

# Longer than this a site is not closed but given up. Judgement.
LONGEST: Final = timedelta(days=366)
Hours = tuple[time, time]


def set_opening(
    *, studio: Studio, site_id: int, hours: Mapping[int, Hours], country: str = "", subdivision: str = "",
    load_target: int = 80, warm_bays: Collection[int] = (), actor: str, at: datetime,
) -> Site:  # fmt: skip
    """Say when a site is open and which bays are warm and still, and plan its proposals anew.

    Args:
        hours: weekday (0 is Monday) -> opening and closing time by the site's clock; {} where nothing is to be said.
        country, subdivision: whose public holidays it keeps, by ISO 3166; "" for none.
        load_target: percent of a week's hours that planning fills, 75 to 85.
        warm_bays: keys of the bays in which a car may stay while its coat cures.

    Raises:
        DomainError: hours out of order, an unknown country or part, a target out of range; the field says which.
        NotFoundHere: the site, or a bay, is not of this studio.
    """
    land, part = country.strip().upper(), subdivision.strip().upper()
    for weekday, (opens, closes) in hours.items():
        if not 0 <= weekday <= 6:
            raise DomainError(f"weekday: {weekday} is not 0 (Monday) to 6 (Sunday).", field="weekday")
        if opens >= closes:
            field = f"closes_{weekday}"
            raise DomainError(
                f"{field}: {WEEKDAYS[weekday]} closes at {closes:%H:%M}, not after it opens at {opens:%H:%M}.",
                field=field,
            )
    if part and not land:
        raise DomainError("country: name the country that the part belongs to.", field="country")
    try:
        public_holidays(land, part, at.year)
    except ValueError as error:
        field = "subdivision" if part else "country"
        raise DomainError(f"{field}: {error} Use ISO 3166, like NO, or DE with BY.", field=field) from error
    if not 75 <= load_target <= 85:
        raise DomainError(f"load_target: {load_target} % is not between 75 and 85 %.", field="load_target")
    with transaction.atomic():
        site = one(Site, studio, site_id, lock=True)
        warm = {one(Bay, studio, key).pk for key in warm_bays}
        site.country, site.subdivision, site.load_target = land, part, load_target
        site.save(update_fields=["country", "subdivision", "load_target"])
        OpeningHours.objects.filter(site=site).delete()
        OpeningHours.objects.bulk_create(
            OpeningHours(studio=studio, site=site, weekday=weekday, opens=opens, closes=closes)
            for weekday, (opens, closes) in sorted(hours.items())
        )
        Bay.objects.filter(site=site).exclude(pk__in=warm).update(warm_still=False)
        Bay.objects.filter(site=site, pk__in=warm).update(warm_still=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb="opening hours set", subject="site", subject_id=site.pk,
            hours={WEEKDAYS[day]: [f"{clock:%H:%M}" for clock in span] for day, span in hours.items()},
            country=land, subdivision=part, load_target=load_target, warm_bays=sorted(warm),
        )  # fmt: skip
        plan_days(at=at, site_ids=[site.pk])
    return site


def set_hands(
    *, studio: Studio, site_id: int, member_id: int, weekdays: Collection[int], hours_a_day: float,
    skills: Collection[str] = (), actor: str, at: datetime,
) -> None:  # fmt: skip
    """Say what a member works at a site; no weekday takes the entry away.

    Args:
        hours_a_day: labour hours on each of the weekdays (0 is Monday).  skills: words of `SKILLS`.

    Raises:
        DomainError: hours out of range, an unknown weekday or skill, somebody who no longer works here.
        NotFoundHere: the site or the member is not of this studio.
    """
    if weekdays and not (math.isfinite(hours_a_day) and 0 < hours_a_day <= 14):
        raise DomainError("hours_a_day: give more than 0 and at most 14 hours.", field="hours_a_day")
    if not set(weekdays) <= set(range(7)):
        raise DomainError("weekdays: give 0 (Monday) to 6 (Sunday).", field="weekdays")
    unknown = sorted(set(skills) - set(SKILLS))
    if unknown:
        raise DomainError(f"skills: {unknown[0]!r} is not known; use {', '.join(SKILLS)}.", field="skills")
    with transaction.atomic():
        site, member = one(Site, studio, site_id, lock=True), one(Member, studio, member_id)
        if member.ended_at is not None:
            raise DomainError("member: this person no longer works in the studio.", field="member")
        if weekdays:
            Hands.objects.update_or_create(
                member=member, site=site,
                defaults={"studio": studio, "weekdays": sorted(set(weekdays)), "hours_a_day": hours_a_day,
                          "skills": sorted(set(skills))},
            )  # fmt: skip
        else:
            Hands.objects.filter(member=member, site=site).delete()
        journal.record(
            studio=studio, actor=actor, at=at, verb="hands set", subject="site", subject_id=site.pk,
            member=member.pk, weekdays=sorted(set(weekdays)), hours_a_day=hours_a_day, skills=sorted(set(skills)),
        )  # fmt: skip
        plan_days(at=at, site_ids=[site.pk])


def close_site(
    *, studio: Studio, site_id: int, first: date, last: date, reason: str, actor: str, at: datetime
) -> Closure:
    """Close a site on some days and plan its proposals anew. Booked visits stay until somebody moves them
    (`lifecycle.reminders.closure_moves`).

    Raises:
        DomainError: days out of order, over, or too many; no reason.
        NotFoundHere: the site is not of this studio.
    """
    plausible_day("first", first)
    plausible_day("last", last)
    words = reason.strip()
    if not 0 < len(words) <= 200:
        raise DomainError("reason: write 1 to 200 characters, such as storm or stocktaking.", field="reason")
    if last < first:
        raise DomainError(f"last: {last} lies before the first day, {first}.", field="last")
    if last - first > LONGEST:
        raise DomainError(f"last: more than {LONGEST.days} days are no closure; close in parts.", field="last")
    with transaction.atomic():
        site = one(Site, studio, site_id, lock=True)
        if last < site_day(site, at):
            raise DomainError(f"last: {last} is over already.", field="last")
        closure: Closure = Closure.objects.create(
            studio=studio, site=site, first=first, last=last, reason=words, made_at=at
        )
        journal.record(
            studio=studio, actor=actor, at=at, verb="site closed", subject="closure", subject_id=closure.pk,
            site=site.pk, first=first, last=last,
        )  # fmt: skip
        plan_days(at=at, site_ids=[site.pk])
    return closure


def lift_closure(*, studio: Studio, closure_id: int, actor: str, at: datetime) -> Closure:
    """Open the days of a closure again and plan the site's proposals anew. Visits that were moved stay where they are.

    Raises:
        DomainError: it is lifted already.
        NotFoundHere: the closure is not of this studio.
    """
    with transaction.atomic():
        closure = one(Closure, studio, closure_id, lock=True)
        if closure.lifted_at is not None:
            raise DomainError("This closure is lifted already.")
        closure.lifted_at = at
        closure.save(update_fields=["lifted_at"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="closure lifted", subject="closure", subject_id=closure.pk,
            site=closure.site_id,
        )  # fmt: skip
        plan_days(at=at, site_ids=[closure.site_id])
    return closure
