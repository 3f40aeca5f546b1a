"""The course: function left of one layer over time with its 10-90 % band, what happened on the axis, today's line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.utils.formats import date_format
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lifecycle.care.vehicle_view import EventView
from lifecycle.wear.types import CoursePoint

from .svg import el, join, line, number
from .words import day

WIDTH: Final = 360
HEIGHT: Final = 172
LEFT: Final = 4.0
RIGHT: Final = 284.0
TOP: Final = 18.0
BOTTOM: Final = 118.0
AXIS: Final = 130.0
MOST_POINTS: Final = 26
# Function left at which a stage begins, and its word below that line.
THRESHOLDS: Final = (
    (0.75, gettext_lazy("settled")),
    (0.50, gettext_lazy("tired")),
    (0.30, gettext_lazy("at its end")),
    (0.10, gettext_lazy("gone")),
)
# What stands on the axis: kind, shape around (0, 0), word. Everything else gets the cross.
SHAPES: Final = {
    "wash": ("M0-3v6", gettext_lazy("wash")),
    "decontamination": ("M0-5l5 5-5 5-5-5z", gettext_lazy("decontamination")),
    "top_up": ("M0-5l5 9h-10z", gettext_lazy("top-up")),
    "inspection": ("M-4 0a4 4 0 1 0 8 0a4 4 0 1 0-8 0", gettext_lazy("inspection")),
    "correction": ("M-4-4h8v8h-8z", gettext_lazy("correction")),
}
OTHER: Final = ("M-4-4l8 8M4-4l-8 8", gettext_lazy("mishap or repair"))


@dataclass(frozen=True, slots=True)
class CourseRow:
    """One row of the table behind the picture."""

    on: date
    future: bool
    p10: float
    p50: float
    p90: float
    events: tuple[str, ...]

    @property
    def percent(self) -> tuple[int, int, int]:
        return round(self.p10 * 100), round(self.p50 * 100), round(self.p90 * 100)


def between(before: CoursePoint, after: CoursePoint, on: date) -> CoursePoint:
    """The course on a day between two of its points, straight from one to the other."""
    span = (after.on - before.on).days
    share = (on - before.on).days / span if span else 0.0
    mix: Callable[[float, float], float] = lambda a, b: a + (b - a) * share  # noqa: E731
    return CoursePoint(on, mix(before.p10, after.p10), mix(before.p50, after.p50), mix(before.p90, after.p90))


def with_day(course: Sequence[CoursePoint], on: date) -> tuple[CoursePoint, ...]:
    """The course with a point on this day, if it runs across it."""
    if not course or not course[0].on < on < course[-1].on or any(point.on == on for point in course):
        return tuple(course)
    index = next(i for i, point in enumerate(course) if point.on > on)
    return (*course[:index], between(course[index - 1], course[index], on), *course[index:])


def thin_out(course: Sequence[CoursePoint], most: int, keep: date | None = None) -> tuple[CoursePoint, ...]:
    """At most about `most` points: evenly chosen, with the first, the last and the day `keep`."""
    if len(course) <= most:
        return tuple(course)
    chosen = {round(i * (len(course) - 1) / (most - 1)) for i in range(most)}
    return tuple(point for i, point in enumerate(course) if i in chosen or point.on == keep)


@dataclass(frozen=True, slots=True)
class _Scale:
    first: date
    last: date

    def x(self, on: date) -> float:
        span = max((self.last - self.first).days, 1)
        return LEFT + (RIGHT - LEFT) * (on - self.first).days / span

    def y(self, share: float) -> float:
        return BOTTOM - (BOTTOM - TOP) * min(max(share, 0.0), 1.0)


def _band(course: Sequence[CoursePoint], scale: _Scale, when: str) -> list[SafeString]:
    if len(course) < 2:
        return []
    upper = [(scale.x(p.on), scale.y(p.p90)) for p in course]
    lower = [(scale.x(p.on), scale.y(p.p10)) for p in reversed(course)]
    middle = [(scale.x(p.on), scale.y(p.p50)) for p in course]
    return [
        el("path", d=line([*upper, *lower], closed=True), class_=f"band {when}"),
        el("path", d=line(middle), class_=f"median {when}"),
    ]


def _thresholds(scale: _Scale) -> list[SafeString]:
    rules = "".join(f"M{number(LEFT)} {number(scale.y(share))}H{number(RIGHT)}" for share, _word in THRESHOLDS)
    words = [(TOP + 16, _("fresh"))]
    words += [(scale.y(share) + (9 if share <= 0.1 else 14), str(word)) for share, word in THRESHOLDS]
    spans = [el("tspan", word, x=RIGHT + 4, y=y) for y, word in words]
    return [el("path", d=rules, class_="threshold"), el("text", *spans, class_="aside")]


def _ticks(scale: _Scale) -> list[SafeString]:
    """Years; with their months (January, April …) where the course is short."""
    days = (scale.last - scale.first).days
    months = (1, 4, 7, 10) if days < 550 else (1, 7) if days < 1100 else (1,)
    every = 1 if days < 365 * 7 else 2
    texts = []
    marks = ""
    room = -99.0
    for year in range(scale.first.year, scale.last.year + 1):
        for number_of_month in months:
            on = date(year, number_of_month, 1)
            if not scale.first <= on <= scale.last:
                continue
            x = scale.x(on)
            marks += f"M{number(x)} {number(BOTTOM)}v3"
            if x - room > 36 and x < RIGHT - 8 and (number_of_month != 1 or year % every == 0):
                room = x
                text = str(year) if number_of_month == 1 else date_format(on, "M")
                texts.append(el("text", text, x=max(x, LEFT + 10), y=AXIS + 18, class_="aside mid"))
    return [el("path", d=marks, class_="tick"), *texts] if marks else []


def _today(scale: _Scale, today: date) -> list[SafeString]:
    if not scale.first <= today <= scale.last:
        return []
    x = scale.x(today)
    return [
        el("path", d=f"M{number(x)} {number(TOP - 6)}V{number(AXIS + 5)}", class_="today"),
        el("text", _("today"), x=min(max(x, LEFT + 16), RIGHT - 16), y=TOP - 9, class_="aside mid strong"),
    ]


def _events(events: Sequence[EventView], scale: _Scale) -> list[SafeString]:
    """Washes as ticks in one path, everything else with its shape and its day; then a legend of what is there."""
    inside = [event for event in events if scale.first <= event.on <= scale.last]
    washes = sorted({round(scale.x(event.on)) for event in inside if event.kind == "wash"})
    parts = []
    if washes:
        parts.append(el("path", d="".join(f"M{x} {number(AXIS - 3)}v6" for x in washes), class_="event"))
    for event in inside:
        if event.kind == "wash":
            continue
        shape, word = SHAPES.get(event.kind, OTHER)
        parts.append(
            el("path", el("title", f"{word}, {day(event.on)}"), d=shape, class_="event",
               transform=f"translate({number(scale.x(event.on))} {number(AXIS)})")
        )  # fmt: skip
    return parts + _legend([kind for kind in SHAPES if any(e.kind == kind for e in inside)],
                           other=any(e.kind not in SHAPES for e in inside))  # fmt: skip


def _legend(kinds: Sequence[str], *, other: bool) -> list[SafeString]:
    parts = []
    x = LEFT + 6
    for shape, word in [*(SHAPES[kind] for kind in kinds), *([OTHER] if other else [])]:
        parts.append(el("path", d=shape, class_="event", transform=f"translate({number(x)} {HEIGHT - 6})"))
        parts.append(el("text", str(word), x=x + 8, y=HEIGHT - 2, class_="aside"))
        x += 24 + 5.4 * len(str(word))
    return parts


def describe(course: Sequence[CoursePoint], today: date) -> str:
    """The course in one sentence."""
    now = next((point for point in course if point.on >= today), course[-1])
    last = course[-1]
    return _(
        "Function left falls from full on %(first)s to between %(low)d and %(high)d percent today and to between "
        "%(later_low)d and %(later_high)d percent on %(last)s."
    ) % {
        "first": day(course[0].on), "last": day(last.on), "low": round(now.p10 * 100), "high": round(now.p90 * 100),
        "later_low": round(last.p10 * 100), "later_high": round(last.p90 * 100),
    }  # fmt: skip


def rows(course: Sequence[CoursePoint], *, events: Sequence[EventView], today: date) -> tuple[CourseRow, ...]:
    """The table behind the picture: about eight days of the course, and what happened since the day before."""
    chosen = thin_out(with_day(course, today), 7, keep=today)
    found = []
    before = date.min
    for point in chosen:
        happened: dict[str, int] = {}
        for event in events:
            if before < event.on <= point.on and event.on >= course[0].on:
                word = str(SHAPES.get(event.kind, OTHER)[1])
                happened[word] = happened.get(word, 0) + 1
        said = tuple(word if count == 1 else f"{word} × {count}" for word, count in happened.items())
        found.append(CourseRow(point.on, point.on > today, point.p10, point.p50, point.p90, said))
        before = point.on
    return tuple(found)


def draw(
    course: Sequence[CoursePoint],
    *,
    events: Sequence[EventView],
    today: date,
    key: str,
    title: str,
    other: Sequence[CoursePoint] = (),
) -> SafeString:
    """The course as SVG.

    Args:
        course: at least two points, oldest first.
        key: unique on the page, for the ids.
        other: the course if the vehicle were used otherwise from today on; drawn as a second band.

    Raises:
        ValueError: with fewer than two points there is no course.
    """
    if len(course) < 2:
        raise ValueError(f"a course needs two points at least; {len(course)} given")
    last = max(course[-1].on, course[0].on + timedelta(days=1), *(point.on for point in other[-1:]))
    scale = _Scale(course[0].on, last)
    drawn = thin_out(with_day(course, today), MOST_POINTS, keep=today)
    said = describe(course, today) + (f" {describe_other(other)}" if other else "")
    parts = join(
        [
            el("title", title, id=f"{key}-t"),
            el("desc", said, id=f"{key}-d"),
            *_thresholds(scale),
            *_band([p for p in drawn if p.on >= today], scale, "future"),
            *_band([p for p in drawn if p.on <= today], scale, "past"),
            *_other(other, scale, today),
            el("path", d=f"M{number(LEFT)} {number(BOTTOM)}H{number(RIGHT)}", class_="axis"),
            *_ticks(scale),
            *_events(events, scale),
            *_today(scale, today),
        ]
    )
    return el(
        "svg", parts, viewBox=f"0 0 {WIDTH} {HEIGHT}", id=f"{key}-c", role="img", class_="drawing course",
        aria_labelledby=f"{key}-t {key}-d", data_course=key, data_from=scale.first.isoformat(),
        data_to=scale.last.isoformat(),
        data_hint=_("Tap or point at the course, or use the arrow keys, to read a day."),
    )  # fmt: skip


def describe_other(other: Sequence[CoursePoint]) -> str:
    """Where the changed course ends, in one sentence."""
    last = other[-1]
    return _("Used otherwise it falls to between %(low)d and %(high)d percent on %(last)s.") % {
        "low": round(last.p10 * 100), "high": round(last.p90 * 100), "last": day(last.on),
    }  # fmt: skip


def _other(other: Sequence[CoursePoint], scale: _Scale, today: date) -> list[SafeString]:
    """The changed course from today on, and below the axis which line is which."""
    ahead = [point for point in thin_out(with_day(other, today), MOST_POINTS, keep=today) if point.on >= today]
    if len(ahead) < 2:
        return []
    half = (LEFT + RIGHT) / 2
    return [
        *_band(ahead, scale, "other"),
        el("path", d=f"M{number(LEFT)} {HEIGHT - 6}h22", class_="median future"),
        el("text", _("as now"), x=LEFT + 28, y=HEIGHT - 2, class_="aside"),
        el("path", d=f"M{number(half)} {HEIGHT - 6}h22", class_="median other"),
        el("text", _("used otherwise"), x=half + 28, y=HEIGHT - 2, class_="aside"),
    ]
