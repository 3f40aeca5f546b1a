"""No sequence of events leaves two live base coats, a live coat above a correction, or a negative clear coat.

Random work through the real verbs, refusals included, with the invariants looked at in the rows after each step.
"""

from __future__ import annotations

from collections import Counter
from contextlib import suppress
from datetime import timedelta

import pytest
from django.db import transaction
from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, rule, run_state_machine_as_test

from lifecycle.care.corrections import record_correction
from lifecycle.care.layering import check_layer, record_layer
from lifecycle.care.record import ReadingEntry, record_event, record_inspection
from lifecycle.care.stack_rules import PREPS, slot
from lifecycle.condition.inputs import rows_for, vehicle_input
from lifecycle.errors import DomainError
from lifecycle.models import CareEvent, Correction, Layer
from lifecycle.wear.choices import REMOVAL_STAGES
from lifecycle.wear.clearcoat import clear_coat
from tests import people
from tests.factories import NOW, TODAY, SurfaceFactory, VehicleFactory

pytestmark = pytest.mark.django_db
KINDS = ("ceramic_mid", "ceramic_top", "wax", "sealant", "booster", "film_body", "film_top_coat", "wrap", "unknown")
DAYS = st.integers(0, 400).map(lambda back: TODAY - timedelta(days=back))
PREP = st.frozensets(st.sampled_from(sorted(set(PREPS) - {"none"})), max_size=2)
TAKES_ALL = ("repaint", "part_swap")


class Stacks(RuleBasedStateMachine):
    """One vehicle with two panels; each example is rolled back."""

    def __init__(self) -> None:
        super().__init__()
        self.took_off = False
        self.block = transaction.atomic()
        self.block.__enter__()
        self.vehicle = VehicleFactory(first_seen=TODAY - timedelta(days=500))
        self.panels = [SurfaceFactory(vehicle=self.vehicle, code=code) for code in ("bonnet", "roof")]
        self.by = {"studio": self.vehicle.studio, "actor": f"member:{people.technician(self.vehicle.studio).pk}",
                   "at": NOW}  # fmt: skip
        record_inspection(
            vehicle_id=self.vehicle.pk, on=TODAY - timedelta(days=450), clean_state="decontaminated",
            readings=[ReadingEntry(panel.pk, "thickness_um", 112, method="magnetic")
                      for panel in self.panels for _ in range(5)],
            **self.by,
        )  # fmt: skip

    def teardown(self) -> None:
        transaction.set_rollback(True)
        self.block.__exit__(None, None, None)

    @rule(panel=st.integers(0, 1), kind=st.sampled_from(KINDS), on=DAYS, prep=PREP, why=st.sampled_from(["", "tested"]))
    def lay(self, panel, kind, on, prep, why):
        surface = self.panels[panel]
        work = {"kind": kind, "applied": on, "prep": prep}
        (checked,) = check_layer(studio=self.by["studio"], vehicle_id=self.vehicle.pk, surface_ids=[surface.pk], **work)
        layer = None
        with suppress(DomainError):
            layer = record_layer(surface_id=surface.pk, override_reason=why, **work, **self.by)
        if layer is None:
            assert checked.blocked, "the check had nothing against what was refused"
        else:
            assert bool(layer.overridden) == bool(checked.blocked)
            assert layer.override_reason == (why if checked.blocked else "")

    @rule(
        panel=st.integers(0, 1), on=DAYS, stage=st.sampled_from(REMOVAL_STAGES), passes=st.integers(1, 3),
        elsewhere=st.booleans(),
    )  # fmt: skip
    def correct(self, panel, on, stage, passes, elsewhere):
        self.took_off = True
        done = {"on": on, "stage": stage, "passes": passes, "happened_elsewhere": elsewhere}
        with suppress(DomainError):  # refused over the budget
            record_correction(surface_id=self.panels[panel].pk, **done, **self.by)

    @rule(
        panel=st.integers(0, 1), on=DAYS,
        kind=st.sampled_from(["repaint", "part_swap", "decontamination", "top_up", "bird_dropping"]),
    )  # fmt: skip
    def happen(self, panel, on, kind):
        self.took_off = True
        record_event(vehicle_id=self.vehicle.pk, kind=kind, on=on, surface_id=self.panels[panel].pk, **self.by)

    @invariant()
    def one_live_layer_in_each_slot(self):
        live = Layer.objects.filter(surface__in=self.panels, ended=None).exclude(kind="unknown")
        slots = Counter((surface, slot(kind)) for surface, kind in live.values_list("surface", "kind"))
        assert all(count == 1 for count in slots.values()), slots

    @invariant()
    def no_live_coat_above_a_correction(self):
        corrected = Correction.objects.exclude(stage="unknown_past").values_list("surface", "on")
        happened = CareEvent.objects.filter(kind__in=("correction", *TAKES_ALL)).values_list("surface", "on", "kind")
        for surface, on, kind in [*((s, d, "correction") for s, d in corrected), *happened]:
            live = Layer.objects.filter(surface=surface, ended=None, applied__lt=on)
            if kind == "correction":
                live = live.exclude(kind__in=("film_body", "wrap"))
            assert not live.exists(), (kind, on, list(live.values_list("kind", "applied")))

    @invariant()
    def no_negative_clear(self):
        if not self.took_off:
            return
        self.took_off = False
        (row,) = rows_for([self.vehicle.pk])
        for surface in vehicle_input(row, as_of=TODAY).surfaces:
            clear = clear_coat(surface, paint="clear_coat")
            for band in (clear.budget_um, clear.clear_um, clear.removed_um):
                assert band is None or 0 <= band.p10 <= band.p50 <= band.p90, (surface.code, band)


def test_no_sequence_of_events_breaks_a_stack():
    run_state_machine_as_test(
        Stacks,
        settings=settings(
            max_examples=15, stateful_step_count=12, deadline=None, suppress_health_check=list(HealthCheck)
        ),
    )
