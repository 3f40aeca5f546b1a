"""The work list: care that is due, grouped by its reason. Reads only."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from itertools import groupby
from typing import Any, Final
from zoneinfo import ZoneInfo

from django.db.models import Case, IntegerField, Prefetch, QuerySet, Value, When
from django.utils import timezone

from lifecycle.care import wording
from lifecycle.care.tasks_table import load_tasks
from lifecycle.care.urgent import answer_by
from lifecycle.models import (
    LIVE_DUE,
    CareDue,
    Keeper,
    ProposalState,
    Reminder,
    ReminderState,
    Site,
    Step,
    Studio,
    Visit,
    VisitProposal,
    VisitState,
)

PER_PAGE: Final = 40
SOON_DAYS: Final = 30
# Reason code, heading, what it means. The order is the order of the list: what others wait for comes first.
REASONS: Final = (
    ("contract", "Asked for by a contract", "The date stands in a contract and does not move with wear."),
    ("event", "Something happened", "A bird dropping, sap, fallout, a flood: sooner is better."),
    ("wear", "Worn by use", "The layer is likely to reach its end; the window follows the forecast."),
    (
        "clogging",
        "Clogged, not worn",
        "Grime covers the layer: decontaminate and test again before anything is renewed.",
    ),
    ("season", "Season", "The time of year asks for it."),
    ("first_check", "First check", "A fresh layer is looked at some weeks after it was put on."),
    ("unknown", "Not known well enough", "Nobody has looked lately, or the layer is not known; a look comes first."),
    ("bare", "Nothing on it", "A surface without a live layer."),
    ("storage", "Storage", "Laying up or waking up a stored vehicle."),
    ("interval", "Regular interval", "Care that comes round by the calendar."),
    ("yearly", "Yearly look", "The yearly inspection."),
    ("wash", "Wash", "A wash in the studio."),
)
LADDER: Final = tuple(Step.values)
RANK: Final = {code: rank for rank, (code, _, _) in enumerate(REASONS)}


@dataclass(frozen=True, slots=True)
class ReminderWord:
    """What became of the reminder of a window. `state`: none, planned, written or skipped."""

    state: str
    words: str


@dataclass(frozen=True, slots=True)
class WorkRow:
    """One care window. `planned`: a day on which the site's calendar has room for it, today or later; `day`: the one
    that a booking begins with."""

    due_id: int
    vehicle_id: int
    vehicle: str
    plate: str
    site: str
    keeper_id: int | None
    keeper: str
    task: str
    title: str
    surfaces: tuple[str, ...]
    earliest: date
    ideal: date
    latest: date
    contract_on: date | None
    window: str
    why: str
    hours: float
    booked_on: date | None
    planned: date | None
    day: date
    reminder: ReminderWord


@dataclass(frozen=True, slots=True)
class WorkGroup:
    code: str
    title: str
    meaning: str
    rows: tuple[WorkRow, ...]


@dataclass(frozen=True, slots=True)
class SiteChoice:
    id: int
    name: str


@dataclass(frozen=True, slots=True)
class WorkList:
    """One page of the list. `total` counts all pages; `page` is always one of 1 to `pages`."""

    groups: tuple[WorkGroup, ...]
    total: int
    page: int
    pages: int
    sites: tuple[SiteChoice, ...]
    site_id: int | None


def task_title(task: str) -> str:
    """The task in words; the code with spaces where the table does not know it."""
    known = load_tasks().get(task)
    return known.title if known else task.replace("_", " ")


def day_words(day: date, today: date) -> str:
    """A day as people say it: "today", "tomorrow", else "12 April", with the year where it is another one."""
    days = (day - today).days
    if days == 0:
        return "today"
    if days == 1:
        return "tomorrow"
    text = f"{day.day} {day:%B}"
    return text if day.year == today.year else f"{text} {day.year}"


def window_words(*, earliest: date, ideal: date, latest: date, today: date) -> str:
    """Earliest, ideal and latest as one phrase, seen from `today`."""
    end = day_words(latest, today)
    if today > latest:
        return f"window closed on {end}"
    if today < earliest:
        return f"opens {day_words(earliest, today)}, best around {day_words(ideal, today)}, latest {end}"
    if today <= ideal:
        best = f"best by {day_words(ideal, today)}"
        return f"open now, {best}, latest {end}" if ideal != latest else f"open now, latest {end}"
    return f"open now, past its best day ({day_words(ideal, today)}), latest {end}"


def _moment(at: datetime) -> str:
    at = timezone.localtime(at)  # by the clock of whoever reads the list
    return f"{at.day} {at:%B %H:%M} {wording.zone_name(at)}"


def _step_words(row: Any) -> ReminderWord:
    step = row.get_step_display()
    if row.state == ReminderState.SKIPPED:
        return ReminderWord("skipped", f"{step} {'not sent' if row.final else 'held back'}: {row.reason}")
    if row.state == ReminderState.PLANNED:
        return ReminderWord("planned", f"{step} goes out {_moment(row.send_at)}")
    message = getattr(row, "message", None)
    if message is None:
        return ReminderWord("written", f"{step} written, in one mail with others")
    return ReminderWord("written", f"{step} {message.get_state_display()}, {_moment(message.state_at)}")


def reminder_words(reminders: Iterable[Any]) -> ReminderWord:
    """Where the ladder of a window's reminders stands, in words (rows of `Reminder`, with `message` joined).

    The furthest step that is written, and the next one if it is planned; with none written, the first step.
    """
    ladder = sorted(reminders, key=lambda row: LADDER.index(row.step))
    if not ladder:
        return ReminderWord("none", "none yet")
    written = [row for row in ladder if row.state == ReminderState.WRITTEN]
    planned = next((row for row in ladder if row.state == ReminderState.PLANNED), None)
    if not written:
        return _step_words(planned or ladder[0])
    said = _step_words(written[-1])
    return ReminderWord(said.state, f"{said.words}; {_step_words(planned).words}") if planned else said


def _short_why(due: Any) -> str:
    """What the matter is, and since when it waits; the window stands beside it."""
    cause, late = due.words.get("cause"), due.words.get("overdue_since")
    if not cause:
        return str(due.why)
    if (within := due.words.get("answer_h")) is not None:
        zone = ZoneInfo(due.vehicle.site.zone)
        by = answer_by(due.opened_at, within_h=within, zone=zone).astimezone(zone)
        return f"{cause} Call by {by.day} {by:%B %H:%M} at the site."
    return f"{cause} Overdue since {wording.day_words(date.fromisoformat(late))}." if late else str(cause)


def _row(due: Any, today: date) -> WorkRow:
    vehicle = due.vehicle
    keeper = next(iter(vehicle.keepers_now), None)
    booked = next((visit.on for visit in vehicle.booked_visits if due.task in visit.tasks), None)
    planned = next((row.planned_on for row in due.planned_visits if row.planned_on >= today), None)
    task = load_tasks().get(due.task)
    return WorkRow(
        due_id=due.pk,
        vehicle_id=vehicle.pk,
        vehicle=vehicle.description,
        plate=vehicle.plate,
        site=vehicle.site.name,
        keeper_id=keeper.customer_id if keeper else None,
        keeper=keeper.customer.name if keeper else "no keeper on record",
        task=due.task,
        title=task_title(due.task),
        surfaces=tuple(str(code).replace("_", " ") for code in due.surfaces),
        earliest=due.earliest,
        ideal=due.ideal,
        latest=due.latest,
        contract_on=due.contract_on,
        window=window_words(earliest=due.earliest, ideal=due.ideal, latest=due.latest, today=today),
        why=_short_why(due),
        hours=due.words.get("hours") or (task.labour_h(vehicle.size) if task else 1.0),
        booked_on=booked,
        planned=planned,
        day=planned or max(due.ideal, today),
        reminder=reminder_words(due.reminders.all()),
    )


def _dues(studio: Studio, *, today: date, site_id: int | None, when: str) -> QuerySet[Any]:
    dues: QuerySet[Any] = CareDue.objects.of(studio).filter(state__in=LIVE_DUE, vehicle__retired_on=None)
    if site_id is not None:
        dues = dues.filter(vehicle__site_id=site_id)
    if when == "now":
        dues = dues.filter(earliest__lte=today)
    elif when == "soon":
        dues = dues.filter(earliest__lte=today + timedelta(days=SOON_DAYS))
    return dues


def _joined(dues: QuerySet[Any]) -> QuerySet[Any]:
    rank = Case(
        *(When(reason_code=code, then=Value(place)) for code, place in RANK.items()),
        default=Value(len(RANK)),
        output_field=IntegerField(),
    )
    joined: QuerySet[Any] = (
        dues.select_related("vehicle__site")
        .prefetch_related(
            Prefetch(
                "vehicle__keepers",
                queryset=Keeper.objects.filter(end=None).select_related("customer"),
                to_attr="keepers_now",
            ),
            Prefetch(
                "vehicle__visits",
                queryset=Visit.objects.filter(state=VisitState.BOOKED).order_by("on"),
                to_attr="booked_visits",
            ),
            Prefetch("reminders", queryset=Reminder.objects.select_related("message")),
            Prefetch(
                "proposals",
                queryset=VisitProposal.objects.filter(state=ProposalState.PROPOSED).exclude(planned_on=None),
                to_attr="planned_visits",
            ),
        )
        .annotate(rank=rank)
        .order_by("rank", "latest", "ideal", "id")
    )
    return joined


def work_list(
    studio: Studio,
    *,
    today: date,
    site_id: int | None = None,
    when: str = "soon",
    page: int = 1,
    per_page: int = PER_PAGE,
) -> WorkList:
    """One page of live care windows, by reason, soonest end first. The number of queries does not depend on the rows.

    Args:
        today: calendar day at the studio.
        site_id: only this site; an unknown one gives an empty list.
        when: "now" (window open), "soon" (opens within 30 days) or "all".
        page: 1-based; beyond the ends the nearest page is given.
    """
    dues = _dues(studio, today=today, site_id=site_id, when=when)
    total = dues.count()
    pages = max(1, -(-total // per_page))
    page = min(max(page, 1), pages)
    rows = _joined(dues)[(page - 1) * per_page : page * per_page]
    groups = []
    for rank, members in groupby(rows, key=lambda due: due.rank):
        code, title, meaning = REASONS[rank] if rank < len(REASONS) else ("other", "Other", "")
        groups.append(WorkGroup(code, title, meaning, tuple(_row(due, today) for due in members)))
    sites = tuple(SiteChoice(*row) for row in Site.objects.of(studio).order_by("name").values_list("id", "name"))
    return WorkList(tuple(groups), total, page, pages, sites, site_id)


def windows_of(studio: Studio, vehicle_id: int, *, today: date) -> tuple[WorkRow, ...]:
    """All live windows of one vehicle as rows of the list; empty if the vehicle is not of this studio."""
    rows = _joined(CareDue.objects.of(studio).filter(state__in=LIVE_DUE, vehicle_id=vehicle_id))
    return tuple(_row(due, today) for due in rows)
