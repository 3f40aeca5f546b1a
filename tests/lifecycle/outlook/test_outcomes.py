"""Was the advice right? What the next look says, by the pure rules and on rows."""

from __future__ import annotations

from datetime import timedelta

import pytest

from lifecycle.models import Assessment, Forecast, Inspection, JournalEntry, Offer, OfferStep, Visit
from lifecycle.outlook import history, offers, outcomes
from lifecycle.outlook.outcome_rules import Look, of_decontamination, of_renewal
from tests.factories import NOW, TODAY, CareDueFactory, LayerFactory, SurfaceFactory
from tests.lifecycle.outlook.test_acceptance_reads import advice
from tests.lifecycle.outlook.test_offers import due

DAY = timedelta(days=1)
MADE = TODAY - 60 * DAY


def look(days_after, clean="decontaminated", after_work=False, **values):
    return Look(7, MADE + days_after * DAY, clean, values, after_work)


@pytest.mark.parametrize(
    ("values", "verdict"),
    [
        # The model's own end of life is 90 degrees; the limits around it are judgement.
        ({"contact_angle_deg": 84}, "right"),
        ({"contact_angle_deg": 104}, "not_right"),
        ({"contact_angle_deg": 95}, "cannot_tell"),
        ({"beading_score": 1.5}, "right"),
        ({"beading_score": 4}, "not_right"),
        ({"works": 0}, "right"),
        ({"works": 1, "beading_score": 1}, "cannot_tell"),  # the two speak against each other
    ],
)
def test_a_renewal_was_right_if_the_old_layer_was_found_worn(values, verdict):
    found = of_renewal([look(20, **values)], made_on=MADE, renewed_on=None, forecast="20 to 40 % function left on roof")
    assert (found.verdict, found.look_id) == (verdict, 7)
    assert "2026-01-21, decontaminated; forecast when advised: 20 to 40 % function left on roof" in found.why


def test_only_a_clean_look_between_advice_and_work_speaks_of_wear():
    good = {"contact_angle_deg": 104}
    silent = [look(-5, **good), look(10, clean="washed", **good), look(20), look(15, after_work=True, **good)]
    assert of_renewal(silent, made_on=MADE, renewed_on=None, forecast="") is None
    closed = of_renewal([*silent, look(50, **good)], made_on=MADE, renewed_on=MADE + 30 * DAY, forecast="")
    assert (closed.verdict, closed.look_id) == ("cannot_tell", None)
    assert "Renewed before anybody read" in closed.why


@pytest.mark.parametrize(
    ("before", "after", "verdict"),
    [(2.0, 4.0, "right"), (4.0, 4.0, "not_right"), (1.0, 1.0, "cannot_tell"), (None, 4.0, "cannot_tell")],
)
def test_a_decontamination_was_right_if_the_surface_bore_up(before, after, verdict):
    looks = [look(-10, clean="washed", beading_score=before)] if before is not None else []
    looks.append(look(30, beading_score=after))
    assert of_decontamination(looks, made_on=MADE, done_on=MADE + 30 * DAY).verdict == verdict
    assert of_decontamination(looks, made_on=MADE, done_on=None) is None
    assert of_decontamination(looks[:-1], made_on=MADE, done_on=MADE + 30 * DAY) is None


def read(vehicle, on, value, *, surface, clean="decontaminated", kind="contact_angle_deg", by="studio", **fields):
    seen = Inspection.objects.create(studio=vehicle.studio, vehicle=vehicle, on=on, clean_state=clean, by=by, **fields)
    seen.readings.create(studio=vehicle.studio, surface=surface, kind=kind, value=value)
    return seen


