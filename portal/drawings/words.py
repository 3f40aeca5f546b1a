"""Words that pictures and pages share: stages, ranges, days. Never a bare percentage."""

from __future__ import annotations

from datetime import date
from typing import Final

from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext

from lifecycle.care.tongue import measures
from lifecycle.wear.types import Band, DateBand

STAGE_WORDS: Final = {
    "fresh": gettext_lazy("fresh"),
    "settled": gettext_lazy("settled"),
    "tired": gettext_lazy("tired"),
    "end": gettext_lazy("at its end"),
    "gone": gettext_lazy("gone"),
    "unknown": gettext_lazy("unknown"),
    "clogged": gettext_lazy("clogged, wear unknown"),
    "bare": gettext_lazy("nothing on it"),
    "over": gettext_lazy("clogged?"),
}
STAGE_SAYS: Final = {
    "fresh": gettext_lazy("more than three quarters of its function left"),
    "settled": gettext_lazy("half to three quarters of its function left"),
    "tired": gettext_lazy("less than half of its function left"),
    "end": gettext_lazy("renewal is sensible"),
    "gone": gettext_lazy("used up"),
    "unknown": gettext_lazy("no forecast is given"),
    "clogged": gettext_lazy("clean first, then look again"),
    "bare": gettext_lazy("no layer on record"),
    "over": gettext_lazy("grime may make it look worse: clean, then look again"),
}


def day(when: date) -> str:
    """3 Apr 2026."""
    return date_format(when, _("j M Y"))


def month(when: date) -> str:
    """Apr 2026."""
    return date_format(when, _("M Y"))


def days_between(first: date, last: date) -> str:
    """A range of days, as short as can be: "3 to 28 April 2026", "3 April to 2 May 2026"."""
    if first == last:
        return date_format(first, _("j F Y"))
    if (first.year, first.month) == (last.year, last.month):
        start = date_format(first, _("j"))
    elif first.year == last.year:
        start = date_format(first, _("j F"))
    else:
        start = date_format(first, _("j F Y"))
    return _("%(first)s to %(last)s") % {"first": start, "last": date_format(last, _("j F Y"))}


def months_between(band: DateBand) -> str:
    """A 10-90 % range of days as months: "Apr to Nov 2026"."""
    first, last = band.p10, band.p90
    if (first.year, first.month) == (last.year, last.month):
        return month(first)
    start = date_format(first, _("M")) if first.year == last.year else month(first)
    return _("%(first)s to %(last)s") % {"first": start, "last": month(last)}


def share_range(band: Band) -> str:
    """Function left as a range: "45 to 78 %"."""
    low, high = round(band.p10 * 100), round(band.p90 * 100)
    if low == high:
        return _("about %(low)s %%") % {"low": low}
    return _("%(low)s to %(high)s %%") % {"low": low, "high": high}


def months_range(band: Band) -> str:
    """A length of time: "16 to 34 months", from four years on in years."""
    if band.p10 >= 48:
        low, high = round(band.p10 / 12), round(band.p90 / 12)
        return _("%(low)s to %(high)s years") % {"low": low, "high": high}
    low, high = round(band.p10), round(band.p90)
    if low == high:
        return ngettext("about %(n)s month", "about %(n)s months", high) % {"n": high}
    return _("%(low)s to %(high)s months") % {"low": low, "high": high}


def thickness_range(band: Band) -> str:
    """A thickness as a range in the unit shown: "0.9 to 4.1 µm"."""
    digits = 2 if measures.mils() else 1
    low, high = (
        number_format(f"{measures.to_thickness(max(value, 0)):.{digits}f}", use_l10n=True)
        for value in (band.p10, band.p90)
    )
    unit = measures.thickness_unit()
    if low == high:
        return _("about %(low)s %(unit)s") % {"low": low, "unit": unit}
    return _("%(low)s to %(high)s %(unit)s") % {"low": low, "high": high, "unit": unit}


def listed(names: tuple[str, ...]) -> str:
    """ "roof", "roof and bonnet", "roof, bonnet and left door"."""
    if len(names) < 2:
        return "".join(names)
    return _("%(first)s and %(last)s") % {"first": ", ".join(names[:-1]), "last": names[-1]}
