"""Pages about putting layers on: the check before recording, a reason, packages, data-sheet windows, recall."""

from __future__ import annotations

import csv
import io
import re
from datetime import timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lifecycle.care.packages import ItemEntry, save_package
from lifecycle.models import Layer, LayerPackage, Product
from tests import people
from tests.factories import LayerFactory, ProductFactory, SurfaceFactory
from tests.portal.doors import as_member
from tests.portal.studio_world import read_and_send, text, today

pytestmark = pytest.mark.django_db


def layer_data(surface, **change) -> dict:
    """A ceramic coat in sound conditions."""
    return {"surfaces": [surface.pk], "kind": "ceramic_mid", "coats": "2", "applied": today().isoformat(),
            "prep": ["decontaminated", "polished", "panel_wiped"], "air_c": "20", "surface_c": "19", "rh_pct": "50",
            "batch": "KEEP-ME", **change}  # fmt: skip


class TestTheCheck:
    def test_the_dew_point_is_told_before_recording_and_nothing_typed_is_lost(self, car, owner):
        """Dew point by Magnus, 3 °C above it published: 28 °C and 75 % need 26.2 °C."""
        vehicle, _bonnet, roof = car
        url = reverse("studio:record_layer", args=[vehicle.pk])
        data = layer_data(roof, air_c="28", surface_c="25", rh_pct="75")
        for asked in (data | {"check": "1"}, data):
            page = owner.post(url, asked).content.decode()
            assert "needs 26.2 °C or more" in page
            assert 'value="KEEP-ME"' in page
            assert 'name="override_reason"' in page
        assert "a rule stands against it" in page
        part = owner.post(url, data | {"check": "1"}, headers={"HX-Request": "true"}).content.decode()
        assert part.lstrip().startswith('<div id="findings"')
        assert Layer.objects.count() == 1
        said = text(read_and_send(owner, url, data | {"override_reason": "lamp on the panel"}, follow=True))
        assert "Layer recorded on 1 surface" in said
        assert Layer.objects.get(surface=roof).override_reason == "lamp on the panel"

    def test_sound_work_is_recorded_at_once_and_the_vehicle_shows_its_cure(self, car, owner):
        vehicle, _bonnet, roof = car
        url = reverse("studio:record_layer", args=[vehicle.pk])
        said = text(owner.post(url, layer_data(roof), follow=True))
        assert "Layer recorded on 1 surface" in said
        assert "Still curing" in said
        assert "No chemicals, no booster" in said

    def test_warnings_are_read_first_and_new_ones_again(self, car, owner):
        vehicle, bonnet, _roof = car
        url = reverse("studio:record_layer", args=[vehicle.pk])
        data = {"surfaces": [bonnet.pk], "kind": "wax", "coats": "1", "applied": today().isoformat()}
        page = owner.post(url, data).content.decode()
        assert "hides how the coat itself behaves" in page
        assert "read what stands below" in page
        seen = re.search(r'name="seen" value="([^"]+)"', page)[1]
        wetter = data | {"seen": seen, "rh_pct": "82"}
        assert "read what stands below" in text(owner.post(url, wetter)), "the humidity was not there before"
        assert owner.post(url, data | {"seen": seen}).status_code == 302

    def test_an_unfinished_form_is_checked_as_far_as_it_goes(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:record_layer", args=[vehicle.pk])
        asked = {"check": "1", "kind": "ceramic_mid", "applied": today().isoformat(), "rh_pct": "90", "air_c": "?"}
        part = text(owner.post(url, asked, headers={"HX-Request": "true"}))
        assert "90 % humidity: stop" in part
        assert owner.post(url, {"check": "1"}, headers={"HX-Request": "true"}).status_code == 200


def package_data(*lines: dict, **fields) -> dict:
    data = {"name": "Full", "note": "", "item-TOTAL_FORMS": len(lines), "item-INITIAL_FORMS": 0, **fields}
    for number, line in enumerate(lines):
        data |= {f"item-{number}-{name}": value for name, value in line.items()}
    return data


class TestPackages:
    def test_from_the_owners_page_to_the_vehicle(self, car, studio, owner):
        vehicle, bonnet, _roof = car
        product = ProductFactory(studio=studio, kind="sealant")
        wheel = ProductFactory(studio=studio, kind="wheel_coat")
        assert reverse("studio:packages") in owner.get(reverse("studio:house")).content.decode()
        lines = ({"product": product.pk, "coats": "1", "where": "painted", "codes": ""},
                 {"product": wheel.pk, "coats": "1", "where": "codes", "codes": ""})  # fmt: skip
        page = text(owner.post(reverse("studio:new_package"), package_data(*lines)))
        assert "Name the surfaces, parted by commas" in page
        lines[1]["codes"] = "Wheels, spare wheel"
        owner.post(reverse("studio:new_package"), package_data(*lines))
        row = LayerPackage.objects.get()
        assert [item.codes for item in row.items.all()] == [[], ["wheels", "spare_wheel"]]
        assert "on wheels, spare wheel" in text(owner.get(reverse("studio:packages")))
        technician = as_member(people.technician(studio))
        url = reverse("studio:apply_package", args=[vehicle.pk, row.pk])
        assert url in technician.get(reverse("studio:record_layer", args=[vehicle.pk])).content.decode()
        LayerFactory(surface=bonnet, kind="wax", applied=today() - timedelta(days=30))
        first = row.items.first().pk
        data = {"applied": today().isoformat(), f"item-{first}-coats": "1", f"item-{first}-batch": "S-9",
                f"item-{first}-prep": ["washed"]}  # fmt: skip
        page = technician.post(url, data).content.decode()
        assert "Stands against it on bonnet" in page
        assert 'value="S-9"' in page
        assert "No surface of this vehicle is one of" in page
        said = text(read_and_send(technician, url, data | {"leave_out": "on"}, follow=True))
        assert "Full: 1 layer recorded" in said
        assert "on the bonnet" in said
        assert Layer.objects.get(kind="sealant").batch == "S-9"
        owner.post(reverse("studio:package", args=[row.pk]), {"record": "retire"})
        assert technician.get(url).status_code == 404
        foreign = as_member(people.technician())
        assert foreign.get(url).status_code == 404

    def test_the_bay_is_measured_once_and_one_product_may_differ(self, car, studio):
        vehicle, _bonnet, _roof = car
        sealant, glass = (
            ProductFactory(studio=studio, kind="sealant"),
            ProductFactory(studio=studio, kind="windscreen_wipe_on"),
        )
        screen = SurfaceFactory(vehicle=vehicle, code="windscreen", substrate="glass")
        items = [
            ItemEntry(sealant.pk, 1, "codes", ("bonnet", "roof")),
            ItemEntry(glass.pk, 1, "codes", ("windscreen",)),
        ]
        by = {"actor": "member:1", "at": timezone.now()}
        row = save_package(studio=studio, name="Short", note="", items=items, **by)
        technician, url = (
            as_member(people.technician(studio)),
            reverse("studio:apply_package", args=[vehicle.pk, row.pk]),
        )
        first, second = row.items.all()
        data = {
            "applied": today().isoformat(), "air_c": "19", "surface_c": "18", "rh_pct": "55",
            f"item-{first.pk}-coats": "1", f"item-{second.pk}-coats": "1", f"item-{second.pk}-surface_c": "21",
        }  # fmt: skip
        wrong = technician.post(url, data | {"air_c": "warm"}).content.decode()
        assert "Enter a number" in wrong
        assert 'value="21"' in wrong
        assert re.search(r"<details class=\"how\" open>", wrong)
        assert read_and_send(technician, url, data).status_code == 302
        stored = Layer.objects.filter(surface__vehicle=vehicle, applied=today()).values_list(
            "surface__code", "air_c", "surface_c", "rh_pct"
        )
        assert sorted(stored) == [("bonnet", 19, 18, 55), ("roof", 19, 18, 55), (screen.code, 19, 21, 55)]


class TestTheDataSheet:
    def test_its_windows_are_kept_and_warn_of_what_it_contains(self, car, studio, owner):
        vehicle, _bonnet, _roof = car
        product = ProductFactory(studio=studio)
        url = reverse("studio:product_windows", args=[product.pk])
        page = text(owner.get(url))
        assert "10 to 30 °C (common practice)" in page
        wrong = owner.post(url, {"air_low_c": "20", "air_high_c": "12", "full_days": "9"}).content.decode()
        assert "12 is less than the low end, 20" in wrong
        assert 'value="9.0"' in wrong or 'value="9"' in wrong
        owner.post(url, {"air_low_c": "8", "isocyanates": "on", "allowed_over": ["film_body"]})
        product = Product.objects.get()
        assert (product.air_low_c, product.allowed_over, product.isocyanates) == (8, ["film_body"], True)
        said = text(owner.get(reverse("studio:record_layer", args=[vehicle.pk])))
        assert "Contains isocyanates: sprayed only by trained people" in said


class TestRecall:
    def test_the_page_and_a_file_that_no_spreadsheet_computes(self, car, studio, owner):
        vehicle, _bonnet, _roof = car
        panel = SurfaceFactory(vehicle=vehicle, code="=cmd|' /C calc'!A0")
        LayerFactory(surface=panel, batch="L-42")
        url = reverse("studio:recall")
        assert "1 live layer on 1 vehicle" in text(owner.get(url, {"batch": "l-42"}))
        assert "No live layer came out" in text(owner.get(url, {"batch": "none"}))
        answer = owner.get(url, {"batch": "L-42", "format": "csv"})
        assert answer["Content-Type"].startswith("text/csv")
        rows = list(csv.DictReader(io.StringIO(answer.content.decode("utf-8-sig"))))
        assert (rows[0]["plate"], rows[0]["state"], rows[0]["batch"]) == ("TST 777", "live", "L-42")
        assert rows[0]["surface"].startswith("'=")
        keeper = vehicle.keepers.get().customer
        assert rows[0]["email"] == keeper.email != ""
        technician = as_member(people.technician(studio))
        assert url in technician.get(reverse("studio:vehicles")).content.decode()
        for one, sees in ((technician, False), (as_member(people.desk(studio)), True), (owner, True)):
            for data in ({"batch": "L-42"}, {"batch": "L-42", "format": "csv"}):
                page = one.get(url, data).content.decode()
                assert "TST 777" in page
                assert (keeper.email in page) is sees, "how keepers are reached is for those who see customers"
