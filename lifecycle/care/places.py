"""Verbs and reads about a studio's sites: where they lie, and what is known of their climate."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Count, Q

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.worklist import task_title
from lifecycle.climate import store
from lifecycle.climate.gazetteer import find_place
from lifecycle.climate.place_climate import PlaceClimate, place_climate
from lifecycle.climate.source import ClimateError
from lifecycle.errors import DomainError
from lifecycle.models import LIVE_DUE, CareDue, ClimateNormal, Site, Studio, Vehicle, Visit, VisitState
from lifecycle.wear.choices import ROAD_SALT
from lifecycle.wear.types import Place

HEIGHT_M: Final = (-450.0, 6000.0)
SEA_M: Final = (0.0, 3_000_000.0)
WEEKS: Final = 52
WEEKS_BACK: Final = 8


@dataclass(frozen=True, slots=True)
class SiteRow:
    """A site in the list. `source` and `error_word` are "" until the cycle has fetched its climate."""

    id: int
    name: str
    lat: float
    lon: float
    height_m: float | None
    vehicles: int
    koppen_class: str
    source: str
    error_word: str


@dataclass(frozen=True, slots=True)
class OtherSource:
    """What another source has said of the place: kept beside the one in use."""

    source: str
    error_word: str
    period: str
    distance_km: float | None
    fetched_at: datetime
    ghi_kwh_m2_day: float
    air_c: float
    rh_pct: float
    detail: str


@dataclass(frozen=True, slots=True)
class Week:
    """Care and visits of one week at a site. `open` windows run through it, `ideal` ones have their best day in it."""

    first: date
    open: int
    ideal: int
    visits: int
    tasks: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SiteView:
    """One site with its climate (None until the cycle has fetched it) and the weeks of its year."""

    row: SiteRow
    sea_distance_m: float | None
    road_salt: str
    zone: str
    climate: PlaceClimate | None
    fetched_at: datetime | None
    map_sea_km: float | None
    others: tuple[OtherSource, ...]
    weeks: tuple[Week, ...]
    today: date


def _within(field: str, figure: float | None, limits: tuple[float, float], unit: str) -> None:
    if figure is not None and not (math.isfinite(figure) and limits[0] <= figure <= limits[1]):
        raise DomainError(
            f"{field}: {figure:g} {unit} does not lie between {limits[0]:g} and {limits[1]:g} {unit}; "
            "check the unit, or leave it empty.",
            field=field,
        )


def locate(text: str) -> Place:
    """The place that a city, a US zip code or a pin "lat, lon" means; nothing is asked over the network.

    Raises:
        DomainError: nothing or more than one place found.
    """
    try:
        return find_place(text).place
    except ClimateError as error:
        raise DomainError(f"where: {error}", field="where") from error


def check_place(
    *, lat: float, lon: float, height_m: float | None, sea_distance_m: float | None, road_salt: str | None
) -> None:
    """Refuse a place that cannot be.

    Raises:
        DomainError: a figure out of range or an unknown word; the field says which.
    """
    _within("lat", lat, (-90.0, 90.0), "degrees")
    _within("lon", lon, (-180.0, 180.0), "degrees")
    _within("height_m", height_m, HEIGHT_M, "m")
    _within("sea_distance_m", sea_distance_m, SEA_M, "m")
    if road_salt is not None and road_salt not in ROAD_SALT:
        known = ", ".join(ROAD_SALT)
        raise DomainError(f"road_salt: {road_salt!r} is not known; use one of {known}.", field="road_salt")


def set_place(
    *,
    studio: Studio,
    site_id: int,
    lat: float,
    lon: float,
    height_m: float | None,
    sea_distance_m: float | None,
    road_salt: str | None = None,
    actor: str,
    at: datetime,
) -> Site:
    """Correct where a site lies. Its vehicles are assessed again from the first day, as if it had always lain there.

    Args:
        height_m, sea_distance_m: None where nobody knows.  road_salt: None leaves it as it is.

    Raises:
        DomainError: a figure out of range; the field says which.
        NotFoundHere: the site is not of this studio.
    """
    check_place(lat=lat, lon=lon, height_m=height_m, sea_distance_m=sea_distance_m, road_salt=road_salt)
    with transaction.atomic():
        site = one(Site, studio, site_id, lock=True)
        before = [site.lat, site.lon, site.height_m, site.sea_distance_m, site.road_salt]
        site.lat, site.lon, site.height_m, site.sea_distance_m = lat, lon, height_m, sea_distance_m
        site.road_salt = site.road_salt if road_salt is None else road_salt
        after = [site.lat, site.lon, site.height_m, site.sea_distance_m, site.road_salt]
        if before == after:
            return site
        site.save(update_fields=["lat", "lon", "height_m", "sea_distance_m", "road_salt"])
        asked = Vehicle.objects.filter(site=site, retired_on=None).update(assess_again=True)
        journal.record(
            studio=studio, actor=actor, at=at, verb="site place corrected", subject="site", subject_id=site.pk,
            before=before, after=after, vehicles=asked,
        )  # fmt: skip
    return site


def _place(site: Site) -> Place:
    return Place(lat=site.lat, lon=site.lon, height_m=site.height_m, sea_distance_m=site.sea_distance_m)


def _row(site: Site, normal: ClimateNormal | None, vehicles: int) -> SiteRow:
    return SiteRow(
        id=site.pk, name=site.name, lat=site.lat, lon=site.lon, height_m=site.height_m, vehicles=vehicles,
        koppen_class=normal.koppen_class if normal else "", source=normal.source if normal else "",
        error_word=normal.error_word if normal else "",
    )  # fmt: skip


def sites(studio: Studio) -> tuple[SiteRow, ...]:
    """The studio's sites by name, with the number of their vehicles and the climate source in use."""
    rows = list(
        Site.objects.of(studio)
        .annotate(live=Count("vehicles", filter=Q(vehicles__retired_on=None)))
        .order_by("name")
    )  # fmt: skip
    keys = {site.pk: store.key_of(_place(site)) for site in rows}
    known: dict[store.Key, ClimateNormal] = {}
    near = ClimateNormal.objects.filter(lat__in=[key[0] for key in keys.values()]).defer("months")
    for normal in near.order_by("rank", "source"):
        known.setdefault((normal.lat, normal.lon, normal.height_m), normal)
    return tuple(_row(site, known.get(keys[site.pk]), site.live) for site in rows)


