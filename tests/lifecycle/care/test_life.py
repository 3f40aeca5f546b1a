"""Paint, parts, glass, wheel sets, wrong entries, leaving and coming back: what each does to record and forecast."""

from __future__ import annotations

from datetime import timedelta

import pytest

from lifecycle import condition
from lifecycle.care import keeping, life_reads, parts, register, wheels
from lifecycle.care.corrections import record_correction
from lifecycle.care.keeping_back import readmit_vehicle
from lifecycle.care.layering import record_layer
from lifecycle.care.record import (
    ReadingEntry,
    record_event,
    record_habits,
    record_inspection,
    record_storage,
)
from lifecycle.care.vehicle_reads import vehicle_for_studio
from lifecycle.care.withdraw import withdraw
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import (
    Assessment,
    CareEvent,
    Consent,
    Correction,
    Forecast,
    Habits,
    JournalEntry,
    Keeper,
    Layer,
    Mounted,
    Storage,
    Vehicle,
)
from tests.factories import NOW, TODAY, CustomerFactory, LayerFactory, StudioFactory, SurfaceFactory, VehicleFactory

pytestmark = pytest.mark.django_db
BY = {"actor": "member:1", "at": NOW}
BEFORE, CHANGED = TODAY - timedelta(days=200), TODAY - timedelta(days=60)


@pytest.fixture
def panel():
    """A bonnet with a coat, a film reading, a look and a correction, all before the change."""
    surface = SurfaceFactory(code="bonnet")
    studio = {"studio": surface.studio}
    record_correction(**studio, surface_id=surface.pk, on=BEFORE, stage="one_step", happened_elsewhere=True, **BY)
    LayerFactory(surface=surface, applied=BEFORE)
    entries = [
        ReadingEntry(surface.pk, "thickness_um", value, method="magnetic") for value in (118, 121, 119, 120, 117)
    ]
    entries.append(ReadingEntry(surface.pk, "contact_angle_deg", 88))
    record_inspection(
        **studio, vehicle_id=surface.vehicle_id, on=BEFORE + timedelta(days=30), clean_state="washed", readings=entries,
        **BY,
    )  # fmt: skip
    return surface


def given_of(surface):
    found = condition.vehicle_input(condition.rows_for([surface.vehicle_id])[0], as_of=TODAY)
    return found, next((one for one in found.surfaces if one.code == surface.code), None)


