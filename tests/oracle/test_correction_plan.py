"""The correction planner: share of defects against µm and against the corrections that the paint has left.

Depth and removal by grade are common practice, no source; the polish figures of 1 to 2 and 2 to 4 µm and the makers'
limit of 7.5 to 12 µm are published trade figures.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import date
from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear.correction_plan import (
    CorrectionPlan,
    PanelPlan,
    corrections_left,
    defects_removed,
    depth_for,
    plan_correction,
    taken_points,
)
from lifecycle.wear.figures import figure
from lifecycle.wear.types import EventInput, FloatArray, Removal, SurfaceInput, Thickness
from tests.wear.vehicles import layer, surface, vehicle

THICK = (118.0, 120.0, 121.0, 119.0, 122.0)


def panel(code: str, *values: float, removed: tuple[str, ...] = (), **changes: object) -> SurfaceInput:
    stages = tuple(Removal(date(2024, 5, 1), stage) for stage in removed)
    thickness = Thickness(values, "magnetic") if values else None
    return surface(**{"code": code, "thickness": thickness, "removals": stages} | changes)  # type: ignore[arg-type]


def plan(*panels: SurfaceInput, **changes: object) -> CorrectionPlan:
    return plan_correction(vehicle(*panels, **changes))


def one(*values: float, **changes: object) -> PanelPlan:
    return plan(panel("bonnet", *values, **changes)).panels[0]


def offered(found: PanelPlan) -> list[str]:
    return [option.stage for option in found.options if option.offered]


class TestCurve:
    def test_one_step_takes_seventy_to_eighty_percent(self) -> None:
        # Common practice, no source; one step takes 1 to 2 µm.
        share = defects_removed(figure("removal.one_step").value)
        assert (share.p10, share.p50, share.p90) == pytest.approx((0.70, 0.75, 0.80), abs=0.005)

    def test_a_first_cut_takes_about_ninety_percent(self) -> None:
        # Common practice, no source; a medium polish takes 2 to 4 µm, the cut itself about 2.5 of them.
        assert defects_removed(2.5).p50 == pytest.approx(0.90, abs=0.015)
        assert defects_removed(figure("removal.cut_and_refine").value).p50 > 0.92

    def test_the_last_five_percent_cost_most(self) -> None:
        # Common practice, no source: from 95 to 99 % costs more than all up to 75 %.
        depths = [depth_for(share).p50 for share in (0.0, 0.5, 0.75, 0.90, 0.95, 0.99)]
        per_percent = [(b - a) / (q - p) for (a, b), (p, q) in zip(
            pairwise(depths), pairwise((0.0, 0.5, 0.75, 0.90, 0.95, 0.99)), strict=True)]  # fmt: skip
        assert per_percent == sorted(per_percent)
        assert depth_for(0.99).p50 - depth_for(0.95).p50 > depth_for(0.75).p50

    @given(st.floats(0, 12))
    @settings(max_examples=50, deadline=None)
    def test_depth_and_share_are_inverse(self, taken: float) -> None:
        share = defects_removed(taken)
        assert 0 <= share.p10 <= share.p50 <= share.p90 < 1
        assert depth_for(share.p50).p50 == pytest.approx(taken, abs=1e-6)

    def test_what_has_no_meaning_is_refused(self) -> None:
        with pytest.raises(ValueError, match="write 0 or more"):
            defects_removed(-1)
        with pytest.raises(ValueError, match="up to, but not, 1"):
            depth_for(1.0)

    def test_along_the_curve_more_defects_go_and_fewer_corrections_stay(self) -> None:
        points = one(*THICK).curve
        assert points[0].taken_um == 0
        assert points[0].removed_share.p90 == 0
        for before, after in pairwise(points):
            assert after.removed_share.p50 > before.removed_share.p50
            assert after.one_steps_left.p50 <= before.one_steps_left.p50
            assert after.full_left.p50 <= before.full_left.p50
        # Nothing passes the makers' 8 µm (published: 7.5 to 12): after 6 of them no full correction is left.
        assert points[-1].taken_um == 6
        assert points[-1].full_left.p90 == 0


class TestLeft:
    def test_a_thick_panel_holds_five_one_steps_or_two_full_corrections(self) -> None:
        """8 µm over 1 to 2 and over 2 to 4 µm, by hand: 5 (4 to 8) and 2 (2 to 4), drawn in by the clear's spread."""
        found = one(*THICK)
        assert found.one_steps_left is not None
        assert found.full_left is not None
        assert found.one_steps_left.p50 == 5
        assert found.full_left.p50 == 2
        assert 3 <= found.one_steps_left.p10 <= 4
        assert 7 <= found.one_steps_left.p90 <= 8

    @given(st.floats(0, 12), st.sampled_from(["finishing", "one_step", "cut_and_refine"]))
    @settings(max_examples=40, deadline=None)
    def test_they_are_whole_numbers_in_order_and_fit_into_the_budget(self, budget: float, stage: str) -> None:
        import numpy as np

        points: FloatArray = np.full(39, budget)
        left = corrections_left(points, stage=stage)
        assert left.p10 <= left.p50 <= left.p90
        assert all(number == int(number) for number in (left.p10, left.p50, left.p90))
        assert left.p50 * float(np.median(taken_points(stage))) <= budget * 1.05 + 1e-9

    def test_each_job_in_the_ledger_leaves_fewer(self) -> None:
        left = [one(*THICK, removed=("one_step",) * jobs).one_steps_left for jobs in range(4)]
        assert [band.p50 for band in left if band is not None] == [5, 4, 3, 2]

    def test_an_option_says_what_is_left_after_it(self) -> None:
        found = one(*THICK)
        for option in found.options:
            assert found.budget_um is not None
            assert option.budget_after_um is not None
            assert option.one_steps_left_after is not None
            assert found.budget_um.p50 - option.budget_after_um.p50 == pytest.approx(option.takes_um.p50, abs=0.35)
            assert option.one_steps_left_after.p50 <= 5
        shares = [option.removed_share.p50 for option in found.options]
        assert shares == sorted(shares)


