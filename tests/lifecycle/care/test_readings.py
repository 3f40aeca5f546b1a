"""Readings as they are entered: what looks wrong is said, what is recorded anyway is kept, and the clear-coat budget
counts them as its own worked numbers say."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle.care.gauges import check_says, gauges, retire_gauge, save_gauge
from lifecycle.care.reading_rows import ReadingEntry
from lifecycle.care.readings import NotConfirmed, doubts_about, reading_sheet, record_readings
from lifecycle.care.vehicle_reads import vehicle_for_studio
from lifecycle.condition import assess_one, rows_for, vehicle_input
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Assessment, Gauge, Inspection, JournalEntry, Reading, ReadingDoubt
from lifecycle.wear import normal
from lifecycle.wear.clearcoat import film_posterior
from tests.factories import NOW, TODAY, GaugeFactory, LayerFactory, StudioFactory, SurfaceFactory, VehicleFactory

pytestmark = pytest.mark.django_db
BY = {"actor": "member:1", "at": NOW}


@pytest.fixture
def car():
    """A vehicle with four steel panels and a plastic bumper; code -> surface."""
    vehicle = VehicleFactory()
    codes = {"bonnet": "steel", "roof": "steel", "boot": "steel", "doors_left": "steel", "front_bumper": "plastic"}
    return {code: SurfaceFactory(vehicle=vehicle, code=code, substrate=made) for code, made in codes.items()}


def films(surface, *values, unit="um", **fields):
    fields.setdefault("method", "magnetic")
    return [
        ReadingEntry(surface.pk, "thickness_um", float(value), spot=spot, unit=unit, typed=f"{value:g}", **fields)
        for spot, values_ in enumerate(values, 1)
        for value in (values_ if isinstance(values_, tuple) else (values_,))
    ]


def said(car, entries, on=TODAY):
    surface = car["bonnet"]
    return doubts_about(surface.studio, surface.vehicle_id, on=on, entries=entries)


def kinds(car, entries):
    return {(doubt.surface, doubt.kind) for doubt in said(car, entries) if doubt.asks}


def record(car, entries, **fields):
    surface = car["bonnet"]
    return record_readings(
        studio=surface.studio, vehicle_id=surface.vehicle_id, entries=entries, **{"on": TODAY, **BY, **fields}
    )


def test_the_gauge_and_the_spots_reach_the_budget_as_its_worked_numbers_say(car):
    """Published check: spot sd 2.5 over five spots and a gauge of 1.0 give 1.50 µm; a prior of 110 ± 8 and a reading
    of 104 ± 1.5 give 104.204 ± 1.474 µm (computed for this project). Each spot is the mean of two values here."""
    gauge = GaugeFactory(studio=car["bonnet"].studio, sd_um=1.0)
    half = 2.5 * 2**0.5
    spots = [(104 - half - 1, 104 - half + 1), (103.5, 104.5), 104, (105, 103), (104 + half, 104 + half)]
    record(car, films(car["bonnet"], *spots, gauge_id=gauge.pk))
    given = vehicle_input(rows_for([car["bonnet"].vehicle_id])[0], as_of=TODAY).surfaces[0]
    assert given.thickness.values == pytest.approx((104 - half, 104, 104, 104, 104 + half))
    assert given.thickness.gauge_sd_um == 1.0
    found = film_posterior(given, total_prior=(110.0, 8.0)).total_um
    assert found.p50 == pytest.approx(104.204, abs=5e-3)
    assert (found.p90 - found.p10) / (2 * normal.Z90) == pytest.approx(1.474, abs=5e-3)
    # A coarser gauge is believed less: the same reading moves the prior less and leaves more spread.
    coarse = replace(given, thickness=replace(given.thickness, gauge_sd_um=4.0))
    other = film_posterior(coarse, total_prior=(110.0, 8.0)).total_um
    assert other.p50 > found.p50
    assert other.p90 - other.p10 > found.p90 - found.p10


def test_a_panel_without_readings_has_no_budget_and_with_five_spots_it_has_one(car):
    bonnet = car["bonnet"]
    assess_one(studio=bonnet.studio, vehicle_id=bonnet.vehicle_id, at=NOW)
    before = Assessment.objects.get(latest=True).surfaces["bonnet"]["clear_coat"]
    assert before["decision"] == "unknown"
    record(car, films(bonnet, 118, 119, 120, 121, 122))
    assess_one(studio=bonnet.studio, vehicle_id=bonnet.vehicle_id, at=NOW)
    after = Assessment.objects.get(latest=True).surfaces["bonnet"]["clear_coat"]
    assert after["decision"] == "cut_and_refine_with_consent"
    # From 105 µm on 30 to 45 µm of it are clear (judgement); a quarter of that, at most 8 µm, may go.
    assert 6 < after["budget_um"]["p10"] < after["budget_um"]["p50"] <= 8
    view = vehicle_for_studio(studio=bonnet.studio, vehicle_id=bonnet.vehicle_id, today=TODAY)
    film = view.surfaces[0].film
    assert (film.mean_um, film.lowest_um, film.count, film.spots) == (120, 118, 5, 5)


def test_layer_values_of_an_ultrasonic_gauge_stand_beside_the_total_of_another(car):
    record(car, films(car["bonnet"], 118, 119, 120, 121, 122))
    record(car, films(car["bonnet"], 44, 45, 46, 45, 45, method="ultrasonic"))
    given = vehicle_input(rows_for([car["bonnet"].vehicle_id])[0], as_of=TODAY).surfaces[0]
    assert (given.thickness.method, given.earlier_thickness[0].method) == ("ultrasonic", "magnetic")


def test_typed_in_mil_is_kept_in_um_and_shown_as_typed(car):
    """1 mil = 25.4 µm exactly (international inch, 1959)."""
    entries = [
        replace(one, value=one.value * 25.4) for one in films(car["bonnet"], 4.5, 4.6, 4.7, 4.6, 4.5, unit="mil")
    ]
    record(car, entries)
    row = Reading.objects.order_by("id").first()
    assert row.value == pytest.approx(114.3)
    assert (row.typed, row.unit, row.spot, row.method) == ("4.5", "mil", 1, "magnetic")
    view = vehicle_for_studio(studio=row.studio, vehicle_id=car["bonnet"].vehicle_id, today=TODAY)
    assert view.surfaces[0].film.mean_mil == pytest.approx(4.58)


class TestDoubts:
    """Bounds: `tables/wear.csv` and `tables/correction.csv` with their marks; each rule's source stands there or in
    the table of `care/reading_checks.py`."""

    def test_usual_values_raise_none(self, car):
        entries = [
            e for code in ("bonnet", "roof", "boot") for e in films(car[code], 112, 114, (113, 114, 112), 115, 113)
        ]
        assert said(car, entries) == ()

    def test_a_jump_to_the_neighbours_suggests_a_refinish(self, car):
        """More than 40 µm above the median of two others or more: likely painted again (judgement)."""
        for code in ("roof", "boot"):
            record(car, films(car[code], *[112] * 5))
        found = said(car, films(car["bonnet"], *[165] * 5))
        assert [(doubt.surface, doubt.kind) for doubt in found] == [("bonnet", "neighbours")]
        assert "likely painted again" in found[0].says
        assert kinds(car, films(car["bonnet"], *[128] * 5)) == set()
        # What is on record as a refinish is no news.
        car["bonnet"].finish = "refinish"
        car["bonnet"].save()
        assert kinds(car, films(car["bonnet"], *[165] * 5)) == set()

    def test_two_neighbours_are_needed_to_compare(self, car):
        record(car, films(car["roof"], *[112] * 5))
        assert kinds(car, films(car["bonnet"], *[165] * 5)) == set()

    def test_plastic_and_the_wrong_probe(self, car):
        """Magnetic methods need a ferrous, eddy-current methods a conducting substrate (ISO 2808, from memory)."""
        for method in ("magnetic", "eddy", "combined"):
            entries = films(car["front_bumper"], *[110] * 5, method=method)
            assert kinds(car, entries) == {("front_bumper", "method")}
            with pytest.raises(DomainError, match="reads nothing on plastic") as refused:
                record(car, entries, accepted=[doubt.key for doubt in said(car, entries)])
            assert refused.value.field == "method"
        assert kinds(car, films(car["front_bumper"], *[110] * 5, method="ultrasonic")) == set()
        assert kinds(car, films(car["bonnet"], *[110] * 5, method="eddy")) == {("bonnet", "method")}
        assert Reading.objects.count() == 0

    def test_a_film_on_the_panel_adds_its_thickness(self, car):
        """160 µm is the table's film (from memory): 275 µm in all leave about 115 of paint."""
        for code in ("roof", "boot"):
            record(car, films(car[code], *[114] * 5))
        LayerFactory(surface=car["bonnet"], kind="film_body", applied=TODAY - timedelta(days=90))
        (note,) = said(car, films(car["bonnet"], *[275] * 5))
        assert (note.kind, note.asks) == ("film", False)
        assert "about 160 of 275 µm" in note.says
        assert "about 115 µm of paint" in note.says
        assert kinds(car, films(car["roof"], *[275] * 5)) >= {("roof", "high")}
        lost = said(car, films(car["bonnet"], *[112] * 5))
        assert any("still on this panel" in doubt.says for doubt in lost)

    @pytest.mark.parametrize(
        ("values", "unit", "kind", "says"),
        [
            ((4.5,) * 5, "um", "unit", "Did you mean mil"),
            ((110 * 25.4,) * 5, "mil", "unit", "110 mil would be 2794 µm"),
            ((112, 113, 66, 112, 113), "um", "low", "nothing more is taken off below 70"),
            ((112, 113, 82, 112, 113), "um", "low", "at most a finishing polish below 85"),
            ((212,) * 5, "um", "high", "speaks of a repair"),
            (((113, 112, 131), 112, 112, 113, 112), "um", "apart", "Spot 1: 131 µm lies apart"),
            ((0, 112, 112, 113, 112), "um", "zero", "Zero the gauge"),
        ],
    )  # fmt: skip
    def test_values_that_do_not_fit(self, car, values, unit, kind, says):
        found = [doubt for doubt in said(car, films(car["bonnet"], *values, unit=unit)) if doubt.kind == kind]
        assert found, said(car, films(car["bonnet"], *values, unit=unit))
        assert says in found[0].says

    def test_few_spots_are_told_and_do_not_ask(self, car):
        (few,) = said(car, films(car["bonnet"], 112, 113))
        assert (few.kind, few.asks) == ("few", False)
        assert "2 spots" in few.says

    def test_water_and_gloss(self, car):
        """Smooth surfaces show 119 degrees at most (Nishino et al. 1999, from memory); black glass has 100 GU (ISO
        2813)."""
        pk = car["bonnet"].pk
        assert (
            kinds(car, [ReadingEntry(pk, "contact_angle_deg", 118, drops=5), ReadingEntry(pk, "gloss_gu", 93)]) == set()
        )
        wrong = [ReadingEntry(pk, "contact_angle_deg", 128), ReadingEntry(pk, "gloss_gu", 104)]
        assert kinds(car, wrong) == {("bonnet", "angle"), ("bonnet", "gloss")}