class TestPaintAndParts:
    @pytest.mark.parametrize("work", ["repaint", "part_swap"])
    def test_the_old_paint_says_nothing_of_the_new(self, panel, work):
        whole, bonnet = given_of(panel)
        assert bonnet.thickness
        assert bonnet.removals
        assert whole.readings
        ids = {"studio": panel.studio, "surface_id": panel.pk, "on": CHANGED}
        if work == "repaint":
            event = parts.repaint(**ids, whole=True, note="two coats, baked", **BY)
        else:
            event = parts.swap_part(**ids, finish="factory", substrate="aluminium", note="", **BY)
        whole, bonnet = given_of(panel)
        assert (bonnet.thickness, bonnet.earlier_thickness, bonnet.removals, whole.readings) == (None, (), (), ())
        layer = Layer.objects.get(surface=panel)
        assert (layer.ended, layer.ended_why) == (CHANGED, work.replace("_", " "))
        panel.refresh_from_db()
        expected = ("refinish", CHANGED, "steel") if work == "repaint" else ("factory", None, "aluminium")
        assert (panel.finish, panel.refinished_on, panel.substrate) == expected
        entry = JournalEntry.objects.get(verb=f"{work.replace('_', ' ')} recorded")
        assert (entry.subject_id, entry.data["coats_ended"]) == (event.pk, 1)
        # The clear-coat budget knows nothing of the new paint, and the page shows no reading of the old.
        condition.assess_one(studio=panel.studio, vehicle_id=panel.vehicle_id, at=NOW)
        shown = vehicle_for_studio(studio=panel.studio, vehicle_id=panel.vehicle_id, today=TODAY).surfaces[0]
        assert (shown.clear.decision, shown.film, shown.layers) == ("unknown", None, ())
        # What is measured on the new paint counts.
        record_inspection(
            studio=panel.studio, vehicle_id=panel.vehicle_id, on=TODAY, clean_state="washed",
            readings=[ReadingEntry(panel.pk, "thickness_um", 140, method="eddy")], **BY,
        )  # fmt: skip
        assert given_of(panel)[1].thickness.values == (140,)

    def test_a_touch_up_leaves_the_coats_and_what_was_measured(self, panel):
        parts.repaint(studio=panel.studio, surface_id=panel.pk, on=CHANGED, whole=False, **BY)
        _, bonnet = given_of(panel)
        assert bonnet.thickness
        assert bonnet.removals
        assert Layer.objects.get(surface=panel).ended is None
        panel.refresh_from_db()
        assert (panel.finish, panel.refinished_on) == ("touch_up", None)

    def test_a_new_pane_ends_the_coats_on_glass_and_old_looks(self):
        pane = SurfaceFactory(code="windscreen", orientation="screen", substrate="glass")
        LayerFactory(surface=pane, kind="windscreen_coat", applied=BEFORE)
        record_inspection(
            studio=pane.studio, vehicle_id=pane.vehicle_id, on=CHANGED - timedelta(days=1), clean_state="washed",
            readings=[ReadingEntry(pane.pk, "beading_score", 2)], **BY,
        )  # fmt: skip
        parts.replace_glass(studio=pane.studio, surface_id=pane.pk, on=CHANGED, **BY)
        # A coat that is put on record afterwards, but went on before, went with the old pane too.
        late = LayerFactory(surface=pane, kind="windscreen_wipe_on", applied=CHANGED - timedelta(days=9))
        whole, _ = given_of(pane)
        assert whole.readings == ()
        assert Layer.objects.get(kind="windscreen_coat").ended == CHANGED
        condition.assess_one(studio=pane.studio, vehicle_id=pane.vehicle_id, at=NOW)
        assert not Forecast.objects.filter(layer=late).exists()

    def test_a_part_that_is_gone_keeps_its_record_and_is_not_forecast(self, panel):
        parts.remove_part(studio=panel.studio, surface_id=panel.pk, on=CHANGED, **BY)
        whole, bonnet = given_of(panel)
        assert (bonnet, whole.readings, whole.events) == (None, (), ())
        condition.assess_one(studio=panel.studio, vehicle_id=panel.vehicle_id, at=NOW)
        view = vehicle_for_studio(studio=panel.studio, vehicle_id=panel.vehicle_id, today=TODAY)
        assert view.surfaces == ()
        assert any("part taken off" in item.what for item in view.history)
        assert any(item.kind == "inspection" for item in view.history)
        with pytest.raises(DomainError, match="no longer on the vehicle"):
            parts.repaint(studio=panel.studio, surface_id=panel.pk, on=TODAY, whole=True, **BY)
        # A part in the same place is there again.
        parts.swap_part(studio=panel.studio, surface_id=panel.pk, on=TODAY, finish="unknown", **BY)
        assert given_of(panel)[1].finish == "unknown"

    def test_what_cannot_be_is_refused(self, panel):
        ids = {"studio": panel.studio, "surface_id": panel.pk}
        pane = SurfaceFactory(vehicle=panel.vehicle, code="windscreen", orientation="screen", substrate="glass")
        for call, words in (
            (lambda: parts.repaint(studio=pane.studio, surface_id=pane.pk, on=TODAY, whole=True, **BY), "not painted"),
            (lambda: parts.replace_glass(**ids, on=TODAY, **BY), "not glass"),
            (lambda: parts.swap_part(studio=pane.studio, surface_id=pane.pk, on=TODAY, finish="factory", **BY), "pane"),
            (lambda: parts.repaint(**ids, on=TODAY + timedelta(days=2), whole=True, **BY), "future"),
            (lambda: parts.swap_part(**ids, on=TODAY, finish="painted", **BY), "finish"),
        ):
            with pytest.raises(DomainError, match=words):
                call()
        with pytest.raises(NotFoundHere):
            parts.remove_part(studio=StudioFactory(), surface_id=panel.pk, on=TODAY, **BY)
        parts.repaint(**ids, on=CHANGED, whole=True, **BY)
        with pytest.raises(DomainError, match="withdraw that entry first"):
            parts.swap_part(**ids, on=CHANGED - timedelta(days=1), finish="factory", **BY)

    def test_unknown_layers_on_many_surfaces_at_once_all_or_none(self):
        vehicle = VehicleFactory()
        ids = [SurfaceFactory(vehicle=vehicle, code=code).pk for code in ("bonnet", "roof", "boot")]
        parts.record_unknown_layers(studio=vehicle.studio, surface_ids=ids[:1], there_on=vehicle.first_seen, **BY)
        with pytest.raises(DomainError, match="already"):
            parts.record_unknown_layers(studio=vehicle.studio, surface_ids=ids, there_on=vehicle.first_seen, **BY)
        assert Layer.objects.count() == 1
        parts.record_unknown_layers(studio=vehicle.studio, surface_ids=ids[1:], there_on=vehicle.first_seen, **BY)
        condition.assess_one(studio=vehicle.studio, vehicle_id=vehicle.pk, at=NOW)
        view = vehicle_for_studio(studio=vehicle.studio, vehicle_id=vehicle.pk, today=TODAY)
        assert {surface.stage for surface in view.surfaces} == {"unknown"}  # never "bare"
        assert all(forecast.end_p50 is None for forecast in Forecast.objects.all())
        notes = Forecast.objects.first().notes
        assert any("an inspection tells more" in note for note in notes)


