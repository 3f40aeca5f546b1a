"""The year strip: the weeks of a site's year from left to right; sun, salt and wetness as three thin curves, care
windows and visits beneath. The table behind it has one row per week."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from lifecycle.care.places import SiteView, Week
from lifecycle.climate.place_climate import PlaceClimate

from .svg import el, join, number
from .words import day

WIDTH: Final = 360.0
LEFT: Final = 4.0
RIGHT: Final = 356.0
TOP: Final = 22.0
LANE: Final = 34.0
GAP: Final = 17.0
SHORT_LANE: Final = 19.0
SUN_TOP: Final = 9.0  # kWh/m² a day; no month on earth has more
WET_TOP: Final = 24.0  # h a day
SALT_TOP: Final = 7.0  # days a week
# Day of the year in the middle of each month.
MIDDLES: Final = (15.5, 45.0, 74.5, 105.0, 135.5, 166.0, 196.5, 227.5, 258.0, 288.5, 319.0, 349.5)


@dataclass(frozen=True, slots=True)
class WeekRow:
    """One row of the table behind the picture. Sun in kWh/m² a day, wet in hours a day, salt in salted days a week."""

    first: date
    sun: float
    salt: float
    wet: float
    open: int
    ideal: int
    visits: int
    tasks: tuple[str, ...]
    now: bool


def on_day(months: Sequence[float], on: date) -> float:
    """A monthly mean carried to a day: straight from the middle of one month to the middle of the next."""
    at = min(on.timetuple().tm_yday, 365)
    later = next((index for index, middle in enumerate(MIDDLES) if middle > at), 0)
    earlier = (later - 1) % 12
    span = (MIDDLES[later] - MIDDLES[earlier]) % 365
    share = ((at - MIDDLES[earlier]) % 365) / span
    return months[earlier] + (months[later] - months[earlier]) * share


def week_rows(view: SiteView) -> tuple[WeekRow, ...]:
    """The weeks with their climate. Empty where the climate has not been fetched yet."""
    if view.climate is None:
        return ()
    sun = view.climate.quantity("ghi_kwh_m2_day").months
    wet = _per_day(view.climate, "wet_hours")
    salt = salted_days_a_week(view)
    return tuple(_row(week, sun, wet, salt, view.today) for week in view.weeks)


def _row(week: Week, sun: Sequence[float], wet: Sequence[float], salt: Sequence[float], today: date) -> WeekRow:
    middle = week.first + timedelta(days=3)
    return WeekRow(
        first=week.first, sun=on_day(sun, middle), salt=on_day(salt, middle), wet=on_day(wet, middle),
        open=week.open, ideal=week.ideal, visits=week.visits, tasks=week.tasks,
        now=week.first <= today < week.first + timedelta(days=7),
    )  # fmt: skip


def _per_day(climate: PlaceClimate, key: str) -> tuple[float, ...]:
    days = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)
    return tuple(month / length for month, length in zip(climate.quantity(key).months, days, strict=True))


def salted_days_a_week(view: SiteView) -> tuple[float, ...]:
    """Days a week with frost in the months of road salt; none where the site's roads are not salted."""
    if view.climate is None or view.road_salt == "none":
        return (0.0,) * 12
    frost = _per_day(view.climate, "frost_days")
    return tuple(7.0 * share if on else 0.0 for share, on in zip(frost, view.climate.salt_months, strict=True))


def _x(week: float, weeks: int) -> float:
    return LEFT + (RIGHT - LEFT) * week / weeks


def _curve(figures: Sequence[float], *, top: float, most: float, name: str, says: str, unit: str) -> list[SafeString]:
    """One thin curve on a line of its own, with its name above and what its upper edge stands for."""
    bottom = top + LANE
    points = [
        f"{number(_x(week + 0.5, len(figures)))} {number(bottom - LANE * min(figure / most, 1.0))}"
        for week, figure in enumerate(figures)
    ]
    return [
        el("text", says, x=LEFT, y=top - 4, class_="aside strong"),
        el("text", unit, x=RIGHT, y=top - 4, class_="aside end"),
        el("path", d=f"M{number(LEFT)} {number(bottom)}H{number(RIGHT)}", class_="axis"),
        el("path", d="M" + "L".join(points), class_=f"thin {name}"),
    ]


def _bars(rows: Sequence[WeekRow], *, top: float) -> list[SafeString]:
    """Open care windows as a light step, the ones with their best day in the week as solid bars upon it."""
    most = max((row.open for row in rows), default=0)
    bottom = top + LANE
    says = _("care windows: open, and best day in the week")
    parts = [
        el("text", says, x=LEFT, y=top - 4, class_="aside strong"),
        el("path", d=f"M{number(LEFT)} {number(bottom)}H{number(RIGHT)}", class_="axis"),
    ]
    if not most:
        return [*parts, el("text", _("none"), x=LEFT, y=bottom - 8, class_="aside")]
    parts.insert(1, el("text", _("up to %d") % most, x=RIGHT, y=top - 4, class_="aside end"))
    width = (RIGHT - LEFT) / len(rows)
    for kind, inset in (("open", 0.0), ("ideal", 1.4)):
        drawn = ""
        for week, row in enumerate(rows):
            height = LANE * getattr(row, kind) / most
            if height:
                x, across = _x(week, len(rows)) + inset, width - 2 * inset
                drawn += f"M{number(x)} {number(bottom)}v{number(-height)}h{number(across)}v{number(height)}z"
        parts.append(el("path", d=drawn or None, class_=f"windows {kind}"))
    return parts


