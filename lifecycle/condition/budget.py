"""The clear-coat budget of a vehicle as it is on record today, for whoever plans or records a correction."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from lifecycle.condition.inputs import figures_of, rows_for, vehicle_input
from lifecycle.errors import NotFoundHere
from lifecycle.models import Studio, Vehicle
from lifecycle.wear.correction_choice import Choice, choose, fresh_refinish
from lifecycle.wear.correction_plan import CorrectionPlan, PanelPlan, plan_correction
from lifecycle.wear.marks import NO_OVERRIDES, Overrides, overridden
from lifecycle.wear.types import SurfaceInput, VehicleInput


@dataclass(frozen=True, slots=True)
class Budget:
    """A vehicle's rows (prefetched), what the wear model makes of them, and what may be corrected panel by panel."""

    vehicle: Vehicle
    given: VehicleInput
    plan: CorrectionPlan
    figures: Overrides

    def panel(self, code: str) -> PanelPlan | None:
        """The plan of one panel; None where the surface has no paint."""
        return next((one for one in self.plan.panels if one.code == code), None)

    def planned(self, code: str) -> bool:
        """Whether a plan has a line for this surface: it is painted and a clear-coat budget is kept for it."""
        panel = self.panel(code)
        return panel is not None and panel.decision != "not_applicable"

    def surface(self, code: str) -> SurfaceInput:
        """The surface as the model sees it."""
        return next(one for one in self.given.surfaces if one.code == code)

    def fresh(self, code: str) -> str:
        """Why fresh refinish is left alone here, "" where it is none."""
        return fresh_refinish(self.surface(code), as_of=self.given.as_of)

    def choose(
        self, panel: PanelPlan, *, stage: str, passes: int, removal: tuple[float, float] | None = None
    ) -> Choice:
        """What a grade and its passes cost on a panel and whether they go, with the studio's own figures."""
        with overridden(self.figures):
            return choose(self.given, panel, stage=stage, passes=passes, removal=removal)


def budget_of(*, studio: Studio, vehicle_id: int, as_of: date) -> Budget:
    """The budget of a vehicle with a fixed number of queries.

    Raises:
        NotFoundHere: the vehicle is not in this studio.
    """
    rows = rows_for(Vehicle.objects.filter(studio=studio, pk=vehicle_id).values_list("pk", flat=True))
    if not rows:
        raise NotFoundHere(f"There is no vehicle {vehicle_id} in this studio.")
    figures = figures_of([studio.pk]).get(studio.pk, NO_OVERRIDES)
    given = vehicle_input(rows[0], as_of=as_of, figures=figures)
    with overridden(figures):
        return Budget(rows[0], given, plan_correction(given), figures)
