"""Climate rows: fetched by the cycle, read by the forecast. A page never waits for a climate source."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import asdict
from datetime import datetime, timedelta

import structlog
from django.db.models import Q

from lifecycle.climate.class_table import ClassTableSource
from lifecycle.climate.koppen_map import sea_distance_km
from lifecycle.climate.source import ClimateError, ClimateSource
from lifecycle.climate.sources import enabled, rank_of
from lifecycle.models import ClimateNormal, ClimateService, Habits, Site, Vehicle
from lifecycle.wear.types import ClimateYear, Place

log = structlog.get_logger("sheenward.climate")

NO_HEIGHT = -9999.0
STALE_AFTER = timedelta(days=365)
# An online source that failed this often in a row rests for a while, then is tried once more.
MOST_FAILURES = 3
REST = timedelta(hours=6)
# Places asked online in one run of the step, so that it stays short; the others follow in the next.
MOST_ASKED = 20
MONTHLY = (
    "ghi_kwh_m2_day", "air_c", "diurnal_range_k", "rh_pct", "rain_mm", "rain_days", "wind_ms", "sunshine_fraction",
)  # fmt: skip
FROM_HOURS = ("uv_mj_m2", "wet_hours", "frost_days")

Key = tuple[float, float, float]


def key_of(place: Place) -> Key:
    """Places within 0.1 degree and 10 m of height share a row."""
    height = NO_HEIGHT if place.height_m is None else float(round(place.height_m, -1))
    return round(place.lat, 1), round(place.lon, 1), height


def _row_place(key: Key) -> Place:
    return Place(lat=key[0], lon=key[1], height_m=None if key[2] == NO_HEIGHT else key[2])


def _key_of_row(row: ClimateNormal) -> Key:
    return row.lat, row.lon, row.height_m


def _write(key: Key, at: datetime, source: ClimateSource) -> ClimateNormal:
    """Ask a source and keep its answer. Never inside a transaction: a source may take its time.

    Raises:
        ClimateError: the source cannot answer.
    """
    year = source.climate(_row_place(key))
    values = asdict(year)
    row, _ = ClimateNormal.objects.update_or_create(
        source=year.source,
        lat=key[0],
        lon=key[1],
        height_m=key[2],
        defaults={
            "koppen_class": year.koppen_class,
            "error_word": year.error_word,
            "detail": year.detail,
            "months": {name: values[name] for name in (*MONTHLY, *FROM_HOURS) if values[name]},
            "fetched_at": at,
            "rank": rank_of(year),
            "period": year.period,
            "distance_km": year.distance_km,
            "parts": [list(part) for part in year.parts],
            "sea_km": sea_distance_km(key[0], key[1]),
        },
    )
    return row


def year_of(row: ClimateNormal, place: Place) -> ClimateYear:
    """The climate year that a row holds, at a place."""
    return ClimateYear(
        place=place,
        source=row.source,
        error_word=row.error_word,
        detail=row.detail,
        koppen_class=row.koppen_class,
        period=row.period,
        distance_km=row.distance_km,
        parts=tuple((name, source, word) for name, source, word in row.parts),
        **{name: tuple(row.months[name]) for name in (*MONTHLY, *FROM_HOURS) if name in row.months},
    )


def places() -> set[Key]:
    """Every place at which a vehicle of any studio stands or stood."""
    keys = {
        key_of(Place(lat=lat, lon=lon, height_m=height))
        for lat, lon, height in Site.objects.values_list("lat", "lon", "height_m")
    }
    keys |= {
        key_of(Place(lat=lat, lon=lon, height_m=height))
        for lat, lon, height in Habits.objects.exclude(lat=None).values_list("lat", "lon", "height_m").distinct()
    }
    return keys


def rows_at(place: Place) -> tuple[ClimateNormal, ...]:
    """What every source has said of a place, the one in use first."""
    lat, lon, height = key_of(place)
    return tuple(ClimateNormal.objects.filter(lat=lat, lon=lon, height_m=height).order_by("rank", "source"))


def refresh(*, at: datetime, sources: Iterable[ClimateSource] | None = None) -> Mapping[str, int]:
    """Step 1 of the cycle: see that every place has a climate of every source in use, not older than a year.

    A source that does not answer is no error of the step: what it said before holds, and the class table always
    answers. An online source that failed three times in a row rests for six hours.

    Returns:
        Counts of places, of answers fetched and, where there were any, of refusals.
    """
    wanted = places()
    best_before = _best()
    fetched = refused = 0
    for source in tuple(enabled()) if sources is None else tuple(sources):
        asked = 0
        for key in sorted(_without_fresh(wanted, source, at)):
            if source.online and (asked >= MOST_ASKED or _rests(source.name, at)):
                break
            asked += 1
            try:
                _write(key, at, source)
            except ClimateError as error:
                refused += 1
                log.warning("climate source refused", source=source.name, place=key[:2], error=str(error))
                if source.online:
                    _note_failure(source.name, at, str(error))
                continue
            fetched += 1
            if source.online:
                _note_answer(source.name, at)
    _ask_for_assessment({key for key, best in _best().items() if best_before.get(key, best) != best})
    counts = {"places": len(wanted), "fetched": fetched}
    return counts | ({"refused": refused} if refused else {})


def _without_fresh(wanted: set[Key], source: ClimateSource, at: datetime) -> set[Key]:
    named = Q(source__startswith="file ") if source.name == "weather file" else Q(source=source.name)
    rows = ClimateNormal.objects.filter(named, fetched_at__gt=at - STALE_AFTER)
    return wanted - {_key_of_row(row) for row in rows}


def _best() -> dict[Key, tuple[str, int, datetime]]:
    best: dict[Key, tuple[str, int, datetime]] = {}
    for row in ClimateNormal.objects.order_by("rank", "source").defer("months", "detail"):
        best.setdefault(_key_of_row(row), (row.source, row.rank, row.fetched_at))
    return best


def _ask_for_assessment(changed: set[Key]) -> None:
    """Vehicles that stand at a place whose climate is now told by another source, or told anew."""
    if not changed:
        return
    sites = [
        site.pk for site in Site.objects.all()
        if key_of(Place(site.lat, site.lon, site.height_m)) in changed
    ]  # fmt: skip
    away = [
        row.vehicle_id for row in Habits.objects.exclude(lat=None)
        if row.lat is not None and row.lon is not None and key_of(Place(row.lat, row.lon, row.height_m)) in changed
    ]  # fmt: skip
    Vehicle.objects.filter(Q(site_id__in=sites) | Q(pk__in=away), retired_on=None).update(assess_again=True)


def _rests(name: str, at: datetime) -> bool:
    service = ClimateService.objects.filter(name=name).first()
    return service is not None and service.open_until is not None and at < service.open_until


def _note_answer(name: str, at: datetime) -> None:
    ClimateService.objects.update_or_create(
        name=name, defaults={"failures": 0, "open_until": None, "last_ok_at": at, "last_error": ""}
    )


def _note_failure(name: str, at: datetime, error: str) -> None:
    service, _ = ClimateService.objects.get_or_create(name=name)
    service.failures = min(service.failures + 1, 1000)
    service.last_error = error[:300]
    if service.failures >= MOST_FAILURES:
        service.open_until = at + REST
    service.save()


def reader(at: datetime) -> Callable[[Place], ClimateYear]:
    """A look-up for one run of the forecast: rows are read once, the best source of a place is taken; a missing one is
    made from the class table."""
    rows: dict[Key, ClimateNormal] = {}
    for row in ClimateNormal.objects.order_by("rank", "source"):
        rows.setdefault(_key_of_row(row), row)

    def climate(place: Place) -> ClimateYear:
        key = key_of(place)
        if key not in rows:
            rows[key] = _write(key, at, ClassTableSource())
        return year_of(rows[key], place)

    return climate