def _visits(rows: Sequence[WeekRow], *, top: float) -> list[SafeString]:
    """Visits as small squares, one on the other, four at most; the table has the number."""
    bottom = top + SHORT_LANE
    drawn = "".join(
        f"M{number(_x(week + 0.5, len(rows)) - 2)} {number(bottom - 1 - 4.5 * (place + 1))}h4v3.5h-4z"
        for week, row in enumerate(rows) for place in range(min(row.visits, 4))
    )  # fmt: skip
    parts = [
        el("text", _("visits: booked or done"), x=LEFT, y=top - 4, class_="aside strong"),
        el("path", d=f"M{number(LEFT)} {number(bottom)}H{number(RIGHT)}", class_="axis"),
    ]
    if not drawn:
        return [*parts, el("text", _("none"), x=LEFT, y=bottom - 4, class_="aside")]
    return [*parts, el("path", d=drawn, class_="visits")]


def _months(rows: Sequence[WeekRow], *, bottom: float) -> list[SafeString]:
    """A tick where a month begins, its name at every second one."""
    marks, names = "", []
    for week, row in enumerate(rows):
        end = row.first + timedelta(days=6)
        if end.day > 7:
            continue
        x = _x(week + (7 - end.day) / 7, len(rows))
        marks += f"M{number(x)} {number(TOP)}V{number(bottom + 4)}"
        if end.month % 2 and LEFT + 2 <= x < RIGHT - 20:
            names.append(el("text", f"{end:%b}", x=x + 2, y=bottom + 13, class_="aside"))
    return [el("path", d=marks or None, class_="threshold"), *names]


def _today(rows: Sequence[WeekRow], today: date, *, bottom: float) -> list[SafeString]:
    week = next((index for index, row in enumerate(rows) if row.now), None)
    if week is None:
        return []
    x = _x(week + (today - rows[week].first).days / 7, len(rows))
    return [
        el("path", d=f"M{number(x)} {number(TOP - 10)}V{number(bottom + 4)}", class_="today"),
        el("text", _("today"), x=x + 3, y=9, class_="aside strong"),
    ]


def describe(rows: Sequence[WeekRow]) -> str:
    """The strip in one sentence."""
    bright, wet = max(rows, key=lambda row: row.sun), max(rows, key=lambda row: row.wet)
    salted = [row for row in rows if row.salt >= 0.5]
    return _(
        "Sunlight is strongest in the week of %(bright)s, wetness in that of %(wet)s; %(salted)d weeks have salted "
        "roads; %(ideal)d care windows have their best day in these weeks and %(visits)d visits lie in them."
    ) % {
        "bright": day(bright.first), "wet": day(wet.first), "salted": len(salted),
        "ideal": sum(row.ideal for row in rows), "visits": sum(row.visits for row in rows),
    }  # fmt: skip


def draw(rows: Sequence[WeekRow], *, today: date, key: str, title: str) -> SafeString:
    """The strip as SVG.

    Args:
        rows: from `week_rows`, at least one.
        key: unique on the page, for the ids.

    Raises:
        ValueError: without weeks there is no strip.
    """
    if not rows:
        raise ValueError("a year strip needs at least one week; none given")
    tops = [TOP + 12 + place * (LANE + GAP) for place in range(5)]
    bottom = tops[4] + SHORT_LANE
    sun, salt, wet = ([getattr(row, name) for row in rows] for name in ("sun", "salt", "wet"))
    parts = join(
        [
            el("title", title, id=f"{key}-t"),
            el("desc", describe(rows), id=f"{key}-d"),
            *_months(rows, bottom=bottom),
            *_today(rows, today, bottom=bottom),
            *_curve(sun, top=tops[0], most=SUN_TOP, name="sun", says=_("sun"), unit=_("to 9 kWh/m² a day")),
            *_curve(salt, top=tops[1], most=SALT_TOP, name="salt", says=_("road salt"), unit=_("to 7 days a week")),
            *_curve(wet, top=tops[2], most=WET_TOP, name="wet", says=_("wetness"), unit=_("to 24 h a day")),
            *_bars(rows, top=tops[3]),
            *_visits(rows, top=tops[4]),
        ]
    )
    return el(
        "svg", parts, viewBox=f"0 0 {number(WIDTH)} {number(bottom + 18)}", role="img", class_="drawing yearstrip",
        aria_labelledby=f"{key}-t {key}-d",
    )  # fmt: skip