class TestWithdraw:
    def test_a_wrong_repaint_gives_finish_readings_and_coats_back(self, panel):
        event = parts.repaint(studio=panel.studio, surface_id=panel.pk, on=CHANGED, whole=True, **BY)
        withdraw(studio=panel.studio, kind="event", entry_id=event.pk, why="the wrong car", **BY)
        whole, bonnet = given_of(panel)
        assert bonnet.thickness
        assert bonnet.removals
        assert whole.readings
        assert whole.events == ()
        assert Layer.objects.get(surface=panel).ended is None
        panel.refresh_from_db()
        assert (panel.finish, panel.refinished_on) == ("factory", None)
        kept = CareEvent.every.get(pk=event.pk)
        assert (kept.withdrawn_at, kept.withdrawn_why) == (NOW, "the wrong car")
        assert JournalEntry.objects.get(verb="care event withdrawn").data == {"coats_back": 1}
        with pytest.raises(NotFoundHere):
            withdraw(studio=panel.studio, kind="event", entry_id=event.pk, why="again", **BY)

    def test_coats_stay_ended_where_others_went_on_since_and_later_work_goes_first(self, panel):
        first = parts.repaint(studio=panel.studio, surface_id=panel.pk, on=CHANGED, whole=True, **BY)
        LayerFactory(surface=panel, applied=CHANGED + timedelta(days=30))
        second = parts.repaint(studio=panel.studio, surface_id=panel.pk, on=TODAY, whole=False, **BY)
        with pytest.raises(DomainError, match="withdraw that entry first"):
            withdraw(studio=panel.studio, kind="event", entry_id=first.pk, why="slip", **BY)
        for event in (second, first):
            withdraw(studio=panel.studio, kind="event", entry_id=event.pk, why="slip", **BY)
        live = Layer.objects.filter(surface=panel, ended=None)
        assert [layer.applied for layer in live] == [CHANGED + timedelta(days=30)]  # never two base coats

    def test_a_correction_is_no_plain_event(self, panel):
        with pytest.raises(DomainError, match="record it as a correction") as refused:
            record_event(
                studio=panel.studio,
                vehicle_id=panel.vehicle_id,
                kind="correction",
                on=CHANGED,
                surface_id=panel.pk,
                **BY,
            )
        assert refused.value.field == "kind"
        assert Layer.objects.get(surface=panel).ended is None

    def test_a_correction_gives_its_coats_and_its_clear_back(self, panel):
        words = {"studio": panel.studio, "surface_id": panel.pk, "stage": "finishing", "happened_elsewhere": True}
        before = given_of(panel)[1].removals
        first = record_correction(on=CHANGED, **words, **BY)
        second = record_correction(on=CHANGED + timedelta(days=1), **words, **BY)
        assert Layer.objects.get(surface=panel).ended == CHANGED
        with pytest.raises(DomainError, match="withdraw that entry first"):
            withdraw(studio=panel.studio, kind="correction", entry_id=first.pk, why="slip", **BY)
        for row in (second, first):
            withdraw(studio=panel.studio, kind="correction", entry_id=row.pk, why="wrong panel", **BY)
        assert Layer.objects.get(surface=panel).ended is None
        assert given_of(panel)[1].removals == before
        assert [row.withdrawn_why for row in Correction.every.filter(surface=panel, on__gte=CHANGED)] == [
            "wrong panel"
        ] * 2
        told = [entry.what for entry in life_reads.entries(panel.studio, panel.vehicle_id, withdrawn=True)]
        assert sum(what.startswith("paint correction") for what in told) == 2

    def test_coats_stay_ended_where_another_was_put_on_since(self, panel):
        row = record_correction(
            studio=panel.studio, surface_id=panel.pk, stage="finishing", on=CHANGED, happened_elsewhere=True, **BY
        )
        LayerFactory(surface=panel, applied=CHANGED)
        withdraw(studio=panel.studio, kind="correction", entry_id=row.pk, why="slip", **BY)
        assert Layer.objects.filter(surface=panel, ended=None).count() == 1

    def test_contamination_with_dwell_and_heat_can_be_taken_back(self, panel):
        event = record_event(
            studio=panel.studio, vehicle_id=panel.vehicle_id, kind="bird_dropping", on=CHANGED, surface_id=panel.pk,
            dwell_h=6, air_c=31, **BY,
        )  # fmt: skip
        assert [(e.dwell_h, e.air_c) for e in given_of(panel)[0].events] == [(6, 31)]
        withdraw(studio=panel.studio, kind="event", entry_id=event.pk, why="it was the other car", **BY)
        assert given_of(panel)[0].events == ()

    def test_habits_before_the_wrong_ones_hold_on(self):
        vehicle = VehicleFactory()
        use = {"studio": vehicle.studio, "vehicle_id": vehicle.pk, "parking": "mixed", "km_per_year": 9000,
               "wash_method": "two_bucket", "washes_per_year": 12}  # fmt: skip
        first = record_habits(**use, start=BEFORE, **BY)
        wrong = record_habits(**use | {"km_per_year": 90_000}, start=CHANGED, **BY)
        record_habits(**use | {"km_per_year": 8000}, start=TODAY, **BY)
        withdraw(studio=vehicle.studio, kind="habits", entry_id=wrong.pk, why="a nought too many", **BY)
        first.refresh_from_db()
        assert first.end == TODAY
        found = condition.vehicle_input(condition.rows_for([vehicle.pk])[0], as_of=TODAY).habits
        assert [(one.start, one.end, one.km_per_year) for one in found] == [(BEFORE, TODAY, 9000), (TODAY, None, 8000)]
        # Said again for the same day: the slip stays on record too.
        record_habits(**use | {"km_per_year": 8500}, start=TODAY, **BY)
        assert Habits.objects.get(end=None).km_per_year == 8500
        assert Habits.every.count() == 4

    def test_storage_and_a_reason_is_asked_for(self):
        vehicle = VehicleFactory()
        storage = record_storage(studio=vehicle.studio, vehicle_id=vehicle.pk, start=CHANGED, **BY)
        with pytest.raises(DomainError, match="say why"):
            withdraw(studio=vehicle.studio, kind="storage", entry_id=storage.pk, why=" ", **BY)
        with pytest.raises(NotFoundHere):
            withdraw(studio=StudioFactory(), kind="storage", entry_id=storage.pk, why="x", **BY)
        with pytest.raises(NotFoundHere):
            withdraw(studio=vehicle.studio, kind="layer", entry_id=storage.pk, why="x", **BY)
        withdraw(studio=vehicle.studio, kind="storage", entry_id=storage.pk, why="x", **BY)
        assert not Storage.objects.exists()
        keeping.lay_up(studio=vehicle.studio, vehicle_id=vehicle.pk, start=CHANGED, **BY)  # no overlap any more
        standing = life_reads.entries(vehicle.studio, vehicle.pk, withdrawn=False)
        gone = life_reads.entries(vehicle.studio, vehicle.pk, withdrawn=True)
        assert ([entry.kind for entry in standing], [entry.withdrawn_why for entry in gone]) == (["storage"], ["x"])


