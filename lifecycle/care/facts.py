"""What the care rules need to know about one vehicle, worked out once: duty, storage, seasons, what was seen when."""

from __future__ import annotations

from calendar import monthrange
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta

from lifecycle.care.tasks_table import interval
from lifecycle.wear import usage
from lifecycle.wear.types import (
    EndedLayer,
    HabitPeriod,
    LayerForecast,
    Stage,
    StoragePeriod,
    SurfaceForecast,
    SurfaceInput,
    VehicleForecast,
    VehicleInput,
)

CERAMIC = frozenset({"ceramic_entry", "ceramic_mid", "ceramic_top"})
FILM = frozenset({"film_body", "wrap"})
SHORT_LIVED = frozenset({"wax", "sealant", "booster", "film_top_coat"})
PAINT_LAYERS = CERAMIC | FILM | SHORT_LIVED
PAINTABLE = frozenset({"steel", "aluminium", "plastic", "composite"})
BODY_SIDES = frozenset({"flat", "side", "front", "rear", "sill"})
ENGINE_BAY = frozenset({"engine_bay_dressing", "engine_bay_coating"})
LOOK = "inspected"  # somebody of the studio looked at the whole car without taking a reading


@dataclass(frozen=True, slots=True)
class SurfaceFacts:
    """One surface: its forecast, its input (None if only the forecast knows it) and what the studio saw on it."""

    code: str
    orientation: str
    forecast: SurfaceForecast
    given: SurfaceInput | None
    clean_on: date | None
    seen_clean_on: date | None
    seen_on: date | None

    @property
    def layers(self) -> tuple[LayerForecast, ...]:
        """Live layers from the bottom up."""
        return self.forecast.layers

    def live(self, kinds: frozenset[str]) -> LayerForecast | None:
        """The topmost live layer of these kinds."""
        return next((layer for layer in reversed(self.layers) if layer.kind in kinds), None)

    @property
    def wear_unknown(self) -> bool:
        """Somebody saw no beading without decontamination: a forecast stands, but it may be grime that was seen."""
        return any(one.stage is Stage.UNKNOWN and one.function_left is not None for one in self.layers)

    @property
    def ended(self) -> tuple[EndedLayer, ...]:
        """Layers that are gone, by the forecast and by the record."""
        given = self.given.layers if self.given else ()
        told = tuple(EndedLayer(one.key, one.kind, one.ended, "recorded") for one in given if one.ended is not None)
        keys = {one.key for one in self.forecast.ended}
        return self.forecast.ended + tuple(one for one in told if one.key not in keys)


@dataclass(frozen=True, slots=True)
class CareFacts:
    """One vehicle. `contamination` is the yearly mean stress K of today's habits over the reference duty (= 1)."""

    as_of: date
    vehicle: VehicleInput
    forecast: VehicleForecast
    habit: HabitPeriod | None
    contamination: float
    storage: tuple[StoragePeriod, ...]
    surfaces: tuple[SurfaceFacts, ...]

    @property
    def north(self) -> bool:
        """The northern hemisphere."""
        return self.home_lat >= 0

    @property
    def home_lat(self) -> float:
        """Latitude of where the vehicle lives today, degrees."""
        place = self.habit.place if self.habit and self.habit.place else self.vehicle.place
        return place.lat

    @property
    def salted(self) -> bool:
        """Road salt is in today's habits."""
        return self.habit is not None and self.habit.road_salt != "none"

    @property
    def washed_on(self) -> tuple[date, ...]:
        """Days of washes in the studio."""
        return tuple(one.on for one in self.vehicle.events if one.kind == "wash" and one.on <= self.as_of)

    @property
    def live_layers(self) -> tuple[tuple[SurfaceFacts, LayerForecast], ...]:
        """Every live layer with its surface."""
        return tuple((surface, layer) for surface in self.surfaces for layer in surface.layers)

    @property
    def studio_seen_on(self) -> date | None:
        """Last day of a studio reading on any surface."""
        return max((surface.seen_on for surface in self.surfaces if surface.seen_on), default=None)

    def painted(self) -> Iterator[SurfaceFacts]:
        """Body panels, where waxes, coats and film go."""
        for surface in self.surfaces:
            substrate = surface.given.substrate if surface.given else "steel"
            if surface.orientation in BODY_SIDES and substrate in PAINTABLE:
                yield surface

    def driven_later(self, start: date, days: float) -> date:
        """`start` plus `days` outside storage: standing still neither clogs a coat nor uses up an interval."""
        end = start + timedelta(days=round(days))
        for period in sorted(self.storage, key=lambda one: one.start):
            if period.end is not None and start < period.end and period.start < end:
                end += period.end - max(period.start, start)
        return end

    def season_day(self, year: int, month: int, day: int) -> date:
        """A day of the northern year; half a year later in the south (its month's last day where that is shorter)."""
        if self.north:
            return date(year, month, day)
        year, month = year + (month > 6), (month + 5) % 12 + 1
        return date(year, month, min(day, monthrange(year, month)[1]))

    def body_codes(self) -> tuple[str, ...]:
        """Codes of the painted surfaces."""
        return tuple(surface.code for surface in self.painted())