@pytest.mark.django_db
class TestOnRows:
    def test_declined_and_found_good_was_not_right_once_and_for_all(self):
        surface = SurfaceFactory(code="bonnet")
        offer = advice(surface.vehicle, "offered", "declined", task="recoat", days=60, surfaces=["bonnet"])
        assert outcomes.judge(at=NOW) == {}
        seen = read(surface.vehicle, TODAY - 10 * DAY, 105, surface=surface)
        assert outcomes.judge(at=NOW) == {"not_right": 1}
        assert outcomes.judge(at=NOW + DAY) == {}
        step = OfferStep.objects.get(offer=offer, kind="outcome")
        assert (step.verdict, step.about, step.about_id) == ("not_right", "inspection", seen.pk)
        assert step.why.startswith("found still good: contact angle 105° on 2026-02-20")
        entry = JournalEntry.objects.get(verb="advice judged")
        assert (entry.subject_id, entry.data["verdict"]) == (offer.pk, "not_right")
        # What a look says is no answer: the latest word is still the no.
        assert history.with_latest_step(Offer.objects.all()).get().latest_kind == "declined"

    def test_other_surfaces_the_keepers_own_test_and_other_studios_say_nothing(self):
        surface = SurfaceFactory(code="bonnet")
        advice(surface.vehicle, "offered", "declined", task="recoat", days=60, surfaces=["bonnet"])
        read(surface.vehicle, TODAY - 9 * DAY, 80, surface=SurfaceFactory(vehicle=surface.vehicle, code="roof"))
        read(surface.vehicle, TODAY - 8 * DAY, 80, surface=surface, by="customer")
        other = SurfaceFactory(code="bonnet")
        read(other.vehicle, TODAY - 7 * DAY, 80, surface=other)
        assert outcomes.judge(at=NOW) == {}

    def test_withdrawn_advice_and_looks_themselves_are_not_judged(self):
        surface = SurfaceFactory(code="bonnet")
        advice(surface.vehicle, "offered", "withdrawn", task="recoat", days=60)
        advice(surface.vehicle, "offered", "declined", task="inspection", days=60)
        read(surface.vehicle, TODAY - 10 * DAY, 80, surface=surface)
        assert outcomes.judge(at=NOW) == {}

    def test_the_forecast_of_that_day_is_kept_and_told(self):
        surface = SurfaceFactory(code="bonnet")
        layer = LayerFactory(surface=surface)
        made = Assessment.objects.create(
            studio=surface.studio, vehicle=surface.vehicle, as_of=TODAY, at=NOW, input_hash="x",
            surfaces={"bonnet": {"clogged": True}},
        )  # fmt: skip
        Forecast.objects.create(
            studio=surface.studio, assessment=made, surface=surface, layer=layer, stage="end",
            function_p10=0.1, function_p50=0.2, function_p90=0.4,
        )  # fmt: skip
        row = due(vehicle=surface.vehicle, task="recoat", surfaces=["bonnet"])
        offers.recommend(at=NOW)
        basis = Offer.objects.get(due=row).basis
        assert basis["function"]["bonnet"]["p50"] == 0.2
        assert basis["clogged"] == ["bonnet"]
        assert outcomes.forecast_words(basis) == "10 to 40 % function left on bonnet"
        read(surface.vehicle, TODAY + 5 * DAY, 80, surface=surface)
        assert outcomes.judge(at=NOW + 6 * DAY) == {"right": 1}
        assert "10 to 40 % function left on bonnet" in OfferStep.objects.get(kind="outcome").why

    def test_a_decontamination_of_a_clogged_bonnet(self):
        row = CareDueFactory(task="decontamination_wash")
        surface = SurfaceFactory(vehicle=row.vehicle, code="bonnet")
        advice(row.vehicle, "offered", "accepted", "done", task="decontamination_wash", days=30, surfaces=["bonnet"])
        read(row.vehicle, TODAY - 35 * DAY, 1, surface=surface, clean="washed", kind="beading_score")
        Visit.objects.create(
            studio=row.studio, vehicle=row.vehicle, site=row.vehicle.site, on=TODAY - 27 * DAY, state="done",
            booked_at=NOW, tasks=["decontamination_wash"],
        )  # fmt: skip
        seen = Inspection.objects.create(
            studio=row.studio, vehicle=row.vehicle, on=TODAY - 27 * DAY, clean_state="decontaminated", kind="after_work"
        )
        seen.readings.create(studio=row.studio, surface=surface, kind="beading_score", value=4)
        assert outcomes.judge(at=NOW) == {"right": 1}
        why = OfferStep.objects.get(kind="outcome").why
        assert "it was clogged: beading 1.0 of 5 before, beading 4.0 of 5 after" in why
