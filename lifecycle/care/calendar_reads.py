"""A site's calendar to read: its weeks with visits and planned proposals, its opening, its closures."""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from datetime import date, time, timedelta
from typing import Final

from lifecycle.care.find import one
from lifecycle.care.site_board import Board, monday
from lifecycle.care.site_days import SKILLS, WEEKDAYS, SiteRules, bay_cure_h, days_between, skills_of
from lifecycle.care.site_plan import held_of, rules_of
from lifecycle.care.worklist import task_title
from lifecycle.models import (
    OPEN_VISITS,
    Bay,
    Closure,
    Hands,
    Member,
    ProposalState,
    Site,
    Studio,
    Visit,
    VisitProposal,
    VisitState,
)

REACH: Final = timedelta(days=21)


@dataclass(frozen=True, slots=True)
class Entry:
    """A visit that stands, or a proposal on its planned day. `hours`: labour; `cure_h` then holds the bay."""

    vehicle_id: int
    vehicle: str
    plate: str
    tasks: tuple[str, ...]
    hours: float
    cure_h: float
    bay: str
    state: str
    why: str


@dataclass(frozen=True, slots=True)
class DayRow:
    """One day by the site's clock; `why` says why it is closed, `labour_h` and `used_h` are hours of hands."""

    on: date
    weekday: str
    opens: time | None
    closes: time | None
    labour_h: float
    used_h: float
    why: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True, slots=True)
class WeekView:
    """One week of a site. `entered`: opening hours are on record; else the usual ones are taken."""

    site_id: int
    site: str
    zone: str
    first: date
    before: date
    after: date
    days: tuple[DayRow, ...]
    labour_h: float
    used_h: float
    target_pct: int
    entered: bool
    without_day: tuple[Entry, ...]

    @property
    def load_pct(self) -> int | None:
        """Percent of the week's hours that is given away; None in a week without hours."""
        return round(100 * self.used_h / self.labour_h) if self.labour_h > 0 else None


@dataclass(frozen=True, slots=True)
class HandsRow:
    """A member at work, and what they work at the site; no weekday where nothing is entered."""

    member_id: int
    name: str
    weekdays: tuple[int, ...]
    hours_a_day: float | None
    skills: tuple[str, ...]
    says: str


@dataclass(frozen=True, slots=True)
class ClosureRow:
    """A closure that is not over. `hit`: visits that stand on its days."""

    id: int
    first: date
    last: date
    reason: str
    hit: int


@dataclass(frozen=True, slots=True)
class OpeningView:
    """What is entered about a site's calendar."""

    site_id: int
    site: str
    hours: dict[int, tuple[time, time]]
    country: str
    subdivision: str
    load_target: int
    bays: tuple[tuple[int, str, bool], ...]
    hands: tuple[HandsRow, ...]
    closures: tuple[ClosureRow, ...]


def week(studio: Studio, site_id: int, *, day: date) -> WeekView:
    """The week of a site that a day lies in.

    Raises:
        NotFoundHere: the site is not of this studio.
    """
    site = one(Site, studio, site_id)
    entered = rules_of([site])[site.pk]
    first = monday(day)
    last = first + timedelta(days=6)
    rules = entered.rules
    # Work of several days, and a cure, reach into the week from before it.
    visits = list(
        Visit.objects.filter(site=site, on__range=(first - REACH, last), state__in=(*OPEN_VISITS, VisitState.DONE))
        .select_related("vehicle", "bay").order_by("on", "id")
    )  # fmt: skip
    proposals = VisitProposal.objects.filter(site=site, state=ProposalState.PROPOSED).select_related(
        "vehicle", "planned_bay"
    )
    planned = list(proposals.filter(planned_on__range=(first - REACH, last)).order_by("planned_on", "id"))
    nowhere = proposals.filter(planned_on=None, earliest__lte=last, latest__gte=first).order_by("ideal", "id")[:50]
    board = Board(rules, days_between(rules, first - REACH, last + timedelta(days=24)))
    rows: defaultdict[date, list[Entry]] = defaultdict(list)
    for visit in visits:
        one_held = held_of(visit)
        board.force(visit.on, visit.hours, one_held.cure_h, skills_of(one_held.tasks), visit.bay_id)
        rows[visit.on].append(_visit(visit))
    for row in planned:
        tasks = tuple(row.tasks)
        board.force(row.planned_on, row.labour_h, bay_cure_h(tasks), skills_of(tasks), row.planned_bay_id)
        rows[row.planned_on].append(_proposal(row))
    days = tuple(_day(rules, board, first + timedelta(days=number), rows) for number in range(7))
    return WeekView(
        site_id=site.pk, site=site.name, zone=site.zone, first=first, before=first - timedelta(days=7),
        after=first + timedelta(days=7), days=days, labour_h=sum(row.labour_h for row in days),
        used_h=sum(row.used_h for row in days), target_pct=site.load_target, entered=entered.hours,
        without_day=tuple(_proposal(row) for row in nowhere),
    )  # fmt: skip


