"""Writes vehicles, surfaces, layers and what is known of their use. Past layers and events go in by the hundred."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.db.models import F

from lifecycle import journal
from lifecycle.care import contracts, keeping, record, register
from lifecycle.management.demo.people import ACTOR, House
from lifecycle.management.demo.plans import VehiclePlan
from lifecycle.management.demo.when import at
from lifecycle.models import CareEvent, ContractTerm, Correction, Customer, Layer, Surface, Vehicle

ENDS_COATS = ("repaint", "part_swap")


@dataclass(frozen=True, slots=True)
class Loaded:
    """A vehicle as loaded, with its surfaces by code and its layers."""

    plan: VehiclePlan
    vehicle: Vehicle
    surfaces: Mapping[str, Surface]
    layers: tuple[Layer, ...]


def load_vehicle(house: House, plan: VehiclePlan, keeper: Customer) -> Loaded:
    """One vehicle with everything but what was seen on it and what was paid."""
    book, studio = house.book, house.studio
    vehicle = register.register_vehicle(
        studio=studio, site_id=house.sites[plan.site].pk, keeper_id=keeper.pk, first_seen=plan.seen, actor=ACTOR,
        at=at(plan.seen), **plan.words,
    )  # fmt: skip
    surfaces = _surfaces(house, plan, vehicle)
    for habit in plan.habits:
        record.record_habits(
            studio=studio, vehicle_id=vehicle.pk, start=habit.start, place=habit.place, actor=ACTOR,
            at=at(habit.start), **habit.words,
        )  # fmt: skip
    for start, end in plan.stored:
        record.record_storage(
            studio=studio, vehicle_id=vehicle.pk, start=start, end=end, actor=ACTOR, at=at(start - timedelta(days=1))
        )
    Correction.objects.bulk_create(
        Correction(
            studio=studio, surface=surfaces[row["surface"]], on=book.when(row["on"]), stage=row["stage"],
            member=house.technicians[0],
        )
        for row in plan.corrections
    )  # fmt: skip
    layers = _layers(house, plan, surfaces)
    events = _events(house, plan, vehicle, surfaces)
    _contract(house, plan, vehicle)
    journal.record(
        studio=studio, actor=ACTOR, at=at(book.today), verb="history taken over", subject="vehicle",
        subject_id=vehicle.pk, vehicle_id=vehicle.pk, layers=len(layers), events=events,
    )  # fmt: skip
    return Loaded(plan=plan, vehicle=vehicle, surfaces=surfaces, layers=tuple(layers))


def _surfaces(house: House, plan: VehiclePlan, vehicle: Vehicle) -> dict[str, Surface]:
    repainted = {row["surface"]: house.book.when(row["on"]) for row in plan.events if row["kind"] in ENDS_COATS}
    kinds: Mapping[str, Any] = house.book.outfits["surfaces"]
    rows = Surface.objects.bulk_create(
        Surface(
            studio=house.studio, vehicle=vehicle, code=code, orientation=kinds[code][0], substrate=kinds[code][1],
            finish="refinish" if code in repainted else "factory", refinished_on=repainted.get(code),
        )
        for code in plan.surfaces
    )  # fmt: skip
    return {row.code: row for row in rows}


def _layers(house: House, plan: VehiclePlan, surfaces: Mapping[str, Surface]) -> list[Layer]:
    """Every layer; each ends with the next of its kind, or with a respray of its surface."""
    repainted = {row["surface"]: house.book.when(row["on"]) for row in plan.events if row["kind"] in ENDS_COATS}
    coats = {row["code"]: row["coats"] for row in house.book.studio["products"]}
    made = []
    for layer in plan.layers:
        for index, day in enumerate(layer.days):
            following = layer.days[index + 1] if index + 1 < len(layer.days) else None
            for code in layer.surfaces:
                ended, why = (following, "renewed") if following else (None, "")
                if code in repainted and day <= repainted[code] and (ended is None or ended > repainted[code]):
                    ended, why = repainted[code], "repaint"
                made.append(
                    Layer(
                        studio=house.studio, surface=surfaces[code], product=house.products.get(layer.product),
                        kind=layer.kind, applied=day, coats=coats.get(layer.product, 1), ended=ended, ended_why=why,
                        batch=f"{layer.product or 'X'}-{day:%y%m}", applicator=_by(house, layer.kind),
                    )
                )  # fmt: skip
    return Layer.objects.bulk_create(made)


def _by(house: House, kind: str) -> Any:
    """Film and glass are the second technician's work, the rest the first one's."""
    return house.technicians[1 if kind.startswith(("film", "windscreen", "side_glass")) else 0]


def _events(house: House, plan: VehiclePlan, vehicle: Vehicle, surfaces: Mapping[str, Surface]) -> int:
    def event(kind: str, day: date, **words: Any) -> CareEvent:
        return CareEvent(studio=house.studio, vehicle=vehicle, kind=kind, on=day, **words)

    rows = [event("wash", day) for day in plan.washed]
    rows += [event("decontamination", day) for day in plan.decontaminated]
    for row in plan.events:
        told = {name: row[name] for name in ("dwell_h", "air_c", "note") if name in row}
        rows.append(
            event(row["kind"], house.book.when(row["on"]), surface=surfaces[row["surface"]], by="customer", **told)
        )
    CareEvent.objects.bulk_create(sorted(rows, key=lambda one: one.on))
    return len(rows)


def _contract(house: House, plan: VehiclePlan, vehicle: Vehicle) -> None:
    """Dates that a contract names: done ones in the past, the next one to come."""
    if plan.contract is None:
        return
    today, title, tolerance = house.book.today, plan.contract["title"], plan.contract["tolerance_days"]
    if "next" not in plan.contract:
        rule = contracts.add_rule(
            studio=house.studio, vehicle_id=vehicle.pk, title=title, starts_on=plan.coated,
            every_months=plan.contract["every_months"], tolerance_days=tolerance, written_in="care booklet, page 4",
            actor=ACTOR, at=at(plan.coated),
        )  # fmt: skip
        ContractTerm.objects.filter(rule=rule, due__lt=today).update(done_on=F("due"))
        return
    ContractTerm.objects.bulk_create(
        ContractTerm(studio=house.studio, vehicle=vehicle, title=title, due=day, tolerance_days=tolerance, done_on=day)
        for day in (house.book.when(text) for text in plan.contract["done"])
    )
    register.add_contract_term(
        studio=house.studio, vehicle_id=vehicle.pk, title=title, due=house.book.when(plan.contract["next"]),
        tolerance_days=tolerance, actor=ACTOR, at=at(plan.coated),
    )  # fmt: skip


def one_that_left(house: House, vehicle: Vehicle, keeper: Customer) -> Vehicle:
    """An earlier vehicle of somebody, which was scrapped."""
    first, left = house.book.today - timedelta(days=600), house.book.today - timedelta(days=200)
    old = register.register_vehicle(
        studio=house.studio, site_id=vehicle.site_id, keeper_id=keeper.pk, plate="OLD 004",
        description="white old hatch", body="hatch", size="S", colour="white", first_seen=first, actor=ACTOR,
        at=at(first),
    )  # fmt: skip
    keeping.add_usual_surfaces(
        studio=house.studio, vehicle_id=old.pk, codes=("bonnet", "roof", "doors_left", "doors_right"), actor=ACTOR,
        at=at(first),
    )  # fmt: skip
    return keeping.retire_vehicle(
        studio=house.studio, vehicle_id=old.pk, on=left, why="scrapped", actor=ACTOR, at=at(left)
    )
