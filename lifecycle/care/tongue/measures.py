"""Units that a reader thinks in: kilometres or miles, µm or mil, °C or °F. The record and the model are metric; here
alone a figure is turned into another unit, for showing and for reading back what was typed.

Factors are exact: the mile is 1.609344 km and the mil 25.4 µm (NIST Special Publication 811, 2008 edition, appendix
B.8), t/°F = 1.8 t/°C + 32 (the same, B.8).
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Final

from django.utils.formats import number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

KM_PER_MILE: Final = 1.609344
UM_PER_MIL: Final = 25.4
# Systems by name: in the United Kingdom roads are in miles, paint and weather are not.
SYSTEMS: Final = {
    "metric": gettext_lazy("kilometres, µm, °C"),
    "uk": gettext_lazy("miles, µm, °C"),
    "us": gettext_lazy("miles, mil, °F"),
}
OF_COUNTRY: Final = {"US": "us", "GB": "uk"}
_active: ContextVar[str] = ContextVar("units", default="metric")


def of_country(country: str) -> str:
    """The system that is usual in a country (ISO 3166 alpha-2); metric where nothing else is known."""
    return OF_COUNTRY.get(country, "metric")


def activate(system: str) -> None:
    """Show figures in this system from now on, in this request."""
    _active.set(system if system in SYSTEMS else "metric")


@contextmanager
def shown_in(system: str) -> Iterator[None]:
    """Show figures in this system meanwhile."""
    token = _active.set(system if system in SYSTEMS else "metric")
    try:
        yield
    finally:
        _active.reset(token)


def miles() -> bool:
    """Whether distances are shown in miles."""
    return _active.get() in ("uk", "us")


def mils() -> bool:
    """Whether thicknesses are shown in mil (a thousandth of an inch)."""
    return _active.get() == "us"


def to_distance(km: float) -> float:
    """Kilometres in the unit shown."""
    return km / KM_PER_MILE if miles() else km


def to_km(distance: float) -> float:
    """A distance in the unit shown as kilometres."""
    return distance * KM_PER_MILE if miles() else distance


def to_thickness(um: float) -> float:
    """Micrometres in the unit shown."""
    return um / UM_PER_MIL if mils() else um


def to_temperature(celsius: float) -> float:
    """Degrees Celsius in the unit shown."""
    return 1.8 * celsius + 32.0 if _active.get() == "us" else celsius


def distance_unit() -> str:
    return _("miles") if miles() else "km"


def thickness_unit() -> str:
    return "mil" if mils() else "µm"


def distance_words(km: float) -> str:
    """A yearly distance to the nearest hundred, thousands apart: "15 000 km"."""
    said = f"{round(to_distance(km), -2):,.0f}".replace(",", "\u00a0")
    return f"{said} {distance_unit()}"


def figure(um: float) -> str:
    """A thickness in the unit shown with as many digits as it deserves, without the unit: 0.02, 0.6, 15."""
    value = to_thickness(um)
    if mils():
        digits = 1 if value >= 0.95 else 2 if value >= 0.095 else 3 if value >= 0.0095 else 4
    else:
        digits = 0 if value >= 9.95 else 1 if value >= 0.095 else 2
    return number_format(f"{value:.{digits}f}", use_l10n=True)


def thickness_words(um: float) -> str:
    """A thickness with its unit: "15 µm", "0.6 mil"."""
    return f"{figure(um)} {thickness_unit()}"


_FIGURE: Final = r"[+-]?\d+(?:[.,]\d+)?"
_MEASURE: Final = re.compile(rf"({_FIGURE})(?:( to | bis |–)({_FIGURE}))?[ \u00a0](µm|km|°C)(?![A-Za-z/²])")


def _rounded(typed: str, value: float, digits: int) -> str:
    return f"{value:.{digits}f}".replace(".", "," if "," in typed else ".")


def _km(typed: str) -> str:
    value = float(typed.replace(",", ".")) / KM_PER_MILE
    return _rounded(typed, round(value, -2) if value >= 2000 else value, 0 if value >= 10 else 1)


def _um(typed: str) -> str:
    value = float(typed.replace(",", ".")) / UM_PER_MIL
    return number_format(_rounded(".", value, 1 if value >= 1 else 2), use_l10n=True)


def _celsius(typed: str) -> str:
    return _rounded(typed, 1.8 * float(typed.replace(",", ".")) + 32.0, 0)


def in_text(text: str) -> str:
    """A sentence of the rules or the model with its metric figures in the units shown."""
    if _active.get() == "metric":
        return text

    def told(match: re.Match[str]) -> str:
        first, between, second, unit = match.groups()
        turned: dict[str, tuple[Callable[[str], str], str]] = {}
        if miles():
            turned["km"] = (_km, distance_unit())
        if mils():
            turned |= {"µm": (_um, "mil"), "°C": (_celsius, "°F")}
        if unit not in turned:
            return match[0]
        say, name = turned[unit]
        return f"{say(first)}{between}{say(second)} {name}" if between else f"{say(first)} {name}"

    return _MEASURE.sub(told, text)