def test_doubts_want_a_word_and_are_kept_with_the_record(car):
    entries = films(car["bonnet"], 112, 113, 66, 112, 113)
    with pytest.raises(NotConfirmed) as asked:
        record(car, entries)
    assert (Inspection.objects.count(), Reading.objects.count()) == (0, 0)
    keys = [doubt.key for doubt in asked.value.doubts]
    # Another value under the same doubt is another doubt: it was not seen.
    with pytest.raises(NotConfirmed):
        record(car, films(car["bonnet"], 112, 113, 60, 112, 113), accepted=keys)
    inspection = record(car, entries, accepted=keys)
    kept = ReadingDoubt.objects.get()
    assert (kept.inspection, kept.surface, kept.kind) == (inspection, car["bonnet"], "low")
    entry = JournalEntry.objects.get(verb="readings recorded")
    assert entry.data["in_spite_of"] == [kept.says]
    film = vehicle_for_studio(
        studio=inspection.studio, vehicle_id=inspection.vehicle_id, today=TODAY
    ).surfaces[0].film  # fmt: skip
    assert film.doubts == (kept.says,)


def test_a_sheet_that_is_sent_twice_is_recorded_once_and_one_can_be_added_to(car):
    key = uuid4()
    first = record(car, films(car["bonnet"], *[112] * 5), key=key)
    assert record(car, films(car["bonnet"], *[112] * 5), key=key) == first
    assert Reading.objects.count() == 5
    added = {"inspection_id": first.pk, "on": TODAY - timedelta(days=9), "key": uuid4()}
    again = record(car, films(car["roof"], *[112] * 5), **added)
    assert record(car, films(car["roof"], *[112] * 5), **added) == again, "what was added is added once, too"
    assert (again, again.on, Inspection.objects.count(), Reading.objects.count()) == (first, TODAY, 1, 10)
    other = SurfaceFactory(vehicle=VehicleFactory(site=car["bonnet"].vehicle.site))
    with pytest.raises(DomainError, match="another vehicle's readings have it"):
        record({"bonnet": other}, films(other, *[112] * 5), key=key)
    for wrong in (
        {"inspection_id": Inspection.objects.create(
            studio=first.studio, vehicle=other.vehicle, on=TODAY, clean_state="washed").pk},
        {"on": TODAY + timedelta(days=2)},
        {"clean_state": "spotless"},
    ):  # fmt: skip
        with pytest.raises(DomainError):
            record(car, films(car["bonnet"], *[112] * 5), **wrong)
    with pytest.raises(DomainError, match="belongs to another vehicle"):
        record(car, films(other, *[112] * 5))


