"""The chain from a place's climate to a receipt for one vehicle, with numbers, as lines of text."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from lifecycle.climate import store
from lifecycle.models import (
    Assessment,
    CareDue,
    ClimateNormal,
    Forecast,
    Habits,
    Message,
    Offer,
    Receipt,
    Refusal,
    Reminder,
    Vehicle,
    VisitProposal,
)
from lifecycle.wear.types import Place


def chain(vehicle: Vehicle, *, only: Reminder | None = None) -> Iterator[str]:
    """Lines that follow one vehicle (or one reminder) through the thirteen steps of the cycle."""
    yield f"{vehicle} · {vehicle.studio} · {vehicle.site}"
    yield from _climate(vehicle)
    yield from _habits(vehicle)
    assessment = Assessment.objects.filter(vehicle=vehicle, latest=True).first()
    if assessment is None:
        yield "3-6  not assessed yet: run `manage.py cycle`, or start the worker"
        return
    yield from _stress(assessment)
    yield from _forecasts(assessment)
    yield from _dues(vehicle, only)
    yield from _visits(vehicle)
    yield from _reminders(vehicle, only)
    yield from _offers(vehicle)


def _climate(vehicle: Vehicle) -> Iterator[str]:
    site = vehicle.site
    lat, lon, height = store.key_of(Place(lat=site.lat, lon=site.lon, height_m=site.height_m))
    row = ClimateNormal.objects.filter(lat=lat, lon=lon, height_m=height).first()
    if row is None:
        yield f"1  climate      {lat:.1f} N {lon:.1f} E: not fetched yet"
        return
    air, sun = row.months["air_c"], row.months["ghi_kwh_m2_day"]
    yield (
        f"1  climate      {lat:.1f} N {lon:.1f} E, class {row.koppen_class}, {row.source} ({row.error_word}), "
        f"fetched {row.fetched_at:%Y-%m-%d}: air {min(air):.1f} to {max(air):.1f} °C, "
        f"sun {min(sun):.1f} to {max(sun):.1f} kWh/m² a day"
    )


def _habits(vehicle: Vehicle) -> Iterator[str]:
    rows = list(Habits.objects.filter(vehicle=vehicle).order_by("start"))
    if not rows:
        yield "2  habits       none on record: the reference duty is assumed and the band is wider"
    for row in rows:
        yield (
            f"2  habits       {row.start} to {row.end or 'now'}: {row.parking}, {row.km_per_year:g} km and "
            f"{row.washes_per_year:g} washes a year ({row.wash_method}, {row.wash_ph}), salt {row.road_salt}, "
            f"trees and birds {row.trees_birds}, {row.source}"
        )


def _stress(assessment: Assessment) -> Iterator[str]:
    stress = assessment.whole.get("yearly_stress") or {}
    said = ", ".join(f"{name.replace('_', ' ')} {float(value):.2f}" for name, value in stress.items())
    yield f"3  stress       of the reference duty, a year as now: {said or 'none kept'}"


def _band(low: Any, middle: Any, high: Any, shape: str = "{}") -> str:
    if middle is None:
        return "no forecast"
    return f"{shape.format(low)} · {shape.format(middle)} · {shape.format(high)}"


def _forecasts(assessment: Assessment) -> Iterator[str]:
    yield (
        f"6  assessment   {assessment.as_of}, model {assessment.model_version}, inputs {assessment.input_hash[:12]}, "
        f"assumed: {', '.join(assessment.assumed) or 'nothing'}"
    )
    rows = Forecast.objects.filter(assessment=assessment).select_related("surface", "layer").order_by("pk")
    for row in rows:
        yield (
            f"4  forecast     {row.surface.code}, {row.layer.kind} of {row.layer.applied}: {row.stage}; function left "
            f"{_band(row.function_p10, row.function_p50, row.function_p90, '{:.2f}')}; end "
            f"{_band(row.end_p10, row.end_p50, row.end_p90)}"
        )
        for reason in row.reasons[:3]:
            yield f"     because     {reason['mechanism'].replace('_', ' ')} {reason['share']:.2f}: {reason['says']}"
        yield (
            f"5  evidence     {row.evidence_says or 'no reading yet'} (rate {row.rate_median:.2f}, seen {row.seen_on})"
        )


def _dues(vehicle: Vehicle, only: Reminder | None) -> Iterator[str]:
    dues = CareDue.objects.filter(vehicle=vehicle)
    for due in dues.filter(pk=only.due_id) if only else dues:
        yield (
            f"7  care due     {due.pk}: {due.task} [{due.state}] earliest {due.earliest}, ideal {due.ideal}, latest "
            f"{due.latest}{f', contract {due.contract_on}' if due.contract_on else ''}: {due.why}"
        )
    for refused in () if only else Refusal.objects.filter(vehicle=vehicle):
        yield f"7  not offered  {refused.task} on {', '.join(refused.surfaces) or 'the vehicle'}: {refused.why}"


def _visits(vehicle: Vehicle) -> Iterator[str]:
    for row in VisitProposal.objects.filter(vehicle=vehicle).exclude(state="withdrawn"):
        yield (
            f"8  visit        {row.state}: {', '.join(row.tasks)} between {row.earliest} and {row.latest}, best "
            f"{row.ideal}; {row.labour_h:g} h work, {row.cure_h:g} h cure"
        )


def _reminders(vehicle: Vehicle, only: Reminder | None) -> Iterator[str]:
    rows = Reminder.objects.filter(vehicle=vehicle).select_related("due")
    for row in rows.filter(pk=only.pk) if only else rows:
        when = f", send at {row.send_at:%Y-%m-%d %H:%M %Z}" if row.send_at else ""
        yield f"9  reminder     {row.pk}: {row.due.task}, {row.get_step_display()} [{row.state}]{when}: {row.reason}"
        message = Message.objects.filter(reminder=row).first()
        if message is None:
            continue
        yield f"10 message      {message.uid}: “{message.subject}”, written {message.written_at:%Y-%m-%d %H:%M %Z}"
        yield (
            f"11 hand-over    {message.get_state_display()} at {message.state_at:%Y-%m-%d %H:%M %Z}, attempts "
            f"{message.attempts}, resends {message.resends}{f', {message.error}' if message.error else ''}"
        )
        for receipt in Receipt.objects.filter(message=message):
            yield f"12 receipt      {receipt.kind} at {receipt.occurred_at:%Y-%m-%d %H:%M %Z} from {receipt.provider}"


def _offers(vehicle: Vehicle) -> Iterator[str]:
    for offer in Offer.objects.filter(vehicle=vehicle).prefetch_related("steps"):
        steps = ", ".join(f"{step.kind} {step.at:%Y-%m-%d}" for step in offer.steps.all())
        yield f"13 advice       {offer.task}, about {offer.price_low:g} to {offer.price_high:g}: {steps}"


def find_vehicle(text: str) -> Vehicle | None:
    """A vehicle by its number or its plate."""
    rows = Vehicle.objects.select_related("studio", "site")
    if text.isdecimal():
        found: Vehicle | None = rows.filter(pk=int(text)).first()
        if found is not None:
            return found
    by_plate: Vehicle | None = rows.filter(plate__iexact=text).order_by("retired_on", "-pk").first()
    return by_plate
