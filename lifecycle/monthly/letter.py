"""What the monthly letter says: what is coming, are we right, can we do the work, and one suggestion. Reads only."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cache

from pydantic import TypeAdapter

from lifecycle.care.wording import MONTHS, day_words
from lifecycle.models import Studio
from lifecycle.outlook import right_reads, sheet_reads
from lifecycle.outlook.capacity import OVERFLOW
from lifecycle.outlook.intervals import FEWEST, Share
from lifecycle.outlook.look import END, TIRED
from lifecycle.outlook.right_reads import RightView
from lifecycle.outlook.sheet import MonthSheet
from lifecycle.outlook.sheet_reads import OutlookPage

SHOWN = 6
WORDS = {TIRED: "tired", END: "at the end of their life"}


@dataclass(frozen=True, slots=True)
class MonthLine:
    """One month as text: money with its range, hours of those that planning fills."""

    month: str
    low: str
    middle: str
    high: str
    hours: str


@dataclass(frozen=True, slots=True)
class Letter:
    """The whole letter as texts. `page` names the portal's page that the suggestion is done on, with `site`."""

    studio: str
    month: date
    title: str
    as_of: str
    currency: str
    lead: str
    months: tuple[MonthLine, ...]
    right: tuple[str, ...]
    work: tuple[str, ...]
    action: str
    page: str
    site: int | None


@cache
def codec() -> TypeAdapter[Letter]:
    """A letter to plain values and back."""
    return TypeAdapter(Letter)


def money(amount: float) -> str:
    """An amount without false precision, three significant digits: 38887 is "38,900"."""
    digits = max(len(str(int(abs(amount)))) - 3, 0)
    return f"{round(amount, -digits):,.0f}"


def compose(studio: Studio, *, today: date) -> Letter | None:
    """The letter of this month; None while no outlook is prepared. The number of queries is fixed."""
    page = sheet_reads.page(studio)
    if page.sheet is None or page.as_of is None:
        return None
    sheet, year = page.sheet, page.sheet.year.total
    view = right_reads.are_we_right(studio)
    month = today.replace(day=1)
    action, where, site = _action(page, view)
    return Letter(
        studio=studio.name, month=month, title=f"{MONTHS[month.month - 1]} {month.year} at {studio.name}",
        as_of=day_words(page.as_of), currency=sheet.currency,
        lead=f"In the next twelve months care for about {money(year.p10)} to {money(year.p90)} {sheet.currency} comes "
        f"due and is taken up, most likely near {money(year.p50)}. The range holds eight of ten draws.",
        months=tuple(_month(row) for row in sheet.months[:SHOWN]), right=_right(view), work=_work(page), action=action,
        page=where, site=site,
    )  # fmt: skip


def _month(row: MonthSheet) -> MonthLine:
    hours = f"{row.labour.p50:.0f} of {row.has.labour:.0f}"
    return MonthLine(row.label, money(row.total.p10), money(row.total.p50), money(row.total.p90), hours)


def _of(share: Share) -> str:
    if share.n < FEWEST:
        return f"{share.k} of {share.n}, too few to tell"
    return f"{share.k} of {share.n} ({100 * share.low:.0f} to {100 * share.high:.0f} %)"


def _right(view: RightView) -> tuple[str, ...]:
    """Are we right, in a sentence each."""
    said = []
    for row in view.calibrations:
        if row.whole.hit.n:
            said.append(f"Of layers forecast to be {WORDS[row.what]}, seen to be so: {_of(row.whole.hit)}.")
    if not said:
        said.append(
            "Forecasts: cannot tell yet; no layer forecast to be tired has been looked at after a decontamination."
        )
    effect = view.effects[0].found
    if effect.tells and effect.value is not None:
        said.append(
            f"Reminders: {effect.first.k} of {effect.first.n} came within four weeks of one, {effect.second.k} of "
            f"{effect.second.n} without; {effect.says} by {100 * effect.low:.0f} to {100 * effect.high:.0f} points."
        )
    else:
        said.append(
            f"Reminders: cannot tell yet whether they bring people ({effect.first.k} of {effect.first.n} with one, "
            f"{effect.second.k} of {effect.second.n} without)."
        )
    off = [row for row in view.learned if row.off != "cannot tell apart"]
    said += [f"{row.product} at {row.site} lasts {row.off}: {row.vehicles} vehicles." for row in off[:2]]
    return tuple(said)


def _work(page: OutlookPage) -> tuple[str, ...]:
    """Can we do the work: flagged weeks, and months that ask for more than there is."""
    said = [
        f"{flag.site.name}, week of {day_words(flag.week.first)}: "
        f"{'too full' if flag.week.state == OVERFLOW else 'nearly empty'}; {flag.week.says}."
        for flag in page.flagged[:4]
    ]
    months = page.sheet.months if page.sheet is not None else ()
    for name, words in (("labour", "hands"), ("bay", "bays"), ("cure", "cure")):
        over = [row.label for row in months if getattr(row, name).p50 > getattr(row.has, name)]
        if over:
            said.append(f"The median asks for more hours of {words} than there are in {', '.join(over[:3])}.")
    return tuple(said) or ("The hours of hands, bays and cure hold what is to come; no week six to eight weeks ahead "
                           "stands out.",)  # fmt: skip


def _action(page: OutlookPage, view: RightView) -> tuple[str, str, int | None]:
    """One suggestion, where it is done, and for which site."""
    flags = sorted(page.flagged, key=lambda flag: flag.week.state != OVERFLOW)
    if flags:
        flag = flags[0]
        words = "too full" if flag.week.state == OVERFLOW else "nearly empty"
        return (
            f"Spread the invitations of {flag.site.name}: its week of {day_words(flag.week.first)} is {words}.",
            "outlook", flag.site.id,
        )  # fmt: skip
    if view.calibrations[0].whole.hit.n + view.calibrations[0].whole.missed.n < FEWEST:
        return (
            "Measure the water angle or the beading whenever a car has been decontaminated: only such looks tell "
            "whether the forecasts are right.", "right", None,
        )  # fmt: skip
    return "Nothing needs you this month; look at the offers that wait for a word.", "offers", None
