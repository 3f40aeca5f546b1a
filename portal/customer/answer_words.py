"""An answer to "what if" in words, money and a drawing; and what a report changed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from lifecycle.care.another_use import Answer, KindAnswer
from lifecycle.care.told import Shift
from lifecycle.care.tongue.names import layer_name, on_surfaces, surface_name, the_layer
from lifecycle.care.wording import capital, layer_words
from lifecycle.wear.types import Band, CoursePoint
from portal.drawings import course
from portal.drawings.course import CourseRow
from portal.drawings.words import months_between, share_range

from .words import SIGNS

LITTLE_MONTHS: Final = 0.25
MOST_SHIFTS: Final = 3


@dataclass(frozen=True, slots=True)
class KindWords:
    """One row of the answer."""

    kind: str
    name: str
    where: str
    now: str
    then: str
    gained: str
    cost_now: str
    cost_then: str


@dataclass(frozen=True, slots=True)
class BothRow:
    """One day of both courses."""

    now: CourseRow
    then: CourseRow


@dataclass(frozen=True, slots=True)
class AnswerWords:
    said: str
    money: str
    rows: tuple[KindWords, ...]
    surfaces: tuple[tuple[str, str], ...]
    picture: SafeString | None
    drawn: KindWords | None
    table: tuple[BothRow, ...]


def _number(value: float) -> str:
    return f"{value:.0f}" if abs(value) >= 3 else f"{value:.1f}".removesuffix(".0")


def months_words(band: Band) -> str:
    """ "6 to 14 months"; "under a month"; "already due"."""
    if band.p90 < 0.5:
        return _("due already")
    low, high = max(round(band.p10), 0), round(band.p90)
    if low == high:
        return _("about %(n)d months") % {"n": high}
    return _("%(low)d to %(high)d months") % {"low": low, "high": high}


def gained_words(band: Band) -> str:
    """ "about 5 months longer (3 to 8)", "about as long as now"."""
    if max(abs(band.p10), abs(band.p90)) < LITTLE_MONTHS:
        return _("about as long as now")
    if band.p50 >= 0:
        low, high = sorted((band.p10, band.p90))
        said = _("about %(middle)s months longer (%(low)s to %(high)s)")
        return said % {"middle": _number(band.p50), "low": _number(low), "high": _number(high)}
    low, high = sorted((-band.p90, -band.p10))
    said = _("about %(middle)s months less (%(low)s to %(high)s)")
    return said % {"middle": _number(-band.p50), "low": _number(low), "high": _number(high)}


def yearly(band: Band | None, currency: str) -> str:
    """ "€ 90 to 140 a year", "" without a price."""
    if band is None:
        return ""
    low, high = (round(value) for value in (band.p10, band.p90))
    sign = SIGNS.get(currency, currency)
    if low == high:
        return _("about %(sign)s %(low)d a year") % {"sign": sign, "low": low}
    return _("%(sign)s %(low)d to %(high)d a year") % {"sign": sign, "low": low, "high": high}


def money_words(answer: Answer, currency: str) -> str:
    """What it saves or costs a year, over the vehicle, and what is not in it."""
    band, sign = answer.saved_per_year, SIGNS.get(currency, currency)
    if band is None:
        return _("What it means in money is not told: the price list has no figure for renewing these layers.")
    low, high = round(band.p10), round(band.p90)
    if low == high == 0:
        said = _("In money it makes next to no difference.")
    elif low >= 0:
        said = _("It saves about %(sign)s %(low)d to %(high)d a year.") % {"sign": sign, "low": low, "high": high}
    elif high <= 0:
        said = _("It costs about %(sign)s %(low)d to %(high)d more a year.") % {
            "sign": sign, "low": -high, "high": -low,
        }  # fmt: skip
    else:
        said = _("Between %(sign)s %(low)d more and %(sign)s %(high)d less a year: it may go either way.") % {
            "sign": sign, "low": -low, "high": high,
        }  # fmt: skip
    left_out = _("Counted: renewals by the studio’s price list, and what you say it costs besides. Not counted: what "
                 "you pay for washes, fuel or parking.")  # fmt: skip
    if answer.unpriced:
        kinds = ", ".join(layer_name(kind) for kind in answer.unpriced)
        left_out += " " + _("No price is listed for: %(kinds)s.") % {"kinds": kinds}
    return f"{said} {left_out}"


def _row(one: KindAnswer, currency: str) -> KindWords:
    gain = one.gain
    where = _("%(surface)s first, of %(count)d") % {"surface": surface_name(one.surface), "count": one.surfaces}
    return KindWords(
        kind=one.kind, name=capital(layer_name(one.kind)),
        where=surface_name(one.surface) if one.surfaces == 1 else where,
        now=months_words(gain.months_left), then=months_words(gain.months_left_changed),
        gained=gained_words(gain.months_gained), cost_now=yearly(gain.cost_per_year, currency),
        cost_then=yearly(gain.cost_per_year_changed, currency),
    )  # fmt: skip


def _at(points: Sequence[CoursePoint], on: date) -> CoursePoint:
    """The course on a day: its last point where it ends before."""
    index = next((i for i, point in enumerate(points) if point.on >= on), None)
    if index is None:
        return CoursePoint(on, points[-1].p10, points[-1].p50, points[-1].p90)
    if index == 0 or points[index].on == on:
        return CoursePoint(on, points[index].p10, points[index].p50, points[index].p90)
    return course.between(points[index - 1], points[index], on)


def _table(one: KindAnswer, today: date) -> tuple[BothRow, ...]:
    rows = []
    for row in course.rows(one.now, events=(), today=today):
        if row.on >= today:
            then = _at(one.then, row.on)
            rows.append(BothRow(row, CourseRow(row.on, row.future, then.p10, then.p50, then.p90, ())))
    return tuple(rows)


def answer_words(answer: Answer, *, today: date, currency: str, drawn: str = "") -> AnswerWords:
    """The whole answer. `drawn`: the kind whose course is shown; without it the one that moves most."""
    most = answer.most
    if most is None:
        said = _("No layer with a forecast is on record, so nothing would change.")
        return AnswerWords(said, "", (), (), None, None, ())
    rows = tuple(_row(one, currency) for one in answer.kinds)
    said = _("Used like that from today on, %(the_layer)s %(where)s lasts %(gained)s.") % {
        "the_layer": the_layer(layer_words(most.kind)), "where": on_surfaces(most.surface),
        "gained": gained_words(most.gain.months_gained),
    }  # fmt: skip
    index = next((i for i, one in enumerate(answer.kinds) if one.kind == drawn), answer.kinds.index(most))
    shown, picture, table = answer.kinds[index], None, ()
    if len(shown.now) > 1 and len(shown.then) > 1:
        title = _("%(layer)s %(where)s: function left as now and used otherwise") % {
            "layer": capital(layer_name(shown.kind)), "where": on_surfaces(shown.surface),
        }  # fmt: skip
        picture = course.draw(shown.now, events=(), today=today, key="whatif", title=title, other=shown.then)
        table = _table(shown, today)
    every = tuple(
        (f"{capital(surface_name(gain.surface))}: {layer_name(gain.kind)}", gained_words(gain.months_gained))
        for gain in answer.all_gains
    )
    return AnswerWords(said, money_words(answer, currency), rows, every, picture, rows[index], table)


def _shift_line(one: Shift) -> str:
    """What moved on one layer, "" where no figure that is shown did."""
    parts = []
    if one.before.left is not None and one.after.left is not None:
        before, after = share_range(one.before.left), share_range(one.after.left)
        if before != after:
            parts.append(_("function left was %(before)s, is now %(after)s") % {"before": before, "after": after})
    if one.before.end is not None and one.after.end is not None:
        before, after = months_between(one.before.end), months_between(one.after.end)
        if before != after:
            said = _("renewal was likely sensible %(before)s, is now %(after)s")
            parts.append(said % {"before": before, "after": after})
    if not parts:
        return ""
    name = _("%(layer)s %(where)s") % {
        "layer": capital(layer_name(one.after.kind)), "where": on_surfaces(one.after.surface),
    }  # fmt: skip
    return f"{name}: {'; '.join(parts)}."


def shift_words(shifts: Sequence[Shift]) -> str:
    """What a report changed, the furthest moved first: before and after, as ranges."""
    lines = [line for one in shifts if (line := _shift_line(one))]
    if not lines:
        return _("The forecast moved by less than its figures show.") if shifts else _("The forecast stays as it was.")
    if len(lines) > MOST_SHIFTS:
        more = _("%(count)d more layers moved less.") % {"count": len(lines) - MOST_SHIFTS}
        lines = [*lines[:MOST_SHIFTS], more]
    return " ".join(lines)
