"""The studio's instruments: what they measure, how well, when they were last checked."""

from __future__ import annotations

import math
from calendar import monthrange
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from django.db import IntegrityError, transaction
from django.db.models import Count, Q

from lifecycle import journal
from lifecycle.care.find import one, plausible_day
from lifecycle.care.reading_rows import FILM_METHODS, METHODS
from lifecycle.care.register import known
from lifecycle.care.wording import day_words
from lifecycle.errors import DomainError
from lifecycle.models import Gauge, Studio

CHECK_MONTHS: Final = 12  # common practice, no source
SD_UM: Final = (0.05, 100.0)
METHOD_WORDS: Final = {
    "magnetic": "film thickness, magnetic (steel)",
    "eddy": "film thickness, eddy current (aluminium)",
    "combined": "film thickness, magnetic and eddy current",
    "ultrasonic": "film thickness, ultrasonic",
    "gloss": "gloss meter, 20 degrees",
    "goniometer": "contact angle of drops",
}


@dataclass(frozen=True, slots=True)
class GaugeRow:
    """An instrument. `check_says`: what is to be said of its last check today, "" where it is fresh."""

    id: int
    name: str
    method: str
    sd_um: float | None
    checked_on: date | None
    retired_on: date | None
    readings: int
    check_says: str

    @property
    def method_words(self) -> str:
        return METHOD_WORDS.get(self.method, self.method)

    @property
    def films(self) -> bool:
        return self.method in FILM_METHODS


def check_says(checked_on: date | None, *, on: date) -> str:
    """What to say of a gauge's last check on a day: a check every twelve months is common practice (no source)."""
    if checked_on is None:
        return "no check of this gauge is on record: check it on shims and a bare plate before its values count."
    year, month = checked_on.year + 1, checked_on.month
    until = date(year, month, min(checked_on.day, monthrange(year, month)[1]))
    if on > until:
        return f"last checked on {day_words(checked_on)}, more than {CHECK_MONTHS} months before."
    return ""


def _row(gauge: Gauge, today: date, readings: int = 0) -> GaugeRow:
    says = check_says(gauge.checked_on, on=today) if gauge.retired_on is None else ""
    return GaugeRow(gauge.pk, gauge.name, gauge.method, gauge.sd_um, gauge.checked_on, gauge.retired_on, readings, says)


def gauges(studio: Studio, *, today: date, in_use: bool = False) -> tuple[GaugeRow, ...]:
    """The studio's gauges by name, those in use first; one query."""
    rows = Gauge.objects.of(studio)
    if in_use:
        rows = rows.filter(Q(retired_on=None) | Q(retired_on__gt=today))
    found = [_row(row, today, row.count) for row in rows.annotate(count=Count("readings"))]
    return tuple(sorted(found, key=lambda row: (row.retired_on is not None, row.name.lower(), row.id)))


def gauge_row(studio: Studio, gauge_id: int, *, today: date) -> GaugeRow:
    """One gauge.

    Raises:
        NotFoundHere: this studio has no such gauge.
    """
    gauge = one(Gauge, studio, gauge_id)
    return _row(gauge, today, gauge.readings.count())


def _check(*, name: str, method: str, sd_um: float | None, checked_on: date | None, today: date) -> None:
    if not 0 < len(name) <= 80:
        raise DomainError("name: write 1 to 80 characters.", field="name")
    known("method", method, METHODS)
    if method in FILM_METHODS and sd_um is None:
        raise DomainError(
            "sd_um: give the standard uncertainty in µm; a data sheet that says ± 1 µm at two sigma means 0.5.",
            field="sd_um",
        )
    if method not in FILM_METHODS and sd_um is not None:
        raise DomainError("sd_um: only film gauges have an uncertainty in µm; empty this field.", field="sd_um")
    if sd_um is not None and not (math.isfinite(sd_um) and SD_UM[0] <= sd_um <= SD_UM[1]):
        raise DomainError(f"sd_um: {sd_um:g} µm is not between {SD_UM[0]:g} and {SD_UM[1]:g}.", field="sd_um")
    plausible_day("checked_on", checked_on)
    if checked_on is not None and checked_on > today:
        raise DomainError(f"checked_on: {checked_on} lies ahead; give the day of the check.", field="checked_on")


def save_gauge(
    *,
    studio: Studio,
    gauge_id: int | None = None,
    name: str,
    method: str,
    sd_um: float | None = None,
    checked_on: date | None = None,
    actor: str,
    at: datetime,
) -> Gauge:
    """Put a gauge on record, or change it. Readings keep the uncertainty and the check as they were when taken.

    Raises:
        DomainError: a field is out of bounds, the name is taken, or readings rest on another method.
    """
    name = name.strip()
    _check(name=name, method=method, sd_um=sd_um, checked_on=checked_on, today=studio.day(at))
    gauge = one(Gauge, studio, gauge_id) if gauge_id is not None else Gauge(studio=studio)
    if gauge.pk and gauge.method != method and gauge.readings.exists():
        raise DomainError(
            "method: readings were taken with this gauge, so what it measures stays; another is another gauge.",
            field="method",
        )
    before = (gauge.sd_um, gauge.checked_on) if gauge.pk else None
    gauge.name, gauge.method, gauge.sd_um, gauge.checked_on = name, method, sd_um, checked_on
    try:
        with transaction.atomic():
            gauge.save()
            journal.record(
                studio=studio, actor=actor, at=at, verb="gauge changed" if before else "gauge registered",
                subject="gauge", subject_id=gauge.pk, name=name, method=method, sd_um=sd_um, checked_on=checked_on,
                before=before,
            )  # fmt: skip
    except IntegrityError as error:
        raise DomainError(f"name: another gauge is called {name}.", field="name") from error
    return gauge


def retire_gauge(*, studio: Studio, gauge_id: int, on: date | None, actor: str, at: datetime) -> Gauge:
    """Take a gauge out of use from a day on; `on` None takes it back. Its readings stay as they are."""
    gauge = one(Gauge, studio, gauge_id)
    plausible_day("on", on)
    if on is not None and on > studio.day(at):
        raise DomainError(f"on: {on} lies in the future; give the day on which it was put away.", field="on")
    if gauge.retired_on == on:
        raise DomainError("This gauge is retired already." if on else "This gauge is in use.", field="on")
    with transaction.atomic():
        gauge.retired_on = on
        gauge.save(update_fields=["retired_on"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="gauge retired" if on else "gauge taken back", subject="gauge",
            subject_id=gauge.pk, on=on,
        )  # fmt: skip
    return gauge