def habit_on(vehicle: VehicleInput, day: date) -> HabitPeriod | None:
    """The habits in force on `day`, else the latest begun before it, else None."""
    begun = sorted((one for one in vehicle.habits if one.start <= day), key=lambda one: one.start)
    current = [one for one in begun if one.end is None or day < one.end]
    return (current or begun)[-1] if begun else None


def _contamination(vehicle: VehicleInput, forecast: VehicleForecast, habit: HabitPeriod | None) -> float:
    """Yearly mean of K at today's habits (duty factors of the wear tables); 1 where nobody has said."""
    if habit is None:
        return 1.0
    place = habit.place or vehicle.place
    by_month = usage.contamination_factor(
        habit,
        place=place,
        koppen_class=forecast.climate.koppen_class,
        salted=usage.salt_months(lat_deg=place.lat),
        orientation="flat",
    )
    return float(by_month.mean())


def _surface(vehicle: VehicleInput, forecast: SurfaceForecast, given: SurfaceInput | None) -> SurfaceFacts:
    as_of, code = vehicle.as_of, forecast.code
    readings = [one for one in vehicle.readings if one.surface == code and one.by == "studio" and one.on <= as_of]
    seen_clean = [one.on for one in readings if one.clean_state == "decontaminated"]
    cleaned = [
        one.on
        for one in vehicle.events
        if one.kind == "decontamination" and one.surface in (None, code) and one.on <= as_of
    ]
    days = seen_clean + cleaned + _applied_clean(forecast, given)
    if forecast.decontaminated_on is not None:
        days.append(forecast.decontaminated_on)
    seen = [one.on for one in readings] + [one.seen_on for one in forecast.layers if one.seen_on is not None]
    seen += [one.on for one in vehicle.events if one.kind == LOOK and one.on <= as_of]
    return SurfaceFacts(
        code=code,
        orientation=given.orientation if given else "flat",
        forecast=forecast,
        given=given,
        clean_on=max(days, default=None),
        seen_clean_on=max(seen_clean, default=None),
        seen_on=max(seen, default=None),
    )


def _applied_clean(forecast: SurfaceForecast, given: SurfaceInput | None) -> list[date]:
    """Days on which the surface was clean because a layer went on.

    A ceramic coat, film or booster goes onto a decontaminated surface; a wax or sealant only onto a washed one
    (decontaminated once a year, common practice), so of those only the first in the record counts.
    """
    paint = [one for one in forecast.layers if one.kind in PAINT_LAYERS]
    strong = [one.applied for one in paint if one.kind not in ("wax", "sealant")]
    if strong:
        return [max(strong)]
    weak = [one.applied for one in paint]
    if weak and given is not None:
        weak += [one.applied for one in given.layers if one.kind in ("wax", "sealant")]
    return [min(weak)] if weak else []


def facts_of(*, forecast: VehicleForecast, vehicle: VehicleInput) -> CareFacts:
    """Work out what the rules need; storage shorter than six weeks is left out (common practice).

    Raises:
        ValueError: forecast and vehicle speak of different days.
    """
    if forecast.as_of != vehicle.as_of:
        raise ValueError(
            f"The forecast is of {forecast.as_of}, the vehicle of {vehicle.as_of}; forecast it again for that day."
        )
    habit = habit_on(vehicle, vehicle.as_of)
    given = {surface.code: surface for surface in vehicle.surfaces}
    least = timedelta(days=interval("storage.min_days"))
    storage = tuple(one for one in vehicle.storage if one.end is None or one.end - one.start >= least)
    return CareFacts(
        as_of=vehicle.as_of,
        vehicle=vehicle,
        forecast=forecast,
        habit=habit,
        contamination=_contamination(vehicle, forecast, habit),
        storage=storage,
        surfaces=tuple(_surface(vehicle, one, given.get(one.code)) for one in forecast.surfaces),
    )
