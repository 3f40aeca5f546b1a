"""Put a layer on record: checked against the air, the panel, the stack below and the data sheet before it is written.

A block is recorded only with a technician's written reason, which stays on the layer and in the journal.
"""

from __future__ import annotations

import math
from collections import defaultdict
from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from typing import Final

from django.db import transaction
from django.db.models import Q

from lifecycle import journal
from lifecycle.care.addresses import without_keepers
from lifecycle.care.cure_calendar import air_by_month
from lifecycle.care.find import one, plausible_day
from lifecycle.care.over_rules import Ground, Laying, Standing, may_go_over, stays
from lifecycle.care.record import ENDS_COATS
from lifecycle.care.register import known
from lifecycle.care.sheets import sheet_of
from lifecycle.care.stack_rules import (
    FILM,
    NOT_MEASURED,
    PREPS,
    Conditions,
    Finding,
    Level,
    gate,
    slot,
    spoken,
)
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import CareEvent, Correction, Forecast, Layer, Member, Product, Studio, Surface, Vehicle
from lifecycle.wear.choices import LAYER_KINDS

# No reason makes these good: the record itself would contradict itself.
HARD: Final = frozenset({"newer_on_record", "taken_off_since"})
STAGE_HOLDS: Final = timedelta(days=31)
LIMITS: Final = {"air_c": (-30.0, 60.0, "°C"), "surface_c": (-30.0, 90.0, "°C"), "rh_pct": (0.0, 100.0, "%"),
                 "coat_gap_h": (0.0, 720.0, "hours")}  # fmt: skip
LONGEST_REASON: Final = 500
MAY_OVERRIDE: Final = ("technician", "owner")


@dataclass(frozen=True, slots=True)
class Checked:
    """What speaks against a layer on one surface, gravest first."""

    surface_id: int
    surface: str
    findings: tuple[Finding, ...]

    @property
    def blocked(self) -> tuple[Finding, ...]:
        """What asks for a written reason, or cannot be recorded at all."""
        return tuple(finding for finding in self.findings if finding.level is Level.BLOCK)


@dataclass(frozen=True, slots=True)
class Bed:
    """A surface as it stands on a day, with what lies after that day: newer layers by slot, and the next work that
    takes coats off."""

    ground: Ground
    newer: Mapping[str, tuple[str, date]]
    taken_off: tuple[tuple[str, date], ...]


def _stages(layers: Iterable[Layer], on: date) -> dict[int, str]:
    rows = Forecast.objects.filter(layer__in=[layer.pk for layer in layers], assessment__latest=True)
    return {
        layer: stage for layer, stage, as_of in rows.values_list("layer_id", "stage", "assessment__as_of")
        if as_of - STAGE_HOLDS <= on
    }  # fmt: skip


def _taken_off(surfaces: Collection[int], on: date) -> dict[int, list[tuple[str, date]]]:
    """Work after a day that ended coats, by surface."""
    found: dict[int, list[tuple[str, date]]] = defaultdict(list)
    later = Correction.objects.filter(surface__in=surfaces, on__gt=on).exclude(stage="unknown_past")
    for surface_id, day in later.values_list("surface_id", "on"):
        found[surface_id].append(("correction", day))
    events = CareEvent.objects.filter(surface__in=surfaces, on__gt=on, kind__in=ENDS_COATS)
    for surface_id, kind, day in events.values_list("surface_id", "kind", "on"):
        found[surface_id].append((kind, day))
    return found


def _cleaned(vehicle: Vehicle, surfaces: Collection[int], on: date) -> dict[int, date]:
    """The last decontamination of each surface up to a day."""
    rows = CareEvent.objects.filter(Q(surface=None) | Q(surface__in=surfaces), vehicle=vehicle, on__lte=on)
    found: dict[int, date] = {}
    for surface_id, day in rows.filter(kind="decontamination").order_by("on").values_list("surface_id", "on"):
        found |= dict.fromkeys(surfaces if surface_id is None else [surface_id], day)
    return found


def beds(vehicle: Vehicle, surfaces: Sequence[Surface], on: date) -> dict[int, Bed]:
    """The surfaces of one vehicle as they stand on a day; the number of queries does not grow with them."""
    ids = [surface.pk for surface in surfaces]
    rows = list(
        Layer.objects.filter(Q(ended=None) | Q(ended__gt=on), surface__in=ids)
        .select_related("product").order_by("applied", "id")
    )  # fmt: skip
    stages, cleaned, taken = _stages(rows, on), _cleaned(vehicle, ids, on), _taken_off(ids, on)
    air = air_by_month(vehicle)
    made = {}
    for surface in surfaces:
        own = [row for row in rows if row.surface_id == surface.pk]
        stack = tuple(
            Standing(row.kind, row.applied, stages.get(row.pk, ""), air[row.applied.month - 1] if air else None,
                     sheet_of(row.product))
            for row in own if row.applied <= on
        )  # fmt: skip
        newer = {slot(row.kind): (row.kind, row.applied) for row in own if row.applied > on and row.ended is None}
        ground = Ground(
            stack=stack, substrate=surface.substrate, finish=surface.finish, refinished_on=surface.refinished_on,
            paint=vehicle.paint, decontaminated_on=cleaned.get(surface.pk),
        )  # fmt: skip
        made[surface.pk] = Bed(ground, newer, tuple(taken.get(surface.pk, ())))
    return made


