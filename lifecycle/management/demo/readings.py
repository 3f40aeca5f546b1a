"""Writes what was seen. Readings are simulated from the wear model with an invented true rate of each vehicle, so that
the evidence looks natural and the forecast has something to find out."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from datetime import date, timedelta

import numpy as np

from lifecycle import condition
from lifecycle.management.demo.people import House
from lifecycle.management.demo.plans import LookPlan
from lifecycle.management.demo.vehicles import Loaded
from lifecycle.models import Finding, Gauge, Inspection, Layer, Reading, Surface
from lifecycle.wear.assessment import assess
from lifecycle.wear.chemistry import Angles, chemistry
from lifecycle.wear.degradation import angle_at, consumed_at_function
from lifecycle.wear.types import ClimateYear, CoursePoint, Place

CUTS = (70.0, 80.0, 90.0, 98.0, 105.0)  # degrees between the beading scores 0 to 5
GAUGE_SD_UM = 1.0
READ_ON = ("bonnet", "roof", "boot", "doors_left")
ENDED_AT = 0.95  # life consumed when somebody renewed a layer (judgement)
Climates = Callable[[Place], ClimateYear]


class Truth:
    """The invented truth of one vehicle: life consumed of its topmost layer on a surface and a day."""

    def __init__(self, loaded: Loaded, courses: Mapping[str, Sequence[CoursePoint]]) -> None:
        self._loaded = loaded
        self._courses = courses

    def top(self, code: str, day: date) -> Layer | None:
        """The last layer put on before the day that was still there."""
        there = [
            layer
            for layer in self._loaded.layers
            if layer.surface.code == code and layer.applied < day and (layer.ended is None or layer.ended > day)
        ]
        return max(there, key=lambda layer: (layer.applied, layer.pk), default=None)

    def consumed(self, layer: Layer, day: date) -> float:
        """Life consumed: along the model's course for a live layer, evenly until its end for one that was renewed."""
        course = self._courses.get(f"layer:{layer.pk}")
        if course:
            days = [point.on.toordinal() for point in course]
            used = [consumed_at_function(max(point.p50, 1e-3)) for point in course]
            return self._loaded.plan.kappa * float(np.interp(day.toordinal(), days, used))
        span = ((layer.ended or day) - layer.applied).days or 1
        return ENDED_AT * (day - layer.applied).days / span


def write_looks(house: House, fleet: Sequence[Loaded], climates: Climates) -> int:
    """Every inspection of every vehicle, with its readings and findings.

    Returns:
        How many readings were written.
    """
    by_vehicle = {loaded.vehicle.pk: loaded for loaded in fleet}
    inspections: list[Inspection] = []
    readings: list[Reading] = []
    gauge = _gauges(house)
    findings: list[Finding] = []
    for vehicle in condition.rows_for(by_vehicle):
        loaded = by_vehicle[vehicle.pk]
        truth = Truth(loaded, _courses(vehicle, house, climates))
        draw = loaded.plan.random("readings")
        for look in sorted(loaded.plan.looks, key=lambda one: one.on):
            inspection = Inspection(
                studio=house.studio, vehicle=loaded.vehicle, on=look.on, clean_state=look.clean, by=look.by,
                note=look.note, member=house.technicians[0] if look.by == "studio" else None,
            )  # fmt: skip
            inspections.append(inspection)
            readings += _readings(inspection, loaded, truth, look, draw, gauge=gauge)
            findings += [
                Finding(
                    studio=house.studio, inspection=inspection,
                    **{**row, "surface": loaded.surfaces.get(row.get("surface", ""))},
                )
                for row in look.findings
            ]  # fmt: skip
    Inspection.objects.bulk_create(inspections)
    Reading.objects.bulk_create(readings)
    Finding.objects.bulk_create(findings)
    return len(readings)


def _gauges(house: House) -> Gauge:
    """The studio's instruments; returns the one that its film readings were taken with."""
    today = house.book.today
    made: list[Gauge] = [
        Gauge.objects.create(studio=house.studio, name=name, method=method, sd_um=sd_um, checked_on=checked)
        for name, method, sd_um, checked in (
            ("Steel probe", "magnetic", GAUGE_SD_UM, today - timedelta(days=70)),
            ("Two-metal gauge", "combined", 0.8, today - timedelta(days=460)),
            ("Layer probe", "ultrasonic", 1.5, today - timedelta(days=160)),
            ("Gloss meter", "gloss", None, today - timedelta(days=30)),
        )
    ]
    return made[0]


def _courses(vehicle: object, house: House, climates: Climates) -> dict[str, Sequence[CoursePoint]]:
    """What the model says of every live layer before anybody looked."""
    given = condition.vehicle_input(vehicle, as_of=house.book.today)  # type: ignore[arg-type]
    found = assess(replace(given, readings=()), climates)
    return {layer.key: layer.course for surface in found.surfaces for layer in surface.layers}


def _readings(
    inspection: Inspection, loaded: Loaded, truth: Truth, look: LookPlan, draw: random.Random, *, gauge: Gauge
) -> Iterator[Reading]:
    def reading(code: str, kind: str, value: float, **words: object) -> Reading:
        return Reading(
            studio=inspection.studio, inspection=inspection, surface=loaded.surfaces[code], kind=kind, value=value,
            **words,
        )  # fmt: skip

    for code, values in look.values.items():
        for kind, value in values.items():
            yield reading(code, kind, value)
    if "thickness" in look.read:
        for code, mean in loaded.plan.film_um.items():
            if loaded.surfaces[code].substrate == "steel":
                for spot in range(1, 6):
                    value = round(draw.gauss(mean, 2.5), 1)
                    yield reading(
                        code, "thickness_um", value, method="magnetic", gauge_sd_um=GAUGE_SD_UM, gauge=gauge,
                        gauge_checked_on=inspection.on - timedelta(days=30), spot=spot, typed=f"{value:g}", unit="um",
                    )  # fmt: skip
    for code in _looked_at(loaded.surfaces, look):
        layer = truth.top(code, look.on)
        angles = chemistry(layer.kind).angles if layer is not None and layer.kind != "unknown" else None
        if layer is None or angles is None or code in look.values:
            continue
        angle = _angle(angles, truth.consumed(layer, look.on), clean=look.clean == "decontaminated")
        if "beading" in look.read or "customer" in look.read:
            yield reading(code, "beading_score", _score(angle + draw.gauss(0, 6), look))
        if "angle" in look.read:
            yield reading(code, "contact_angle_deg", round(angle + draw.gauss(0, 3), 1), drops=5)


def _looked_at(surfaces: Mapping[str, Surface], look: LookPlan) -> list[str]:
    found = [code for code in READ_ON if code in surfaces]
    return found[:1] if look.by == "customer" else found


def _angle(angles: Angles, consumed: float, *, clean: bool) -> float:
    """Water contact angle, degrees; grime on a merely washed surface takes a few away."""
    angle = float(angle_at(consumed, new_deg=angles.new, end_deg=angles.end, bare_deg=angles.bare))
    return angle if clean else angle - 3.0


def _score(angle: float, look: LookPlan) -> int:
    """Beading score 0 to 5. Only a told reading says "no beading" of a surface that was not decontaminated."""
    score = sum(angle > cut for cut in CUTS)
    return score if look.clean == "decontaminated" else max(score, 2)