class TestWheelSets:
    def test_a_set_in_store_ages_by_a_clock_of_its_own(self):
        vehicle = VehicleFactory(first_seen=TODAY - timedelta(days=400))
        ids = {"studio": vehicle.studio, "vehicle_id": vehicle.pk}
        first = SurfaceFactory(vehicle=vehicle, code="wheels", orientation="wheel", substrate="aluminium")
        second = wheels.add_set(**ids, season="winter", **BY)
        wheels.name_season(studio=vehicle.studio, surface_id=first.pk, season="summer", **BY)
        for surface in (first, second):
            record_layer(
                studio=vehicle.studio, surface_id=surface.pk, kind="wheel_coat", applied=TODAY - timedelta(days=390),
                **BY,
            )  # fmt: skip
        condition.assess_one(studio=vehicle.studio, vehicle_id=vehicle.pk, at=NOW)
        left = {row.surface_id: row.function_p50 for row in Forecast.objects.filter(assessment__latest=True)}
        assert left[second.pk] > left[first.pk]  # in store all the time
        sets = life_reads.wheel_sets(vehicle.studio, vehicle.pk)
        assert [(row.season_words, row.on, row.stored_since) for row in sets] == [
            ("summer set", True, None), ("winter set", False, vehicle.first_seen),
        ]  # fmt: skip
        swapped = wheels.mount(studio=vehicle.studio, surface_id=second.pk, on=CHANGED, **BY)
        sets = life_reads.wheel_sets(vehicle.studio, vehicle.pk)
        assert [(row.on_since, row.stored_since) for row in sets] == [(None, CHANGED), (CHANGED, None)]
        assert all(row.layers[0].end_first for row in sets)
        with pytest.raises(DomainError, match="on record already"):
            wheels.add_set(**ids, season="winter", **BY)
        # A swap that never was: the set before it was on all the time.
        withdraw(studio=vehicle.studio, kind="swap", entry_id=swapped.pk, why="slip", **BY)
        sets = life_reads.wheel_sets(vehicle.studio, vehicle.pk)
        assert [row.on for row in sets] == [True, False]
        assert Mounted.every.count() == 2

    def test_a_set_that_is_on_already_takes_the_others_off(self):
        vehicle = VehicleFactory()
        first = SurfaceFactory(vehicle=vehicle, code="wheels", orientation="wheel", substrate="aluminium")
        wheels.add_set(studio=vehicle.studio, vehicle_id=vehicle.pk, season="winter", on_since=CHANGED, **BY)
        periods = [(row.start, row.end) for row in Mounted.objects.filter(surface=first)]
        assert periods == [(vehicle.first_seen, CHANGED)]