def _hard(new: Laying, bed: Bed) -> tuple[Finding, ...]:
    found = []
    if slot(new.kind) in bed.newer and new.kind != "unknown":
        kind, day = bed.newer[slot(new.kind)]
        text = (
            f"a {spoken(kind)} from {day} is already on record for this surface; give a later day, or end that one"
            " first."
        )
        found.append(Finding("newer_on_record", Level.BLOCK, text, "", "computed", "the record of this surface"))
    for kind, day in bed.taken_off:
        if kind == "correction" and new.kind in FILM:
            continue
        text = (
            f"a {spoken(kind)} of {day} took off what stood here before; give the day of the work after it, or a"
            " later one."
        )
        found.append(Finding("taken_off_since", Level.BLOCK, text, "", "computed", "the record of this surface"))
    return tuple(found)


def _in_order(found: Iterable[Finding]) -> tuple[Finding, ...]:
    return tuple(sorted(found, key=lambda each: list(Level).index(each.level), reverse=True))


def _gate(new: Laying, now: Conditions, coats: int) -> tuple[Finding, ...]:
    for name, (low, high, unit) in LIMITS.items():
        value = getattr(now, name)
        if value is not None and not (math.isfinite(value) and low <= value <= high):
            raise DomainError(f"{name}: {value:g} {unit} is not between {low:g} and {high:g} {unit}.", field=name)
    return gate(kind=new.kind, now=now, sheet=new.sheet, coats=coats)


def findings_of(*, new: Laying, bed: Bed, now: Conditions, coats: int) -> tuple[Finding, ...]:
    """Everything that speaks against one layer on one surface, gravest first.

    Raises:
        DomainError: a measurement that cannot be.
    """
    return _in_order((*_hard(new, bed), *_gate(new, now, coats), *may_go_over(new=new, ground=bed.ground)))


def laying(*, kind: str, applied: date, prep: Collection[str] = (), product: Product | None = None) -> Laying:
    """The layer as the rules see it.

    Raises:
        DomainError: an unknown kind or preparation, or a product of another kind.
    """
    known("kind", kind, LAYER_KINDS)
    plausible_day("applied", applied)
    for step in prep:
        known("prep", step, tuple(PREPS))
    if "none" in prep and len(prep) > 1:
        raise DomainError("prep: “nothing” and something contradict each other; untick one.", field="prep")
    if product is not None and product.kind != kind:
        raise DomainError(f"product: {product} is of kind {product.kind}, not {kind}.", field="product")
    return Laying(kind=kind, on=applied, prep=frozenset(prep), sheet=sheet_of(product))


def check_layer(
    *,
    studio: Studio,
    vehicle_id: int,
    surface_ids: Collection[int],
    kind: str,
    applied: date,
    product_id: int | None = None,
    coats: int = 1,
    prep: Collection[str] = (),
    now: Conditions = NOT_MEASURED,
) -> tuple[Checked, ...]:
    """What speaks against a layer on these surfaces, before it is recorded; without any surface, only what the air
    says. Reads only; constant queries.

    Raises:
        DomainError: a word or figure that cannot be.
        NotFoundHere: the vehicle, a surface or the product is not here.
    """
    vehicle = one(Vehicle, studio, vehicle_id)
    product = one(Product, studio, product_id) if product_id is not None else None
    new = laying(kind=kind, applied=applied, prep=prep, product=product)
    wanted = set(surface_ids)
    surfaces = list(Surface.objects.of(studio).filter(vehicle=vehicle, pk__in=wanted).order_by("id"))
    if len(surfaces) != len(wanted):
        raise NotFoundHere("There is no such surface on this vehicle.")
    if not surfaces:  # not chosen yet: the air has its say already
        return (Checked(0, "", _in_order(_gate(new, now, coats))),)
    standing = beds(vehicle, surfaces, applied)
    return tuple(
        Checked(row.pk, str(row), findings_of(new=new, bed=standing[row.pk], now=now, coats=coats)) for row in surfaces
    )


