"""What the correction pages show: the paint panel by panel before anything is planned, a kept plan, and the ledger of
what was taken off. Reads only, each with a fixed number of queries."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from datetime import date, datetime
from typing import Final

from lifecycle.care.correction_consent import needs_consent, wording_of
from lifecycle.care.history import STAGE_WORDS
from lifecycle.care.rechecks import film_says
from lifecycle.care.reports.signature import Strokes
from lifecycle.care.wording import spoken
from lifecycle.condition import Budget, budget_of
from lifecycle.errors import NotFoundHere
from lifecycle.models import (
    Correction,
    CorrectionConsent,
    CorrectionPanel,
    CorrectionPlan,
    Finding,
    Inspection,
    Keeper,
    Studio,
    Surface,
    Vehicle,
)
from lifecycle.wear.clearcoat import taken
from lifecycle.wear.correction_choice import Choice
from lifecycle.wear.correction_plan import CAUTIONS, PanelPlan
from lifecycle.wear.figures import figure
from lifecycle.wear.marks import overridden
from lifecycle.wear.removal_check import RemovalCheck, check_removal
from lifecycle.wear.types import Removal, Thickness

# What a polish takes away with the clear coat, and what it leaves (common practice, no source).
POLISHED: Final = frozenset(
    {"swirls", "scuff", "oxidation", "fading", "water_etching", "bird_etching", "buffer_trails", "overspray",
     "staining", "residue"}
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Defect:
    """One finding of the newest inspection. `polished`: of a kind that a polish can take away."""

    kind: str
    words: str
    severity: int
    note: str
    polished: bool


@dataclass(frozen=True, slots=True)
class PanelRow:
    """One painted panel. `refused`: why nothing is offered, "" where something is; `choice`: what was chosen on it.
    `film_on`: day of the film readings behind the budget; `film_says`: that they are old, "" where they are not."""

    surface_id: int
    code: str
    name: str
    plan: PanelPlan
    refused: str
    defects: tuple[Defect, ...]
    choice: Choice | None = None
    film_on: date | None = None
    film_says: str = ""


@dataclass(frozen=True, slots=True)
class PlanLine:
    """One kept plan in a list."""

    id: int
    on: date
    goes: tuple[str, ...]
    done: int


@dataclass(frozen=True, slots=True)
class Planning:
    """A vehicle before a correction is planned. `looked_on`: day of the inspection whose findings are shown."""

    vehicle_id: int
    vehicle: str
    plate: str
    today: date
    keeper: str
    inspection_id: int | None
    looked_on: date | None
    panels: tuple[PanelRow, ...]
    elsewhere: tuple[Defect, ...]
    plans: tuple[PlanLine, ...]
    cautions: tuple[str, ...] = CAUTIONS


def _defect(row: Finding) -> Defect:
    return Defect(row.kind, row.get_kind_display(), row.severity, row.note, row.kind in POLISHED)


def _newest_findings(vehicle_id: int) -> tuple[Inspection | None, list[Finding]]:
    """The newest inspection by the studio that found anything, and what it found."""
    newest = (
        Inspection.objects.filter(vehicle_id=vehicle_id, by="studio", findings__isnull=False)
        .order_by("-on", "-id")
        .first()
    )
    rows = Finding.objects.filter(inspection=newest).order_by("-severity", "id") if newest is not None else []
    return newest, list(rows)


def _refused(budget: Budget, panel: PanelPlan) -> str:
    fresh = budget.fresh(panel.code)
    if fresh:
        return fresh
    return "" if any(option.offered for option in panel.options) else panel.why


def planning(
    *, studio: Studio, vehicle_id: int, at: datetime, chosen: Mapping[int, tuple[str, int]] | None = None
) -> Planning:
    """Paint, findings and what may be done, panel by panel; with what `chosen` (surface id -> grade, passes) would do.

    Raises:
        NotFoundHere: the vehicle is not in this studio.
    """
    budget = budget_of(studio=studio, vehicle_id=vehicle_id, as_of=studio.day(at))
    vehicle = budget.vehicle
    newest, findings = _newest_findings(vehicle.pk)
    keeper = Keeper.objects.filter(vehicle=vehicle, end=None).select_related("customer").first()
    rows = []
    for surface in vehicle.surfaces.all():
        panel = budget.panel(surface.code)
        if panel is None or not budget.planned(surface.code):
            continue
        asked = (chosen or {}).get(surface.pk)
        film = budget.surface(surface.code).thickness
        film_on = film.on if film is not None else None
        rows.append(
            PanelRow(
                surface_id=surface.pk, code=surface.code, name=spoken(surface.code), plan=panel,
                refused=_refused(budget, panel),
                defects=tuple(_defect(row) for row in findings if row.surface_id == surface.pk),
                choice=budget.choose(panel, stage=asked[0], passes=asked[1]) if asked else None,
                film_on=film_on, film_says=film_says(film_on, on=studio.day(at)),
            )
        )  # fmt: skip
    painted = {row.surface_id for row in rows}
    return Planning(
        vehicle_id=vehicle.pk, vehicle=vehicle.description, plate=vehicle.plate, today=studio.day(at),
        keeper=keeper.customer.name if keeper is not None else "",
        inspection_id=newest.pk if newest is not None else None, looked_on=newest.on if newest is not None else None,
        panels=tuple(rows),
        elsewhere=tuple(_defect(row) for row in findings if row.surface_id not in painted),
        plans=_plan_lines(vehicle.pk),
    )  # fmt: skip


def _plan_lines(vehicle_id: int) -> tuple[PlanLine, ...]:
    plans = CorrectionPlan.objects.filter(vehicle_id=vehicle_id).order_by("-made_at", "-id")
    plans = plans.prefetch_related("panels__surface", "panels__correction")
    return tuple(
        PlanLine(
            plan.pk, plan.on, tuple(spoken(panel.surface.code) for panel in plan.panels.all() if panel.goes),
            sum(hasattr(panel, "correction") for panel in plan.panels.all()),
        )
        for plan in plans
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class RemovalLine:
    """One entry of a panel's ledger. `low_um` to `high_um`: what it took, all passes; `measured`: those were measured.
    `check`: readings before and after beside the estimate, None without both."""

    id: int
    on: date
    words: str
    passes: int
    low_um: float
    high_um: float
    measured: bool
    elsewhere: bool
    by: str
    plan_id: int | None
    before_on: date | None
    after_on: date | None
    check: RemovalCheck | None


def film_of(inspection: Inspection | None, surface_id: int) -> Thickness | None:
    """The film readings of one surface in one inspection whose readings are prefetched."""
    if inspection is None:
        return None
    rows = [r for r in inspection.readings.all() if r.kind == "thickness_um" and r.surface_id == surface_id]
    if not rows:
        return None
    return Thickness(
        values=tuple(row.value for row in rows), method=rows[0].method or "magnetic",
        gauge_sd_um=rows[0].gauge_sd_um or 1.0, on=inspection.on,
    )  # fmt: skip


def _check(row: Correction, inspections: Mapping[int, Inspection]) -> RemovalCheck | None:
    before = film_of(inspections.get(row.before_id or 0), row.surface_id)
    after = film_of(inspections.get(row.after_id or 0), row.surface_id)
    if before is None or after is None or row.stage == "unknown_past":
        return None
    try:
        return check_removal(before, after, stage=row.stage, passes=row.passes)
    except ValueError:  # the two sides read different things
        return None


def removal_line(row: Correction, inspections: Mapping[int, Inspection]) -> RemovalLine:
    """One correction as an entry of the ledger, with the figures that are in use.

    Args:
        inspections: those of the vehicle by id, with their readings.
    """
    measured = row.removal_low_um is not None and row.removal_high_um is not None
    if measured:
        low, high = float(row.removal_low_um or 0), float(row.removal_high_um or 0)
    elif row.stage == "unknown_past":
        low, high = figure("clear.unknown_past").low, figure("clear.unknown_past").high
    else:
        one = taken(Removal(on=row.on, stage=row.stage))
        low, high = row.passes * one.low, row.passes * one.high
    before, after = inspections.get(row.before_id or 0), inspections.get(row.after_id or 0)
    return RemovalLine(
        id=row.pk, on=row.on, words=STAGE_WORDS[row.stage], passes=row.passes, low_um=low, high_um=high,
        measured=measured, elsewhere=row.happened_elsewhere or row.stage == "unknown_past",
        by=str(row.member) if row.member is not None else "",
        plan_id=row.planned.plan_id if row.planned is not None else None,
        before_on=before.on if before is not None else None, after_on=after.on if after is not None else None,
        check=_check(row, inspections),
    )  # fmt: skip


def removal_lines(budget: Budget, surface_ids: Iterable[int]) -> dict[int, tuple[RemovalLine, ...]]:
    """The ledgers of surfaces, newest entry first (one query)."""
    inspections = {row.pk: row for row in budget.vehicle.inspections.all()}
    rows = (
        Correction.objects.filter(surface_id__in=list(surface_ids))
        .select_related("member__user", "planned")
        .order_by("-on", "-id")
    )
    found: dict[int, list[RemovalLine]] = {}
    with overridden(budget.figures):
        for row in rows:
            found.setdefault(row.surface_id, []).append(removal_line(row, inspections))
    return {surface_id: tuple(lines) for surface_id, lines in found.items()}


@dataclass(frozen=True, slots=True)
class KeptPanel:
    """One panel of a kept plan, as it was planned, and what was done since."""

    id: int
    surface_id: int
    name: str
    stage: str
    words: str
    passes: int
    goes: bool
    why: str
    row: CorrectionPanel
    done: RemovalLine | None


@dataclass(frozen=True, slots=True)
class ConsentLine:
    given: bool
    by: str
    how: str
    at: datetime
    wording: str
    note: str
    strokes: str  # as an SVG path in the field of a report's signature; "" without one


@dataclass(frozen=True, slots=True)
class Look:
    """An inspection with film readings, for a choice."""

    id: int
    on: date
    kind: str


@dataclass(frozen=True, slots=True)
class KeptPlan:
    """`wording`: what the customer is asked; `needs_consent`: something goes deeper than a finishing polish."""

    id: int
    vehicle_id: int
    vehicle: str
    plate: str
    retired: bool
    on: date
    by: str
    note: str
    looked_on: date | None
    panels: tuple[KeptPanel, ...]
    consents: tuple[ConsentLine, ...]
    wording: str
    keeper: str
    needs_consent: bool
    looks: tuple[Look, ...]
    cautions: tuple[str, ...] = CAUTIONS

    @property
    def agreed(self) -> bool | None:
        """What the latest statement says; None without one."""
        return self.consents[0].given if self.consents else None

    @property
    def open(self) -> tuple[KeptPanel, ...]:
        """Panels that go and are not done."""
        return tuple(panel for panel in self.panels if panel.goes and panel.done is None)


def kept_plan(*, studio: Studio, plan_id: int, at: datetime) -> KeptPlan:
    """A plan as it was kept, what was said to it and what was done.

    Raises:
        NotFoundHere: the plan is not in this studio.
    """
    plan = (
        CorrectionPlan.objects.filter(studio=studio, pk=plan_id)
        .select_related("vehicle", "member__user", "inspection")
        .prefetch_related("panels__surface")
        .first()
    )
    if plan is None:
        raise NotFoundHere(f"There is no correction plan {plan_id} in this studio.")
    vehicle: Vehicle = plan.vehicle
    budget = budget_of(studio=studio, vehicle_id=vehicle.pk, as_of=studio.day(at))
    keeper = Keeper.objects.filter(vehicle=vehicle, end=None).select_related("customer").first()
    panels = list(plan.panels.all())
    ledger = removal_lines(budget, [panel.surface_id for panel in panels])
    done = {line.id: line for lines in ledger.values() for line in lines if line.plan_id == plan.pk}
    rows = Correction.objects.filter(planned__plan=plan).values_list("planned_id", "id")
    by_panel = {panel_id: done[pk] for panel_id, pk in rows if pk in done}
    consents = CorrectionConsent.objects.filter(plan=plan).select_related("signature").order_by("-at", "-id")
    language = keeper.customer.language if keeper is not None else "en"
    return KeptPlan(
        id=plan.pk, vehicle_id=vehicle.pk, vehicle=vehicle.description, plate=vehicle.plate,
        retired=vehicle.retired_on is not None, on=plan.on,
        by=str(plan.member) if plan.member is not None else "", note=plan.note,
        looked_on=plan.inspection.on if plan.inspection is not None else None,
        panels=tuple(_kept_panel(panel, by_panel.get(panel.pk)) for panel in panels),
        consents=tuple(_consent_line(row) for row in consents),
        wording=wording_of(plan, panels, language=language),
        keeper=keeper.customer.name if keeper is not None else "", needs_consent=needs_consent(panels),
        looks=_looks(vehicle.pk, budget),
    )  # fmt: skip


def _kept_panel(panel: CorrectionPanel, done: RemovalLine | None) -> KeptPanel:
    surface: Surface = panel.surface
    return KeptPanel(
        id=panel.pk, surface_id=surface.pk, name=spoken(surface.code), stage=panel.stage,
        words=STAGE_WORDS.get(panel.stage, ""), passes=panel.passes, goes=panel.goes, why=panel.why, row=panel,
        done=done,
    )  # fmt: skip


def _path(lines: Strokes) -> str:
    return "".join(f"{'L' if i else 'M'}{x} {y}" for drawn in lines for i, (x, y) in enumerate(drawn))


def _consent_line(row: CorrectionConsent) -> ConsentLine:
    return ConsentLine(
        given=row.given, by=row.get_by_display(), how=row.get_how_display(), at=row.at, wording=row.wording,
        note=row.note, strokes=_path(row.signature.strokes) if hasattr(row, "signature") else "",
    )  # fmt: skip


def _looks(vehicle_id: int, budget: Budget) -> tuple[Look, ...]:
    """Inspections with film readings, newest first."""
    return tuple(
        Look(row.pk, row.on, row.get_kind_display())
        for row in reversed(list(budget.vehicle.inspections.all()))
        if any(reading.kind == "thickness_um" for reading in row.readings.all())
    )
