"""The bridge: rows in, forecast rows out, only where inputs changed."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle.care.corrections import record_correction
from lifecycle.care.record import ReadingEntry, record_event, record_habits, record_inspection
from lifecycle.climate.store import refresh
from lifecycle.condition import assess, assess_one, rows_for, run, stored_forecast, vehicle_input
from lifecycle.errors import NotFoundHere
from lifecycle.models import Assessment, CareEvent, ClimateNormal, Forecast
from lifecycle.wear.types import Place
from tests.factories import (
    NOW,
    TODAY,
    HabitsFactory,
    LayerFactory,
    ProductFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)

pytestmark = pytest.mark.django_db


@pytest.fixture
def layer():
    surface = SurfaceFactory(code="bonnet")
    HabitsFactory(vehicle=surface.vehicle)
    return LayerFactory(surface=surface)


def test_rows_become_the_inputs_of_the_model(layer):
    vehicle = layer.surface.vehicle
    product = ProductFactory(studio=vehicle.studio, life_low_months=30, life_high_months=36, kind="ceramic_mid")
    layer.product = product
    layer.save()
    record_inspection(
        studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, clean_state="decontaminated",
        readings=[
            ReadingEntry(layer.surface_id, "contact_angle_deg", 101, drops=5),
            *(ReadingEntry(layer.surface_id, "thickness_um", t, method="magnetic") for t in (112, 115, 109)),
        ],
        actor="member:1", at=NOW,
    )  # fmt: skip
    for by in ("studio", "customer"):
        record_event(
            studio=vehicle.studio, vehicle_id=vehicle.pk, kind="wash", on=TODAY, by=by, actor="member:1", at=NOW
        )
    given = vehicle_input(rows_for([vehicle.pk])[0], as_of=TODAY)
    assert given.surfaces[0].thickness.values == (112, 115, 109)
    assert given.surfaces[0].layers[0].life_months == (30, 36)
    assert [reading.contact_angle_deg for reading in given.readings] == [101]
    assert given.readings[0].drops == 5
    assert [event.kind for event in given.events] == ["wash"], "a customer's own wash is part of the habits"
    assert given.habits[0].parking == "mixed"
    assert given.assumed == ()


def test_a_vehicle_of_which_nobody_asked_says_so(layer):
    layer.surface.vehicle.habits.all().delete()
    given = vehicle_input(rows_for([layer.surface.vehicle_id])[0], as_of=TODAY)
    assert given.assumed == ("habits",)
    assert given.habits[0].source == "defaulted"


def test_climate_is_stored_once_a_place_and_shared_by_near_ones():
    studio = StudioFactory()
    SiteFactory(studio=studio, lat=49.49, lon=8.47, height_m=97)
    SiteFactory(studio=studio, lat=49.51, lon=8.46, height_m=98)
    SiteFactory(studio=studio, lat=38.0, lon=-2.0, height_m=700)
    assert refresh(at=NOW) == {"places": 2, "fetched": 2}
    assert refresh(at=NOW) == {"places": 2, "fetched": 0}
    assert ClimateNormal.objects.count() == 2
    # Koeppen-Geiger after Rubel et al. 2016: the upper Rhine is Cfb.
    assert ClimateNormal.objects.get(lat=49.5).koppen_class == "Cfb"


def test_only_changed_vehicles_are_assessed(layer):
    vehicle = layer.surface.vehicle
    assert assess(at=NOW)["assessed"] == 1
    assert assess(at=NOW) == {"assessed": 0, "unchanged": 0}
    record_event(
        studio=vehicle.studio, vehicle_id=vehicle.pk, kind="decontamination", on=TODAY, actor="member:1", at=NOW
    )
    assert assess(at=NOW)["assessed"] == 1
    assert Assessment.objects.filter(vehicle=vehicle).count() == 2
    assert Assessment.objects.filter(vehicle=vehicle, latest=True).count() == 1


def test_touched_but_equal_inputs_keep_the_assessment(layer):
    assess(at=NOW)
    vehicle = layer.surface.vehicle
    vehicle.assess_again = True
    vehicle.save()
    assert assess(at=NOW) == {"assessed": 0, "unchanged": 1}
    vehicle.refresh_from_db()
    assert vehicle.assess_again is False


def test_the_clock_is_an_input_that_counts_in_weeks(layer):
    assess(at=NOW)  # a Monday
    assert assess(at=NOW + timedelta(days=6))["assessed"] == 0
    assert assess(at=NOW + timedelta(days=7))["assessed"] == 1


def test_forecast_rows_say_what_the_model_said(layer):
    assess(at=NOW)
    row = Forecast.objects.get(layer=layer)
    assessment = Assessment.objects.get(latest=True)
    forecast, given = stored_forecast(assessment)
    said = forecast.surfaces[0].layers[0]
    assert (row.function_p10, row.function_p50, row.function_p90) == (
        said.function_left.p10, said.function_left.p50, said.function_left.p90,
    )  # fmt: skip
    assert row.stage == said.stage
    assert row.end_p50 == said.end_on.p50
    assert isinstance(row.end_p50, date)
    assert sum(reason["share"] for reason in row.reasons) == pytest.approx(1)
    assert given.place == Place(lat=49.49, lon=8.47, height_m=97.0, sea_distance_m=400_000.0)
    assert assessment.climate["class"] == "Cfb"


def test_superseded_assessments_keep_their_figures_and_drop_their_bulk(layer):
    assess(at=NOW)
    assess(at=NOW + timedelta(days=7))
    old = Assessment.objects.get(latest=False)
    assert old.whole == {}
    row = Forecast.objects.get(assessment=old)
    assert row.course == []
    assert row.function_p50 is not None


def test_dated_habits_change_the_answer_but_not_the_past(layer):
    """Wear is summed over periods: a move to the street today leaves today's figure as it was."""
    vehicle = layer.surface.vehicle
    assess(at=NOW)
    before = Forecast.objects.get(layer=layer, assessment__latest=True)
    record_habits(
        studio=vehicle.studio, vehicle_id=vehicle.pk, start=TODAY, parking="street", km_per_year=40_000,
        wash_method="bristle_tunnel", washes_per_year=52, wash_ph="alkaline", road_salt="heavy", trees_birds=3,
        source="asked", actor="member:1", at=NOW,
    )  # fmt: skip
    assess(at=NOW)
    after = Forecast.objects.get(layer=layer, assessment__latest=True)
    assert after.function_p50 == pytest.approx(before.function_p50, abs=0.01)
    assert after.end_p50 < before.end_p50