def may_override(studio: Studio, actor: str, reason: str) -> None:
    """Refuse a reason that says nothing or comes from somebody who does not work on vehicles.

    Raises:
        DomainError: see above.
    """
    if len(reason) > LONGEST_REASON:
        raise DomainError(f"override_reason: write {LONGEST_REASON} characters at most.", field="override_reason")
    number = actor.removeprefix("member:")
    here = Member.objects.of(studio).filter(role__in=MAY_OVERRIDE, ended_at=None)
    if not number.isdecimal() or not here.filter(pk=int(number)).exists():
        raise DomainError(
            "override_reason: only a technician of this studio may go against a rule.", field="override_reason"
        )


def refuse(checked: Checked, *, reason: str) -> None:
    """Raise where findings forbid the layer.

    Raises:
        DomainError: a contradiction of the record (field "applied"), or a block without a reason ("override_reason").
    """
    for finding in checked.blocked:
        if finding.code in HARD:
            raise DomainError(f"applied: {finding.says}", field="applied")
    if checked.blocked and not reason:
        says = " ".join(finding.says for finding in checked.blocked)
        raise DomainError(
            f"override_reason: {checked.surface}: {says} Say in writing why it is put on all the same, or leave it.",
            field="override_reason",
        )


def _end_below(surface: Surface, new: Laying, at_slot: str) -> int:
    """End what the preparation took and what stood in the slot of the new layer."""
    ended = 0
    for old in Layer.objects.filter(surface=surface, ended=None, applied__lte=new.on):
        if not stays(old.kind, new.prep) and old.applied < new.on:
            why = "film taken off" if "film_removed" in new.prep else "taken off in preparation"
        elif slot(old.kind) == at_slot and new.kind != "unknown":
            why = "renewed" if old.kind == new.kind else "replaced"
        else:
            continue
        old.ended, old.ended_why = new.on, why
        old.save(update_fields=["ended", "ended_why"])
        ended += 1
    return ended


def record_layer(
    *,
    studio: Studio,
    surface_id: int,
    kind: str,
    applied: date,
    product_id: int | None = None,
    coats: int = 1,
    batch: str = "",
    applicator_id: int | None = None,
    prep: Collection[str] = (),
    now: Conditions = NOT_MEASURED,
    override_reason: str = "",
    actor: str,
    at: datetime,
) -> Layer:
    """Record a layer on a surface. It takes the place of the live one in its slot: one film, one base coat, one of each
    topper; a top-up never ends its base. A polish or strip in `prep` ends the coats that it took.

    Args:
        prep: words of `stack_rules.PREPS`; empty where nobody noted it.  now: what was measured.
        override_reason: why the layer was put on although a rule blocks it; kept on the layer and in the journal.

    Raises:
        DomainError: a wrong word or figure, a day in the future, a contradiction with the record, or a block without
            a technician's reason.
        NotFoundHere: the surface, product or member is not of this studio.
    """
    if not 1 <= coats <= 12:
        raise DomainError(f"coats: {coats} is not between 1 and 12.", field="coats")
    product = one(Product, studio, product_id) if product_id is not None else None
    surface = one(Surface, studio, surface_id)
    new = laying(kind=kind, applied=applied, prep=prep, product=product)
    if applied > studio.day(at):
        raise DomainError(f"applied: {applied} lies in the future; give the day on which it happened.", field="applied")
    reason = without_keepers(override_reason.strip(), surface.vehicle_id)
    with transaction.atomic():
        vehicle = one(Vehicle, studio, surface.vehicle_id, lock=True)  # two technicians take turns
        bed = beds(vehicle, [surface], applied)[surface.pk]
        checked = Checked(surface.pk, str(surface), findings_of(new=new, bed=bed, now=now, coats=coats))
        refuse(checked, reason=reason)
        against = [{"code": finding.code, "says": finding.says} for finding in checked.blocked]
        if against:
            may_override(studio, actor, reason)
        ended = _end_below(surface, new, slot(kind))
        layer: Layer = Layer.objects.create(
            studio=studio, surface=surface, product=product, kind=kind, applied=applied, coats=coats,
            batch=batch.strip(), prep=[step for step in PREPS if step in new.prep], air_c=now.air_c,
            surface_c=now.surface_c, rh_pct=now.rh_pct, coat_gap_h=now.coat_gap_h, overridden=against,
            override_reason=reason if against else "",
            applicator=one(Member, studio, applicator_id) if applicator_id is not None else None,
        )  # fmt: skip
        Vehicle.objects.filter(pk=vehicle.pk).update(assess_again=True)
        told = {"overridden": [row["code"] for row in against], "reason": reason} if against else {}
        journal.record(
            studio=studio, actor=actor, at=at, verb="layer recorded", subject="layer", subject_id=layer.pk,
            vehicle_id=vehicle.pk, kind=kind, surface=surface.code, applied=applied, layers_ended=ended, **told,
        )  # fmt: skip
    return layer