def _day(rules: SiteRules, board: Board, on: date, rows: dict[date, list[Entry]]) -> DayRow:
    found = board.days[on]
    hours = rules.hours_on(on) if found.opens is not None else None
    return DayRow(
        on=on, weekday=WEEKDAYS[on.weekday()], opens=hours[0] if hours else None, closes=hours[1] if hours else None,
        labour_h=found.labour_h, used_h=board.labour_used[on], why=found.why, entries=tuple(rows[on]),
    )  # fmt: skip


def _visit(visit: Visit) -> Entry:
    tasks = tuple(visit.tasks)
    return Entry(
        visit.vehicle_id, visit.vehicle.description, visit.vehicle.plate, tuple(task_title(task) for task in tasks),
        visit.hours, bay_cure_h(tasks), visit.bay.name if visit.bay else "", visit.get_state_display(), "",
    )  # fmt: skip


def _proposal(row: VisitProposal) -> Entry:
    tasks = tuple(row.tasks)
    return Entry(
        row.vehicle_id, row.vehicle.description, row.vehicle.plate, tuple(task_title(task) for task in tasks),
        row.labour_h, bay_cure_h(tasks), row.planned_bay.name if row.planned_bay else "", "proposed", row.planned_why,
    )  # fmt: skip


def opening(studio: Studio, site_id: int, *, today: date) -> OpeningView:
    """What is entered about a site's calendar.

    Raises:
        NotFoundHere: the site is not of this studio.
    """
    site = one(Site, studio, site_id)
    entries = {row.member_id: row for row in Hands.objects.filter(site=site)}
    members = Member.objects.of(studio).filter(ended_at=None).select_related("user").order_by("id")
    standing = list(Visit.objects.filter(site=site, state__in=OPEN_VISITS, on__gte=today).values_list("on", flat=True))
    closures = Closure.objects.filter(site=site, lifted_at=None, last__gte=today).order_by("first", "id")
    return OpeningView(
        site_id=site.pk, site=site.name, country=site.country, subdivision=site.subdivision,
        hours={row.weekday: (row.opens, row.closes) for row in site.opening_hours.all()}, load_target=site.load_target,
        bays=tuple(Bay.objects.filter(site=site).order_by("name").values_list("pk", "name", "warm_still")),
        hands=tuple(_hands(member, entries.get(member.pk)) for member in members),
        closures=tuple(
            ClosureRow(row.pk, row.first, row.last, row.reason, sum(row.first <= on <= row.last for on in standing))
            for row in closures
        ),
    )  # fmt: skip


def _hands(member: Member, row: Hands | None) -> HandsRow:
    if row is None:
        return HandsRow(member.pk, str(member), (), None, (), "no hours entered")
    days = ", ".join(WEEKDAYS[day][:3] for day in row.weekdays)
    skills = ", ".join(SKILLS[skill] for skill in row.skills if skill in SKILLS)
    says = f"{row.hours_a_day:g} h on {days}" + (f"; {skills}" if skills else "; everyday care")
    return HandsRow(member.pk, str(member), tuple(row.weekdays), row.hours_a_day, tuple(row.skills), says)