class TestKeepersAndLeaving:
    def test_keepers_are_dated_and_former_ones_have_no_name(self):
        old, new = CustomerFactory(name="Sunniva Reck"), None
        vehicle = VehicleFactory(site__studio=old.studio, keeper=old)
        new = CustomerFactory(studio=old.studio, name="Jory Tamm")
        ids = {"studio": vehicle.studio, "vehicle_id": vehicle.pk, "to_customer_id": new.pk}
        with pytest.raises(DomainError, match="future"):
            register.transfer(**ids, on=TODAY + timedelta(days=1), **BY)
        register.transfer(**ids, on=CHANGED, **BY)
        lines = life_reads.keeper_lines(vehicle.pk)
        assert [(line.who, line.start, line.end) for line in lines] == [
            ("Jory Tamm", CHANGED, None), ("earlier keeper", vehicle.first_seen, CHANGED),
        ]  # fmt: skip
        assert not Consent.objects.filter(customer=new).exists()

    def test_it_leaves_its_plate_is_free_and_it_comes_back(self):
        vehicle = VehicleFactory(plate="TST 500")
        ids = {"studio": vehicle.studio, "vehicle_id": vehicle.pk}
        keeper = CustomerFactory(studio=vehicle.studio)
        with pytest.raises(DomainError, match="never left"):
            readmit_vehicle(**ids, keeper_id=keeper.pk, on=TODAY, **BY)
        keeping.retire_vehicle(**ids, on=CHANGED, why="sold", **BY)
        with pytest.raises(DomainError, match="come back first"):
            register.transfer(**ids, to_customer_id=keeper.pk, on=TODAY, **BY)
        VehicleFactory(site=vehicle.site, plate="TST 500")  # free again
        with pytest.raises(DomainError, match="plate") as caught:
            readmit_vehicle(**ids, keeper_id=keeper.pk, on=TODAY, **BY)
        assert caught.value.field == "plate"
        with pytest.raises(DomainError, match="before the day it left"):
            readmit_vehicle(**ids, keeper_id=keeper.pk, on=CHANGED - timedelta(days=1), plate="X 1", **BY)
        readmit_vehicle(**ids, keeper_id=keeper.pk, on=TODAY, plate="tst 501", **BY)
        vehicle.refresh_from_db()
        assert (vehicle.plate, vehicle.retired_on, vehicle.assess_again) == ("TST 501", None, True)
        assert [(row.customer_id, row.start) for row in Keeper.objects.filter(vehicle=vehicle, end=None)] == [
            (keeper.pk, TODAY)
        ]
        assert Vehicle.objects.filter(retired_on=None).count() == 2
        assert not Assessment.objects.filter(vehicle=vehicle, latest=True, windows_at=None).exists()
        assert JournalEntry.objects.get(verb="vehicle readmitted").data["away_since"] == CHANGED.isoformat()