class TestRefusals:
    def test_the_quote_is_split_by_panel(self) -> None:
        """Expert's case (judgement): bonnet 78 to 84 µm, roof 112, wanted: full cut and refine on both."""
        found = plan(panel("bonnet", 78, 80, 84, 82, 81), panel("roof", 112, 111, 113, 112, 112))
        assert offered(found.panel("bonnet")) == ["finishing"]
        assert offered(found.panel("roof")) == ["finishing", "one_step", "cut_and_refine"]
        assert found.by_grade == {"finishing": ("bonnet",), "cut_and_refine": ("roof",)}
        refused = found.panel("bonnet").options[2]
        assert refused.why.startswith("Not offered: The thinnest spot reads about 77 µm in all")
        # Thin paint has no one step left in its life, whatever a quarter of its clear coat would hold.
        assert found.panel("bonnet").one_steps_left.p90 == 0

    def test_a_used_car_with_an_unknown_past_gets_a_range_and_one_step_at_most(self) -> None:
        """Expert's case (judgement): 96 µm, two corrections unknown: 0 to 4 µm left, one step with consent, never a
        bare figure."""
        found = one(91, 94, 96, 98, 101, removed=("unknown_past", "unknown_past"))
        assert offered(found) == ["finishing", "one_step"]
        assert found.budget_um is not None
        assert 0 <= found.budget_um.p10 <= 0.5
        assert 3.5 <= found.budget_um.p90 <= 4.3
        assert found.one_steps_left is not None
        assert (found.one_steps_left.p10, found.one_steps_left.p50) == (0, 1)
        one_step, full = found.options[1], found.options[2]
        assert 0.2 <= one_step.over_budget_chance <= 0.5
        assert full.over_budget_chance > 0.5
        assert not full.offered

    @pytest.mark.parametrize(
        ("surfaces", "changes", "says"),
        [
            ((panel("bonnet"),), {}, "Nobody has measured"),
            ((panel("bonnet", *THICK),), {"paint": "single_stage"}, "Single-stage"),
            ((panel("bonnet", *THICK),), {"paint": "matte"}, "Matte"),
            ((panel("bonnet", *THICK, finish="touch_up"),), {}, "Touched-up"),
            ((panel("bonnet", *THICK, substrate="plastic"),), {}, "does not read paint on plastic"),
            ((panel("bonnet", *THICK, layers=(layer("film_body", date(2025, 1, 1)),)),), {}, "A film lies on"),
            ((panel("bonnet", *THICK, removed=("cut_and_refine",) * 3),), {}, "may be too much"),
            (
                (panel("bonnet", *(170.0 + v for v in range(5))), panel("roof", *THICK), panel("boot", *THICK)),
                {},
                "likely painted again",
            ),
        ],
    )
    def test_what_is_not_known_or_over_budget_is_refused_with_the_reason(
        self, surfaces: tuple[SurfaceInput, ...], changes: dict[str, object], says: str
    ) -> None:
        found = plan(*surfaces, **changes).panel("bonnet")
        assert offered(found) == []
        assert says in found.why
        assert found.one_steps_left is None or found.one_steps_left.p90 == 0

    def test_glass_has_no_line_and_an_unknown_code_is_refused(self) -> None:
        found = plan(panel("bonnet", *THICK), surface(code="screen", substrate="glass", orientation="screen"))
        assert [one.code for one in found.panels] == ["bonnet"]
        with pytest.raises(KeyError, match="use one of bonnet"):
            found.panel("screen")

    def test_a_correction_known_only_as_an_event_counts_once(self) -> None:
        day = date(2025, 5, 1)
        told = (EventInput(day, "correction", surface="bonnet"),)
        plain, event = plan(panel("bonnet", *THICK)), plan(panel("bonnet", *THICK), events=told)
        listed = replace(panel("bonnet", *THICK), removals=(Removal(day, "one_step"),))
        assert event.panels[0].removed_um.p50 == pytest.approx(2.5, abs=0.05)
        assert plan(listed, events=told).panels[0].removed_um.p50 == pytest.approx(1.5, abs=0.05)
        assert plain.panels[0].removed_um.p50 == 0

    def test_the_usual_caution_stands_beside_the_work(self) -> None:
        text = " ".join(plan(panel("bonnet", *THICK)).cautions)
        assert "safety data sheet" in text
        assert "eyes, ears and breath" in text