def test_loading_many_vehicles_takes_a_fixed_number_of_queries():
    site = SiteFactory()

    def queries(count: int) -> int:
        ids = []
        for _ in range(count):
            vehicle = VehicleFactory(site=site)
            HabitsFactory(vehicle=vehicle)
            LayerFactory(surface=SurfaceFactory(vehicle=vehicle))
            ids.append(vehicle.pk)
        with CaptureQueriesContext(connection) as captured:
            for row in rows_for(ids):
                vehicle_input(row, as_of=TODAY)
        return len(captured)

    assert queries(1) == queries(8)


def test_a_foreign_vehicle_is_not_here(layer):
    with pytest.raises(NotFoundHere):
        assess_one(studio=StudioFactory(), vehicle_id=layer.surface.vehicle_id, at=NOW)


def test_what_is_recorded_while_we_calculate_is_not_lost(layer, monkeypatch):
    """A technician records between the reading of the inputs and the keeping of the forecast."""
    vehicle = layer.surface.vehicle
    calculate = run.wear_assess

    def slow(given, climate):
        forecast = calculate(given, climate)
        if CareEvent.objects.count() == 0:
            record_event(
                studio=vehicle.studio, vehicle_id=vehicle.pk, kind="decontamination", on=TODAY, actor="member:1", at=NOW
            )
        return forecast

    monkeypatch.setattr(run, "wear_assess", slow)
    assert assess(at=NOW)["assessed"] == 1
    forecast, given = stored_forecast(Assessment.objects.get())
    assert [event.kind for event in given.events] == ["decontamination"]
    assert forecast.surfaces[0].decontaminated_on == TODAY
    vehicle.refresh_from_db()
    assert vehicle.assess_again is False


def test_a_vehicle_that_changes_all_the_time_stays_asked_for(layer, monkeypatch):
    vehicle = layer.surface.vehicle
    calculate = run.wear_assess

    def slow(given, climate):
        record_event(studio=vehicle.studio, vehicle_id=vehicle.pk, kind="wash", on=TODAY, actor="member:1", at=NOW)
        return calculate(given, climate)

    monkeypatch.setattr(run, "wear_assess", slow)
    assert assess(at=NOW) == {"assessed": 0, "unchanged": 1}
    vehicle.refresh_from_db()
    assert vehicle.assess_again is True


def test_one_bad_vehicle_does_not_stop_the_others(layer, monkeypatch):
    good = LayerFactory(surface=SurfaceFactory(code="roof")).surface.vehicle
    calculate = run.wear_assess

    def picky(given, climate):
        if given.surfaces[0].code == "bonnet":
            raise OverflowError("date value out of range")
        return calculate(given, climate)

    monkeypatch.setattr(run, "wear_assess", picky)
    assert assess(at=NOW) == {"assessed": 1, "unchanged": 0, "failed": 1}
    assert list(Assessment.objects.values_list("vehicle", flat=True)) == [good.pk]
    layer.surface.vehicle.refresh_from_db()
    assert layer.surface.vehicle.assess_again is True, "it is tried again"


def test_a_measured_removal_counts_once_and_a_grade_once_a_pass(layer):
    """What was measured overrules the figure of the stage (common practice, no source)."""
    vehicle = layer.surface.vehicle
    by = {"studio": vehicle.studio, "surface_id": layer.surface_id, "actor": "member:1", "at": NOW,
          "happened_elsewhere": True}  # fmt: skip
    record_correction(on=date(2024, 1, 1), stage="one_step", passes=2, **by)
    record_correction(on=date(2024, 2, 1), stage="one_step", passes=2, removal_low_um=3.0, removal_high_um=4.0, **by)
    removals = vehicle_input(rows_for([vehicle.pk])[0], as_of=TODAY).surfaces[0].removals
    assert [removal.taken_um for removal in removals] == [None, None, (3.0, 4.0)]
