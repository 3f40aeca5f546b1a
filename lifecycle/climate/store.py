"""Climate rows: fetched by the cycle, read by the forecast. A page never waits for a climate source."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import asdict
from datetime import datetime, timedelta

from lifecycle.climate.class_table import climate_at
from lifecycle.models import ClimateNormal, Habits, Site
from lifecycle.wear.types import ClimateYear, Place

SOURCE = "class table"
NO_HEIGHT = -9999.0
STALE_AFTER = timedelta(days=365)
MONTHLY = (
    "ghi_kwh_m2_day", "air_c", "diurnal_range_k", "rh_pct", "rain_mm", "rain_days", "wind_ms", "sunshine_fraction",
)  # fmt: skip

Key = tuple[float, float, float]


def key_of(place: Place) -> Key:
    """Places within 0.1 degree and 10 m of height share a row."""
    height = NO_HEIGHT if place.height_m is None else float(round(place.height_m, -1))
    return round(place.lat, 1), round(place.lon, 1), height


def _row_place(key: Key) -> Place:
    return Place(lat=key[0], lon=key[1], height_m=None if key[2] == NO_HEIGHT else key[2])


def _write(key: Key, at: datetime) -> ClimateNormal:
    year = climate_at(_row_place(key))
    values = asdict(year)
    row, _ = ClimateNormal.objects.update_or_create(
        source=SOURCE,
        lat=key[0],
        lon=key[1],
        height_m=key[2],
        defaults={
            "koppen_class": year.koppen_class,
            "error_word": year.error_word,
            "detail": year.detail,
            "months": {name: values[name] for name in MONTHLY},
            "fetched_at": at,
        },
    )
    return row


def _year(row: ClimateNormal, place: Place) -> ClimateYear:
    return ClimateYear(
        place=place,
        source=row.source,
        error_word=row.error_word,
        detail=row.detail,
        koppen_class=row.koppen_class,
        **{name: tuple(row.months[name]) for name in MONTHLY},
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


def refresh(*, at: datetime) -> Mapping[str, int]:
    """Step 1 of the cycle: see that every place has a climate that is not older than a year."""
    fresh = {
        (row.lat, row.lon, row.height_m)
        for row in ClimateNormal.objects.filter(source=SOURCE, fetched_at__gt=at - STALE_AFTER)
    }
    missing = places() - fresh
    for key in sorted(missing):
        _write(key, at)
    return {"places": len(fresh | missing), "fetched": len(missing)}


def reader(at: datetime) -> Callable[[Place], ClimateYear]:
    """A look-up for one run of the forecast: rows are read once, a missing one is made from the class table."""
    rows: dict[Key, ClimateNormal] = {
        (row.lat, row.lon, row.height_m): row for row in ClimateNormal.objects.filter(source=SOURCE)
    }

    def climate(place: Place) -> ClimateYear:
        key = key_of(place)
        if key not in rows:
            rows[key] = _write(key, at)
        return _year(rows[key], place)

    return climate
