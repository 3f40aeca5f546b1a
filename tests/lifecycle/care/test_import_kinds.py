"""Layers, past visits, readings and prices from lists mean what the same thing means when it is entered by hand."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from lifecycle.care.layering import record_layer
from lifecycle.care.reading_rows import ReadingEntry
from lifecycle.care.readings import record_readings
from lifecycle.models import CareEvent, ImportMade, Inspection, Layer, Price, Reading, Surface, Vehicle, Visit
from tests.factories import (
    NOW,
    CareDueFactory,
    GaugeFactory,
    LayerFactory,
    ProductFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)
from tests.lifecycle.care.import_world import WHO, bring, csv_of, errors, receive, stored, take_back

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stored")]
__all__ = ["stored"]

LAYER = ("plate", "surface", "product", "applied", "ended", "coats", "batch")


@pytest.fixture
def studio():
    return StudioFactory(zone="Europe/Oslo")


@pytest.fixture
def car(studio):
    return VehicleFactory(site=SiteFactory(studio=studio), plate="TST 1", body="saloon", size="M")


@pytest.fixture
def products(studio):
    return {
        "C36": ProductFactory(studio=studio, code="C36", kind="ceramic_mid"),
        "C18": ProductFactory(studio=studio, code="C18", kind="ceramic_entry"),
        "B4": ProductFactory(studio=studio, code="B4", kind="booster"),
    }


def state(*models) -> list:
    """Every row of these models, without what the cycle turns."""
    return [
        [{k: v for k, v in row.items() if k != "assess_again"} for row in model._base_manager.order_by("pk").values()]
        for model in models
    ]


class TestLayers:
    def test_as_if_each_had_been_recorded_on_its_day(self, studio, car, products):
        """The stack at the end is that of `record_layer`, called by hand in the order of the days."""
        rows = [("bonnet", "C18", "2023-03-01"), ("bonnet", "C36", "2024-06-01"), ("bonnet", "B4", "2025-01-10")]
        shuffled = [rows[2], rows[0], rows[1]]
        bring(studio, "layers", csv_of(LAYER, *((car.plate, s, c, d, "", 1, "") for s, c, d in shuffled)))
        other = VehicleFactory(site=car.site, body="saloon")
        by_hand = SurfaceFactory(vehicle=other, code="bonnet")
        for _, code, day in rows:
            prep = ["decontaminated" if code == "B4" else "polished", "panel_wiped"]
            record_layer(
                studio=studio, surface_id=by_hand.pk, kind=products[code].kind, product_id=products[code].pk,
                applied=date.fromisoformat(day), prep=prep, **WHO,
            )  # fmt: skip
        names = ("kind", "applied", "ended", "ended_why", "coats")
        imported = Layer.objects.filter(surface__vehicle=car).order_by("applied").values_list(*names)
        hand = Layer.objects.filter(surface__vehicle=other).order_by("applied").values_list(*names)
        assert [row[:3] for row in imported] == [row[:3] for row in hand]
        assert Surface.objects.get(vehicle=car).code == "bonnet"

    def test_the_same_file_twice_changes_nothing_and_taking_back_restores(self, studio, car, products):
        old = LayerFactory(
            surface=SurfaceFactory(vehicle=car, code="bonnet"), kind="ceramic_mid", applied=date(2022, 1, 5)
        )
        before = state(Layer, Surface)
        data = csv_of(
            LAYER,
            ("TST 1", "Bonnet", "C36", "2024-06-01", "", 2, "L7"),
            ("TST 1", "roof", "C18", "2024-06-01", "", "", ""),
        )
        file = bring(studio, "layers", data)
        old.refresh_from_db()
        assert (old.ended, old.ended_why) == (date(2024, 6, 1), "renewed")
        assert Layer.objects.get(batch="L7").coats == 2
        Vehicle.objects.update(assess_again=False)
        assert receive(studio, "layers", data).same == 2
        assert take_back(file).state == "undone"
        assert state(Layer, Surface) == before
        assert Vehicle.objects.get().assess_again

    def test_what_contradicts_the_record_is_an_error(self, studio, car, products):
        LayerFactory(surface=SurfaceFactory(vehicle=car, code="bonnet"), kind="ceramic_mid", applied=date(2025, 1, 5))
        roof = SurfaceFactory(vehicle=car, code="roof")
        CareEvent.objects.create(studio=studio, vehicle=car, surface=roof, kind="repaint", on=date(2025, 2, 1))
        rows = [
            ("TST 1", "bonnet", "C18", "2024-06-01", "", "", ""),
            ("TST 1", "roof", "C18", "2024-06-01", "", "", ""),
            ("TST 1", "wing mirror", "C18", "2024-06-01", "", "", ""),
            ("TST 9", "roof", "C18", "2024-06-01", "", "", ""),
            ("TST 1", "boot", "X1", "2024-06-01", "", "", ""),
            ("TST 1", "boot", "C18", "2024-06-01", "2024-05-01", 13, ""),
        ]
        found = {line: said for line, _, _, said in reversed(errors(receive(studio, "layers", csv_of(LAYER, *rows))))}
        for line, words in enumerate(
            ("is on record for this surface", "took off what stood here", "is no surface of this vehicle",
             "no vehicle is on record", "is no product of this studio", "between 1 and 12"), 2,
        ):  # fmt: skip
            assert words in found[line]
        ended = [(*row[:4], "2024-12-01", *row[5:]) for row in rows[:2]]
        assert receive(studio, "layers", csv_of(LAYER, *ended)).wrong == 0

    def test_a_forecast_of_an_imported_layer_is_not_in_the_way(self, studio, car, products):
        from lifecycle import condition

        file = bring(studio, "layers", csv_of(LAYER, ("TST 1", "bonnet", "C36", "2024-06-01", "", 2, "")))
        condition.assess_one(studio=studio, vehicle_id=car.pk, at=NOW)
        assert take_back(file).state == "undone"
        assert not Layer.objects.exists()


VISIT = ("number", "plate", "date", "care", "paid", "status")


class TestVisits:
    def test_a_done_visit_tells_of_its_wash(self, studio, car):
        data = csv_of(VISIT, ("A1", "TST 1", "2025-05-06", "Decontamination wash, inspection", "120,50", ""))
        file = bring(studio, "visits", data)
        visit = Visit.objects.get()
        assert (visit.state, visit.tasks, visit.paid) == (
            "done", ["decontamination_wash", "inspection"], Decimal("120.50"),
        )  # fmt: skip
        assert visit.customer == car.keepers.get().customer
        assert visit.settled_at is not None
        assert [(event.kind, event.on) for event in CareEvent.objects.all()] == [("decontamination", date(2025, 5, 6))]
        assert receive(studio, "visits", data).same == 1
        more = csv_of(VISIT, ("A1", "TST 1", "2025-05-06", '"decontamination wash; inspection"', "130,00", ""))
        second = bring(studio, "visits", more)
        assert second.changed == 1
        assert Visit.objects.get().paid == Decimal("130.00")
        assert take_back(second).state == "undone"
        assert Visit.objects.get().paid == Decimal("120.50")
        assert take_back(file).state == "undone"
        assert not Visit.objects.exists()
        assert not CareEvent.objects.exists()

    def test_only_the_past_and_never_a_visit_that_is_open(self, studio, car):
        Visit.objects.create(
            studio=studio, site=car.site, vehicle=car, on=date(2026, 3, 1), tasks=["inspection"], booked_at=NOW
        )
        rows = [
            ("", "TST 1", "2026-03-01", "inspection", "", ""),
            ("", "TST 1", (NOW.date() + timedelta(days=1)).isoformat(), "inspection", "", ""),
            ("", "TST 1", "2025-03-01", "polishing the moon", "", ""),
            ("", "TST 1", "2025-03-02", "inspection", "5", "did not come"),
        ]
        said = [cell[3] for cell in errors(receive(studio, "visits", csv_of(VISIT, *rows)))]
        assert ["settle it on its page" in said[0], "in the future" in said[1], "is no care task" in said[2],
                "only a visit that was done is paid" in said[3]] == [True] * 4  # fmt: skip

    def test_the_keeper_of_that_day(self, studio, car):
        file = bring(studio, "visits", csv_of(VISIT, ("", "TST 1", "2020-05-06", "inspection", "", "")))
        assert file.state == "done"
        assert Visit.objects.get().customer is None, "nobody is known to have kept it then"


READING = ("plate", "surface", "date", "kind", "value", "unit", "spot", "how clean")


class TestReadings:
    def test_one_inspection_a_day_and_repeats_of_a_spot_are_kept(self, studio, car):
        rows = [("TST 1", "bonnet", "2025-05-06", "thickness", v, "", 1, "") for v in ("112,5", "112,5", "113")] + [
            ("TST 1", "roof", "2025-05-06", "thickness", "4,5", "mil", "", "")
        ]
        data = csv_of(READING, *rows)
        file = bring(studio, "readings", data)
        assert Inspection.objects.count() == 1
        assert sorted(Reading.objects.values_list("value", flat=True)) == pytest.approx([112.5, 112.5, 113, 4.5 * 25.4])
        assert receive(studio, "readings", data).same == 4
        assert take_back(file).state == "undone"
        assert (Reading.objects.count(), Inspection.objects.count(), Surface.objects.count()) == (0, 0, 0)

    def test_the_same_values_by_hand_are_the_same_by_list(self, studio, car):
        bonnet = SurfaceFactory(vehicle=car, code="bonnet")
        entry = ReadingEntry(bonnet.pk, "thickness_um", 112.0, spot=1, typed="112", unit="um")
        record_readings(studio=studio, vehicle_id=car.pk, entries=[entry], on=date(2025, 5, 6), **WHO)
        file = receive(
            studio, "readings", csv_of(READING, ("TST 1", "bonnet", "2025-05-06", "thickness", 112, "", 1, ""))
        )
        assert (file.same, file.new) == (1, 0)

    def test_what_cannot_be(self, studio, car):
        GaugeFactory(studio=studio, name="Steel probe", method="magnetic")
        head = (*READING, "gauge")
        rows = [
            ("TST 1", "bonnet", "2025-05-06", "thickness", 9000, "", "", "", ""),
            ("TST 1", "front_bumper", "2025-05-06", "thickness", 110, "", "", "", "Steel probe"),
            ("TST 1", "bonnet", "2025-05-06", "contact angle", 95, "", "", "", ""),
            ("TST 1", "bonnet", "2025-05-06", "gloss", 90, "", "", "", "Steel probe"),
            ("TST 1", "bonnet", "2025-05-06", "works", "0,5", "", "", "", ""),
        ]
        file = receive(studio, "readings", csv_of(head, *rows))
        said = {line: cell for line, _, _, cell in errors(file)}
        for line, words in enumerate(
            ("between 0 and 5000", "reads nothing on plastic", "dirty, washed or decontaminated",
             "does not measure that", "is not between 0 and 1"), 2,
        ):  # fmt: skip
            assert words in said[line]


class TestPrices:
    HEAD = ("task", "size", "from", "to")

    def test_new_changed_same_and_back(self, studio):
        Price.objects.create(studio=studio, task="inspection", size="M", low=40, high=60)
        Price.objects.create(studio=studio, task="inspection", size="L", low=50, high=70)
        before = state(Price)
        rows = [
            ("Inspection", "M", "45,00", "60,00"),
            ("inspection", "L", "50,00", "70"),
            ("re-coat", "xl", "900,00", ""),
        ]
        data = csv_of(self.HEAD, *rows)
        file = bring(studio, "prices", data)
        assert (file.new, file.changed, file.same) == (1, 1, 1)
        assert Price.objects.get(task="recoat").high == 900
        assert receive(studio, "prices", data).same == 3
        assert take_back(file).state == "undone"
        assert state(Price) == before

    def test_a_comma_or_a_point_is_asked_where_both_could_be(self, studio):
        data = csv_of(self.HEAD, ("recoat", "M", "1.200", "1.500"))
        assert Decimal(receive(studio, "prices", data, decimal="comma").dry_run.get().changes[0][2]) == 1200
        point = csv_of(self.HEAD, ("recoat", "M", "1.200", "1.505"))
        file = receive(studio, "prices", point, decimal="point")
        assert "two decimals" in errors(file)[0][3]

    def test_two_rows_of_one_price(self, studio):
        file = receive(studio, "prices", csv_of(self.HEAD, ("recoat", "M", 1, 2), ("re-coat", "M", 2, 3)))
        assert "row 2 of this file has the same task and size" in errors(file)[0][3]


def test_advice_that_cannot_be_unsaid_stands_in_the_way(studio, car, products):
    from lifecycle.models import Offer, OfferStep

    data = csv_of(("plate", "description", "body", "size", "colour", "keeper e-mail"),
                  ("TST 5", "a van", "van", "L", "white", car.keepers.get().customer.email))  # fmt: skip
    file = bring(studio, "vehicles", data)
    van = Vehicle.objects.get(plate="TST 5")
    due = CareDueFactory(vehicle=van)
    offer = Offer.objects.create(
        studio=studio, vehicle=van, due=due, task=due.task, price_low=1, price_high=2, made_at=NOW
    )
    OfferStep.objects.create(studio=studio, offer=offer, kind="recommended", at=NOW)
    file = take_back(file)
    assert (file.state, ImportMade.objects.exists()) == ("done", True)
    assert "Advice refers to the vehicle that it made." in [cell[3] for cell in errors(file)]
