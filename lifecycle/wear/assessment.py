"""One vehicle in, its forecast out: the entry point of the wear model."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from datetime import timedelta

import numpy as np

from lifecycle.wear import clearcoat, clogging, etching
from lifecycle.wear.correction_plan import unlisted_corrections
from lifecycle.wear.course import MECHANISMS
from lifecycle.wear.figures import wear_value
from lifecycle.wear.laid import Laid, World, cleaning_days, clogging_on, is_unclear, live_clocks, world_of
from lifecycle.wear.layers import layer_forecast, unknown_forecast
from lifecycle.wear.refinish import RefinishSign, refinish_signs
from lifecycle.wear.stack import FILMS, PAINTED, concerns, correction_days, ended_layers
from lifecycle.wear.timeline import SEASON_NOTE
from lifecycle.wear.types import (
    Band,
    ClearCoat,
    ClimateYear,
    LayerForecast,
    Place,
    SurfaceForecast,
    VehicleForecast,
    VehicleInput,
)

MODEL_VERSION = "2"
ETCH_LOOKS_BACK_DAYS = 365
NO_LAYER_NOTE = "No layer is known on this surface: an inspection tells what is there."


def _layers(vehicle: VehicleInput, surface: Laid) -> tuple[LayerForecast, ...]:
    clocks, made = live_clocks(vehicle, surface), []
    for index, live in enumerate(surface.stack):
        if not live.is_live(vehicle.as_of):
            continue
        if index not in clocks:
            made.append(unknown_forecast(live.layer))
            continue
        clock = clocks[index]
        made.append(
            layer_forecast(
                clock.course,
                looks=clock.looks,
                ln_sd=clock.ln_sd,
                timeline=surface.timeline,
                posterior=clock.posterior,
                clogged=clock.clogged,
                over_unknown=clock.over_unknown,
                duty_note=clock.duty_note,
                refinished_on=surface.given.refinished_on,
            )
        )
    return tuple(made)


def _clear_coat(vehicle: VehicleInput, surface: Laid, signs: Mapping[str, RefinishSign]) -> ClearCoat:
    sign = signs.get(surface.given.code)
    film = any(live.layer.kind in FILMS and live.is_live(vehicle.as_of) for live in surface.stack)
    return clearcoat.clear_coat(
        surface.given,
        paint=vehicle.paint,
        under_film=film,
        unlisted_corrections=unlisted_corrections(vehicle, surface.given),
        refinish=sign.says if sign is not None and sign.word == "likely" else "",
    )


def _etch_risk(vehicle: VehicleInput, surface: Laid, layers: tuple[LayerForecast, ...]) -> Band | None:
    """The worst chance among the contaminations of the last year that no correction or repaint has answered."""
    since = vehicle.as_of - timedelta(days=ETCH_LOOKS_BACK_DAYS)
    answered = [*correction_days(surface.given, vehicle.events)]
    answered += [e.on for e in vehicle.events if e.kind in ("repaint", "part_swap") and concerns(e, surface.given)]
    left = next((layer.function_left.p50 for layer in reversed(layers) if layer.function_left is not None), 0.0)
    climate = surface.timeline.climates(vehicle.place)
    risks = []
    for event in vehicle.events:
        open_ = event.kind in etching.ETCHING and since <= event.on <= vehicle.as_of and concerns(event, surface.given)
        if not open_ or surface.given.substrate not in PAINTED or any(day > event.on for day in answered):
            continue
        month = event.on.month - 1
        warm = climate.air_c[month] + 0.5 * climate.diurnal_range_k[month]
        risks.append(
            etching.etch_chance(
                dwell_h=wear_value("etch.dwell_default") if event.dwell_h is None else event.dwell_h,
                air_c=warm if event.air_c is None else event.air_c,
                colour=vehicle.colour,
                function_left=left,
            )
        )
    return max(risks, key=lambda risk: risk.p50) if risks else None


def _returns(layers: tuple[LayerForecast, ...], level: Band) -> Band | None:
    known = [layer for layer in layers if layer.function_left is not None]
    if not known or known[-1].function_left is None:
        return None
    return clogging.chance_that_behaviour_returns(function_left=known[-1].function_left, clogging=level)


def _assess_surface(vehicle: VehicleInput, surface: Laid, signs: Mapping[str, RefinishSign]) -> SurfaceForecast:
    cleaned = cleaning_days(vehicle, surface.given)
    unclear = is_unclear(vehicle, surface)
    level = clogging_on(vehicle, surface, vehicle.as_of)
    layers = _layers(vehicle, surface)
    clogged = unclear or level.p50 >= wear_value("clog.hides")
    notes = list(surface.timeline.notes)
    if surface.given.mounted:
        notes.append(SEASON_NOTE)
    if not layers:
        notes.append(NO_LAYER_NOTE)
    return SurfaceForecast(
        code=surface.given.code,
        layers=layers,
        clear_coat=_clear_coat(vehicle, surface, signs),
        clogging=level,
        clogged=clogged,
        decontaminated_on=clogging.last_cleaning(cleaned, on=vehicle.as_of),
        etch_risk=_etch_risk(vehicle, surface, layers),
        returns_chance=_returns(layers, level) if clogged else None,
        ended=ended_layers(surface.stack, as_of=vehicle.as_of),
        notes=tuple(notes),
    )


def assess(vehicle: VehicleInput, climates: Callable[[Place], ClimateYear]) -> VehicleForecast:
    """Forecast every layer of a vehicle, its clogging and its clear coat.

    Args:
        vehicle: what is known; layers, removals, events and readings after `as_of` are left out.
        climates: gives the twelve months of climate of a place (see `lifecycle.climate`).

    Raises:
        ValueError: a kind, orientation, colour or habit value that the tables do not know.
    """
    return assess_world(world_of(vehicle, climates))


def assess_world(world: World) -> VehicleForecast:
    """`assess` for a vehicle that is laid out already (`laid.world_of`).

    Raises:
        ValueError: as `assess`.
    """
    vehicle, timeline, laid = world.vehicle, world.timeline, world.laid
    signs = refinish_signs(vehicle.surfaces, stacks={surface.given.code: surface.stack for surface in laid})
    made = [_assess_surface(vehicle, surface, signs) for surface in laid]
    year = timeline.daily(orientation="flat")
    start = (vehicle.as_of - timeline.first).days
    means = np.mean(year[start : start + 365], axis=0)
    return VehicleForecast(
        as_of=vehicle.as_of,
        climate=world.climates(vehicle.place),
        surfaces=tuple(made),
        assumed=vehicle.assumed,
        model_version=MODEL_VERSION,
        yearly_stress={str(mechanism): float(mean) for mechanism, mean in zip(MECHANISMS, means, strict=True)},
    )
