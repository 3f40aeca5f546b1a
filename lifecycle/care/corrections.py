"""Verbs about clear coat that is taken off: recorded against the budget, or as something that happened elsewhere."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime

from django.db import transaction

from lifecycle import journal
from lifecycle.care.addresses import without_keepers
from lifecycle.care.find import one
from lifecycle.care.record import ask_for_assessment, end_coats, not_after
from lifecycle.care.register import known
from lifecycle.care.undo import as_before
from lifecycle.care.wording import capital, spoken
from lifecycle.condition import Budget, budget_of
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import (
    Correction,
    CorrectionConsent,
    CorrectionPanel,
    CorrectionPlan,
    Inspection,
    Member,
    Studio,
    Surface,
    Vehicle,
)
from lifecycle.wear import choices
from lifecycle.wear.correction_choice import MOST_PASSES, NEEDS_CONSENT
from lifecycle.wear.correction_plan import STAGES
from lifecycle.wear.figures import figure
from lifecycle.wear.types import Band


@dataclass(frozen=True, slots=True)
class Refused:
    """A panel on which a correction was refused while others went on, and why."""

    surface_id: int
    name: str
    why: str


@dataclass(frozen=True, slots=True)
class Outcome:
    """What of several corrections is on record, and what was refused."""

    done: tuple[Correction, ...]
    refused: tuple[Refused, ...]


def _checked_removal(low: float | None, high: float | None) -> tuple[float, float] | None:
    if (low is None) != (high is None):
        raise DomainError("removal: give both ends of the range in µm, or neither.", field="removal_low_um")
    if low is None or high is None:
        return None
    if not 0 <= low <= high:
        raise DomainError("removal: the low end must be 0 or more and not above the high end.", field="removal_low_um")
    return low, high


def _checked_passes(passes: int) -> None:
    if not 1 <= passes <= MOST_PASSES:
        raise DomainError(f"passes: {passes} is not between 1 and {MOST_PASSES}.", field="passes")


def _must_go(budget: Budget, surface: Surface, *, stage: str, passes: int, removal: tuple[float, float] | None) -> None:
    """Raises:
    DomainError: the panel's budget does not bear it, or is not known.
    """
    panel = budget.panel(surface.code)
    name = capital(spoken(surface.code))
    if panel is None:
        raise DomainError(f"surface: {name}: {surface.substrate} has no clear coat to correct.", field="surface")
    choice = budget.choose(panel, stage=stage, passes=passes, removal=removal)
    if not choice.goes:
        raise DomainError(
            f"surface: {name}: {choice.why} If it has happened already, elsewhere or earlier, say so and it is "
            "recorded as it was.",
            field="surface",
        )


def _inspection(studio: Studio, vehicle_id: int, inspection_id: int | None, field: str) -> Inspection | None:
    if inspection_id is None:
        return None
    row = one(Inspection, studio, inspection_id)
    if row.vehicle_id != vehicle_id:
        raise DomainError(f"{field}: this inspection is of another vehicle.", field=field)
    return row


def _both_sides(
    studio: Studio, vehicle_id: int, before_id: int | None, after_id: int | None
) -> tuple[Inspection | None, Inspection | None]:
    before = _inspection(studio, vehicle_id, before_id, "before")
    after = _inspection(studio, vehicle_id, after_id, "after")
    if before is not None and after is not None and before.on > after.on:
        raise DomainError("after: the readings after the work are older than those before it.", field="after")
    return before, after


def record_correction(
    *,
    studio: Studio,
    surface_id: int,
    on: date,
    stage: str,
    passes: int = 1,
    removal_low_um: float | None = None,
    removal_high_um: float | None = None,
    member_id: int | None = None,
    before_id: int | None = None,
    after_id: int | None = None,
    happened_elsewhere: bool = False,
    planned: CorrectionPanel | None = None,
    budget: Budget | None = None,
    actor: str,
    at: datetime,
) -> Correction:
    """Record that clear coat was taken off. Every coat above the clear on that surface ends with it.

    Refused where the panel's budget does not bear it or is not known, unless it `happened_elsewhere`: then it is
    recorded because it is true, and the journal says so. What nobody wrote down (`unknown_past`) always happened
    elsewhere.

    Args:
        before_id, after_id: inspections with readings on either side.
        planned: the panel of a plan that it carries out.
        budget: the vehicle's, if the caller has it already.

    Raises:
        DomainError: names the field; "surface" where the budget refuses.
    """
    known("stage", stage, choices.REMOVAL_STAGES)
    not_after("on", on, studio, at)
    _checked_passes(passes)
    removal = _checked_removal(removal_low_um, removal_high_um)
    surface = one(Surface, studio, surface_id)
    elsewhere = happened_elsewhere or stage == "unknown_past"
    before, after = _both_sides(studio, surface.vehicle_id, before_id, after_id)
    with transaction.atomic():
        Vehicle.objects.select_for_update().get(pk=surface.vehicle_id)  # two corrections do not share one budget
        if not elsewhere:
            found = budget or budget_of(studio=studio, vehicle_id=surface.vehicle_id, as_of=studio.day(at))
            _must_go(found, surface, stage=stage, passes=passes, removal=removal)
        correction: Correction = Correction.objects.create(
            studio=studio, surface=surface, on=on, stage=stage, passes=passes, removal_low_um=removal_low_um,
            removal_high_um=removal_high_um, before=before, after=after, planned=planned, happened_elsewhere=elsewhere,
            found=as_before(surface, on),
            member=one(Member, studio, member_id) if member_id is not None else None,
        )  # fmt: skip
        ended = 0 if stage == "unknown_past" else end_coats(surface=surface, on=on, why="correction")
        ask_for_assessment(surface.vehicle_id)
        journal.record(
            studio=studio, actor=actor, at=at, verb="correction recorded", subject="correction",
            subject_id=correction.pk, vehicle_id=surface.vehicle_id, stage=stage, on=on, passes=passes,
            surface=surface.code, coats_ended=ended, happened_elsewhere=elsewhere,
            plan=planned.plan_id if planned is not None else None,
        )  # fmt: skip
    return correction


def record_corrections(
    *, studio: Studio, vehicle_id: int, surface_ids: Sequence[int], actor: str, at: datetime, **words: object
) -> Outcome:
    """Record the same correction on several panels; what the budget refuses on one panel does not hold up the others.

    Args:
        words: as `record_correction` takes them.

    Raises:
        DomainError: nothing could be recorded, or a field is wrong for all of them.
    """
    done, refused = [], []
    with transaction.atomic():
        found = budget_of(studio=studio, vehicle_id=vehicle_id, as_of=studio.day(at))
        codes = {row.pk: row.code for row in found.vehicle.surfaces.all()}
        for surface_id in dict.fromkeys(surface_ids):
            if surface_id not in codes:
                raise NotFoundHere(f"There is no surface {surface_id} on this vehicle.")
            try:
                with transaction.atomic():
                    done.append(
                        record_correction(
                            studio=studio, surface_id=surface_id, budget=found, actor=actor, at=at, **words  # type: ignore[arg-type]
                        )
                    )  # fmt: skip
            except DomainError as error:
                if error.field != "surface":
                    raise
                refused.append(Refused(surface_id, spoken(codes[surface_id]), error.message.removeprefix("surface: ")))
        if not done:
            raise DomainError(" ".join(row.why for row in refused), field="surfaces")
    return Outcome(tuple(done), tuple(refused))


def _low_high(band: Band | None, *, whole: bool = False) -> tuple[float | None, float | None]:
    if band is None:
        return None, None
    return (int(band.p10), int(band.p90)) if whole else (band.p10, band.p90)


def _panel_row(
    plan: CorrectionPlan, budget: Budget, surface: Surface, asked: tuple[str, int] | None
) -> CorrectionPanel:
    """One panel of a plan as it is kept: what was asked for, what it costs, whether it goes and why."""
    panel = budget.panel(surface.code)
    assert panel is not None  # noqa: S101 - the caller asks for painted surfaces only
    row = CorrectionPanel(studio=plan.studio, plan=plan, surface=surface, decision=panel.decision, why=panel.why)
    row.budget_low_um, row.budget_high_um = _low_high(panel.budget_um)
    before, after = panel.one_steps_left, panel.one_steps_left
    if asked is not None:
        choice = budget.choose(panel, stage=asked[0], passes=asked[1])
        row.stage, row.passes, row.goes, row.why = asked[0], asked[1], choice.goes, choice.why
        row.takes_low_um, row.takes_high_um = _low_high(choice.takes_um)
        row.share_low, row.share_high = _low_high(choice.removed_share)
        if choice.goes:
            after = choice.one_steps_after
    elif fresh := budget.fresh(surface.code):
        row.why = fresh
    row.left_before_low, row.left_before_high = _low_high(before, whole=True)
    row.left_after_low, row.left_after_high = _low_high(after, whole=True)
    return row


def keep_plan(
    *,
    studio: Studio,
    vehicle_id: int,
    chosen: Mapping[int, tuple[str, int]],
    member_id: int | None = None,
    inspection_id: int | None = None,
    note: str = "",
    actor: str,
    at: datetime,
) -> CorrectionPlan:
    """Keep what is planned for a vehicle's paint. A panel over its budget is kept as refused, with the reason; the
    others go on.

    Args:
        chosen: surface id -> grade and passes, for the panels on which something is asked for.

    Raises:
        DomainError: nothing was chosen, or nothing of it goes.
    """
    for stage, passes in chosen.values():
        known("stage", stage, STAGES)
        _checked_passes(passes)
    if not chosen:
        raise DomainError("stage: choose what to do on at least one panel.", field="stage")
    with transaction.atomic():
        budget = budget_of(studio=studio, vehicle_id=vehicle_id, as_of=studio.day(at))
        painted = [row for row in budget.vehicle.surfaces.all() if budget.planned(row.code)]
        if missing := set(chosen) - {row.pk for row in painted}:
            raise NotFoundHere(f"There is no painted surface {min(missing)} on this vehicle.")
        plan: CorrectionPlan = CorrectionPlan.objects.create(
            studio=studio, vehicle=budget.vehicle, on=studio.day(at), made_at=at,
            note=without_keepers(note.strip(), vehicle_id)[:300],
            member=one(Member, studio, member_id) if member_id is not None else None,
            inspection=_inspection(studio, vehicle_id, inspection_id, "inspection"),
        )  # fmt: skip
        rows = [_panel_row(plan, budget, surface, chosen.get(surface.pk)) for surface in painted]
        if not any(row.goes for row in rows):
            raise DomainError(" ".join(f"{row.surface}: {row.why}" for row in rows if row.stage), field="stage")
        CorrectionPanel.objects.bulk_create(rows)
        journal.record(
            studio=studio, actor=actor, at=at, verb="correction planned", subject="correction plan",
            subject_id=plan.pk, vehicle_id=vehicle_id, goes=[row.surface.code for row in rows if row.goes],
            refused=[row.surface.code for row in rows if row.stage and not row.goes],
        )  # fmt: skip
    return plan


@dataclass(frozen=True, slots=True)
class DoneEntry:
    """What was done on one panel of a plan."""

    panel_id: int
    stage: str
    passes: int


def _agreed(plan: CorrectionPlan, panel: CorrectionPanel, entry: DoneEntry) -> None:
    """Raises:
    DomainError: the panel is done, was refused, or more was done than the customer agreed to.
    """
    name = capital(spoken(panel.surface.code))
    if hasattr(panel, "correction"):
        raise DomainError(f"surface: {name}: it is on record already.", field="surface")
    if not panel.goes:
        raise DomainError(f"surface: {name}: the plan refused it. {panel.why}", field="surface")
    planned, done = (
        one_of.passes * figure(f"removal.{one_of.stage}").value for one_of in (panel, entry)
    )  # fmt: skip
    if done > planned:
        raise DomainError(
            f"surface: {name}: this takes more than was planned; make a new plan and ask again.", field="surface"
        )
    last = CorrectionConsent.objects.filter(plan=plan).order_by("at", "id").last()
    if entry.stage in NEEDS_CONSENT and (last is None or not last.given):
        raise DomainError(
            f"surface: {name}: nobody has agreed to this plan; record the consent first.", field="surface"
        )


def carry_out(
    *,
    studio: Studio,
    plan_id: int,
    entries: Sequence[DoneEntry],
    on: date,
    before_id: int | None = None,
    after_id: int | None = None,
    member_id: int | None = None,
    actor: str,
    at: datetime,
) -> Outcome:
    """Record what was done of a plan, panel by panel; what is refused on one panel does not hold up the others.

    Anything deeper than a finishing polish needs the customer's consent to the plan.

    Raises:
        DomainError: nothing could be recorded, or a field is wrong for all of them.
    """
    plan = one(CorrectionPlan, studio, plan_id)
    if not entries:
        raise DomainError("panels: tick the panels that were worked on.", field="panels")
    panels = {row.pk: row for row in plan.panels.select_related("surface", "plan", "correction")}
    done, refused = [], []
    with transaction.atomic():
        found = budget_of(studio=studio, vehicle_id=plan.vehicle_id, as_of=studio.day(at))
        for entry in entries:
            panel = panels.get(entry.panel_id)
            if panel is None:
                raise NotFoundHere(f"There is no panel {entry.panel_id} in this plan.")
            known("stage", entry.stage, STAGES)
            try:
                with transaction.atomic():
                    _agreed(plan, panel, entry)
                    done.append(
                        record_correction(
                            studio=studio, surface_id=panel.surface_id, on=on, stage=entry.stage, passes=entry.passes,
                            before_id=before_id, after_id=after_id, member_id=member_id, planned=panel, budget=found,
                            actor=actor, at=at,
                        )
                    )  # fmt: skip
            except DomainError as error:
                if error.field != "surface":
                    raise
                name = spoken(panel.surface.code)
                refused.append(Refused(panel.surface_id, name, error.message.removeprefix("surface: ")))
        if not done:
            raise DomainError(" ".join(row.why for row in refused), field="panels")
    return Outcome(tuple(done), tuple(refused))