class TestGauges:
    def test_registered_changed_retired_with_a_journal(self):
        studio = StudioFactory()
        gauge = save_gauge(studio=studio, name=" Probe ", method="magnetic", sd_um=0.5, checked_on=TODAY, **BY)
        assert gauge.name == "Probe"
        save_gauge(studio=studio, gauge_id=gauge.pk, name="Probe", method="eddy", sd_um=0.7, checked_on=TODAY, **BY)
        retire_gauge(studio=studio, gauge_id=gauge.pk, on=TODAY, **BY)
        assert gauges(studio, today=TODAY + timedelta(days=1), in_use=True) == ()
        assert [row.name for row in gauges(studio, today=TODAY)] == ["Probe"]
        retire_gauge(studio=studio, gauge_id=gauge.pk, on=None, **BY)
        assert list(JournalEntry.objects.order_by("id").values_list("verb", flat=True)) == [
            "gauge registered", "gauge changed", "gauge retired", "gauge taken back",
        ]  # fmt: skip
        with pytest.raises(DomainError, match="another gauge is called"):
            save_gauge(studio=studio, name="Probe", method="eddy", sd_um=1, **BY)
        with pytest.raises(NotFoundHere):
            save_gauge(studio=StudioFactory(), gauge_id=gauge.pk, name="x", method="eddy", sd_um=1, **BY)

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"name": " "}, "name"),
            ({"method": "guess"}, "method"),
            ({"sd_um": None}, "sd_um"),
            ({"sd_um": 0}, "sd_um"),
            ({"sd_um": float("nan")}, "sd_um"),
            ({"method": "gloss"}, "sd_um"),
            ({"checked_on": TODAY + timedelta(days=1)}, "checked_on"),
        ],
    )
    def test_wrong_gauges_are_refused(self, change, field):
        with pytest.raises(DomainError) as refused:
            save_gauge(studio=StudioFactory(), **{"name": "Probe", "method": "eddy", "sd_um": 1.0, **BY, **change})
        assert refused.value.field == field
        assert Gauge.objects.count() == 0

    def test_the_check_and_the_uncertainty_of_the_day_go_with_the_reading(self, car):
        gauge = GaugeFactory(studio=car["bonnet"].studio, method="combined", sd_um=0.8)
        checked = gauge.checked_on
        record(car, films(car["bonnet"], *[112] * 5, gauge_id=gauge.pk))
        save_gauge(
            studio=gauge.studio, gauge_id=gauge.pk, name=gauge.name, method="combined", sd_um=2, checked_on=TODAY, **BY
        )
        row = Reading.objects.first()
        assert (row.gauge, row.gauge_sd_um, row.gauge_checked_on, row.method) == (gauge, 0.8, checked, "magnetic")
        with pytest.raises(DomainError, match="what it measures stays"):
            save_gauge(studio=gauge.studio, gauge_id=gauge.pk, name="x", method="eddy", sd_um=1, **BY)

    def test_a_retired_a_foreign_and_an_unfit_gauge_read_nothing(self, car):
        studio = car["bonnet"].studio
        gone = GaugeFactory(studio=studio, retired_on=TODAY - timedelta(days=5))
        gloss = GaugeFactory(studio=studio, method="gloss", sd_um=None)
        for gauge, says in ((gone, "was retired"), (gloss, "does not measure")):
            with pytest.raises(DomainError, match=says):
                record(car, films(car["bonnet"], *[112] * 5, gauge_id=gauge.pk))
        record(car, films(car["bonnet"], *[112] * 5, gauge_id=gone.pk), on=TODAY - timedelta(days=6))
        with pytest.raises(NotFoundHere):
            record(car, films(car["bonnet"], *[112] * 5, gauge_id=GaugeFactory().pk))

    def test_a_check_older_than_twelve_months_is_said(self):
        """Twelve months: common practice, no source."""
        assert check_says(date(2025, 3, 2), on=date(2026, 3, 2)) == ""
        assert "more than 12 months" in check_says(date(2025, 3, 1), on=date(2026, 3, 2))
        assert check_says(date(2024, 2, 29), on=date(2025, 2, 28)) == ""
        assert "more than 12 months" in check_says(date(2024, 2, 29), on=date(2025, 3, 1))
        assert "no check" in check_says(None, on=TODAY)


def test_the_number_of_queries_does_not_grow_with_panels_and_values(car):
    def count(work) -> int:
        with CaptureQueriesContext(connection) as queries:
            work()
        return len(queries)

    def looks(entries):
        return count(lambda: reading_sheet(studio, vehicle_id, today=TODAY)), count(lambda: record(car, entries))

    studio, vehicle_id = car["bonnet"].studio, car["bonnet"].vehicle_id
    one_panel = films(car["bonnet"], *[112] * 5)
    record(car, one_panel)
    few = looks(one_panel)
    for n in range(30):
        SurfaceFactory(vehicle=car["bonnet"].vehicle, code=f"more_{n}")
        GaugeFactory(studio=studio)
    rows = list(car["bonnet"].vehicle.surfaces.filter(substrate="steel"))
    assert looks([entry for row in rows[:10] for entry in films(row, *[112] * 5)]) == few