def site(studio: Studio, site_id: int, *, today: date) -> SiteView:
    """One site with its climate from the store; no source is asked.

    Raises:
        NotFoundHere: the site is not of this studio.
    """
    found = one(Site, studio, site_id)
    normals = store.rows_at(_place(found))
    best = normals[0] if normals else None
    climate = None
    if best is not None:
        climate = place_climate(store.year_of(best, _place(found)), map_sea_km=best.sea_km)
    return SiteView(
        row=_row(found, best, Vehicle.objects.filter(site=found, retired_on=None).count()),
        sea_distance_m=found.sea_distance_m,
        road_salt=found.road_salt,
        zone=found.zone,
        climate=climate,
        fetched_at=best.fetched_at if best else None,
        map_sea_km=best.sea_km if best else None,
        others=tuple(_other(normal) for normal in normals[1:]),
        weeks=weeks_of(found, first=today - timedelta(days=today.weekday(), weeks=WEEKS_BACK)),
        today=today,
    )


def _other(normal: ClimateNormal) -> OtherSource:
    def mean(name: str) -> float:
        months: list[float] = normal.months[name]
        return sum(months) / 12.0

    return OtherSource(
        source=normal.source, error_word=normal.error_word, period=normal.period, distance_km=normal.distance_km,
        fetched_at=normal.fetched_at, ghi_kwh_m2_day=mean("ghi_kwh_m2_day"), air_c=mean("air_c"), rh_pct=mean("rh_pct"),
        detail=normal.detail,
    )  # fmt: skip


def weeks_of(found: Site, *, first: date) -> tuple[Week, ...]:
    """The 52 weeks from a Monday on, with the live care windows and the visits of a site; two queries."""
    last = first + timedelta(weeks=WEEKS)
    dues = list(
        CareDue.objects.filter(vehicle__site=found, state__in=LIVE_DUE, earliest__lt=last, latest__gte=first)
        .values_list("earliest", "ideal", "latest", "task")
    )  # fmt: skip
    visits = list(
        Visit.objects.filter(site=found, state__in=(VisitState.BOOKED, VisitState.DONE), on__gte=first, on__lt=last)
        .values_list("on", flat=True)
    )  # fmt: skip
    return tuple(_week(first + timedelta(weeks=number), dues, visits) for number in range(WEEKS))


def _week(first: date, dues: Sequence[tuple[date, date, date, str]], visits: Iterable[date]) -> Week:
    after = first + timedelta(days=7)
    ideal = [task for _earliest, best, _latest, task in dues if first <= best < after]
    return Week(
        first=first,
        open=sum(1 for earliest, _best, latest, _task in dues if earliest < after and latest >= first),
        ideal=len(ideal),
        visits=sum(1 for on in visits if first <= on < after),
        tasks=tuple(
            f"{task_title(task)} × {ideal.count(task)}" if ideal.count(task) > 1 else task_title(task)
            for task in dict.fromkeys(ideal)
        ),
    )
