"""The technician's record forms: what they keep, what they refuse and how they say it."""

from __future__ import annotations

import pytest
from django.urls import reverse

from lifecycle.models import CareEvent, Inspection, Layer, Visit
from tests.factories import ProductFactory, SurfaceFactory, VehicleFactory
from tests.portal.studio_world import due, read_and_send, text, today

pytestmark = pytest.mark.django_db


class TestRecording:
    def test_a_layer_on_two_surfaces_with_the_kind_of_its_product(self, studio, car, owner):
        vehicle, bonnet, roof = car
        product = ProductFactory(studio=studio, kind="wax", caution="Keep from flames.")
        url = reverse("studio:record_layer", args=[vehicle.pk])
        assert "Keep from flames." in text(owner.get(url))
        answer = read_and_send(
            owner,
            url,
            {"surfaces": [bonnet.pk, roof.pk], "product": product.pk, "kind": "", "coats": "1", "batch": "B-7",
             "applied": today().isoformat(), "applicator": ""},
            follow=True,
        )  # fmt: skip
        assert "Layer recorded on 2 surfaces" in text(answer)
        assert answer.redirect_chain[-1][0] == reverse("studio:vehicle", args=[vehicle.pk])
        assert Layer.objects.filter(kind="wax", batch="B-7", ended=None).count() == 2
        assert "Assessed for" in text(answer)

    def test_one_refused_surface_refuses_all(self, car, owner):
        vehicle, bonnet, roof = car  # the bonnet has a newer ceramic layer than the day given
        data = {"surfaces": [roof.pk, bonnet.pk], "kind": "ceramic_mid", "coats": "2", "applied": "2020-05-05"}
        answer = owner.post(reverse("studio:record_layer", args=[vehicle.pk]), data)
        page = answer.content.decode()
        assert "is already on record for this surface" in page
        assert 'value="2020-05-05"' in page
        assert page.count(" checked>") == 2
        assert Layer.objects.count() == 1

    @pytest.mark.parametrize(
        ("change", "says"),
        [
            ({"applied": "2199-01-01"}, "lies in the future"),
            ({"surfaces": []}, "Tick the surface"),
            ({"kind": ""}, "Choose a product, or say which kind"),
            ({"coats": "40"}, "less than or equal to 12"),
            ({"applied": "yesterday"}, "Enter a valid date"),
        ],
    )
    def test_errors_say_what_and_keep_what_was_typed(self, change, says, car, owner):
        vehicle, bonnet, _roof = car
        data = {
            "surfaces": [bonnet.pk],
            "kind": "wax",
            "coats": "1",
            "applied": today().isoformat(),
            "batch": "KEEP-ME",
        }
        answer = owner.post(reverse("studio:record_layer", args=[vehicle.pk]), data | change)
        page = answer.content.decode()
        assert answer.status_code == 200
        assert says in page
        assert 'value="KEEP-ME"' in page
        assert 'aria-invalid="true"' in page
        assert Layer.objects.count() == 1

    def test_an_event(self, car, owner):
        vehicle, bonnet, _roof = car
        data = {"kind": "bird_dropping", "on": today().isoformat(), "surface": bonnet.pk, "by": "customer",
                "dwell_h": "30", "air_c": "24.5", "note": "seen on Monday"}  # fmt: skip
        answer = owner.post(reverse("studio:record_event", args=[vehicle.pk]), data, follow=True)
        assert "Bird dropping recorded" in text(answer)
        event = CareEvent.objects.get()
        assert (event.kind, event.dwell_h, event.air_c, event.by) == ("bird_dropping", 30.0, 24.5, "customer")

    def test_an_event_that_needs_a_surface_says_so_at_the_field(self, car, owner):
        vehicle, _bonnet, _roof = car
        data = {"kind": "repaint", "on": today().isoformat(), "by": "studio", "note": "KEEP-ME"}
        page = owner.post(reverse("studio:record_event", args=[vehicle.pk]), data).content.decode()
        assert "Say which surface the repaint was on" in page
        assert 'id="id_surface_error"' in page
        assert 'value="KEEP-ME"' in page

    def test_an_electric_vehicle_warns_of_orange_cables(self, site, owner):
        vehicle = VehicleFactory(site=site, powertrain="electric")
        for name in ("record_event", "record_layer"):
            assert "Orange cables" in text(owner.get(reverse(f"studio:{name}", args=[vehicle.pk])))
        other = VehicleFactory(site=site)
        assert "Orange cables" not in text(owner.get(reverse("studio:record_event", args=[other.pk])))


def inspection_data(rows: list[dict], findings: list[dict] | None = None, **fields) -> dict:
    findings = findings or []
    data = {"on": today().isoformat(), "clean_state": "decontaminated", "note": "", **fields}
    for prefix, lines in (("reading", rows), ("finding", findings)):
        data |= {f"{prefix}-TOTAL_FORMS": len(lines), f"{prefix}-INITIAL_FORMS": 0}
        for number, line in enumerate(lines):
            data |= {f"{prefix}-{number}-{name}": value for name, value in line.items()}
    return data


class TestInspection:
    def test_several_readings_at_once(self, car, owner):
        vehicle, bonnet, roof = car
        data = inspection_data(
            [
                {"surface": bonnet.pk, "kind": "beading_score", "value": "3"},
                {"surface": bonnet.pk, "kind": "thickness_um", "value": "112 115,5 109;118 110", "method": "magnetic"},
                {"surface": "", "kind": "beading_score", "value": ""},
                {"surface": roof.pk, "kind": "contact_angle_deg", "value": "84"},
            ],
            [{"kind": "swirls", "surface": roof.pk, "severity": "2", "pre_existing": "on", "note": "light"}],
        )
        answer = owner.post(reverse("studio:record_inspection", args=[vehicle.pk]), data, follow=True)
        assert "Inspection recorded" in text(answer)
        seen = Inspection.objects.get()
        values = list(seen.readings.filter(kind="thickness_um").values_list("value", flat=True))
        assert values == [112.0, 115.5, 109.0, 118.0, 110.0]
        assert seen.readings.count() == 7
        assert seen.findings.get().kind == "swirls"
        assert seen.member is not None

    @pytest.mark.parametrize(
        ("row", "says"),
        [
            ({"kind": "beading_score", "value": "9"}, "9 is not between 0 and 5 points."),
            ({"kind": "thickness_um", "value": "112 abc"}, "is not a number"),
            ({"kind": "beading_score", "value": "3 4"}, "for film thickness only"),
            ({"kind": "beading_score", "value": ""}, "Give the value"),
        ],
    )
    def test_a_wrong_line_is_named_and_the_others_are_kept(self, row, says, car, owner):
        vehicle, bonnet, roof = car
        data = inspection_data(
            [{"surface": bonnet.pk, **row}, {"surface": roof.pk, "kind": "gloss_gu", "value": "87.25"}], note="KEEP-ME"
        )
        page = owner.post(reverse("studio:record_inspection", args=[vehicle.pk]), data).content.decode()
        assert says in page
        assert 'value="87.25"' in page
        assert "KEEP-ME" in page
        assert not Inspection.objects.exists()

    def test_a_value_without_a_surface(self, car, owner):
        vehicle, _bonnet, _roof = car
        data = inspection_data([{"surface": "", "kind": "beading_score", "value": "3"}])
        page = owner.post(reverse("studio:record_inspection", args=[vehicle.pk]), data).content.decode()
        assert "Say which surface was measured." in page

    def test_more_lines_lose_nothing_and_record_nothing(self, car, owner):
        vehicle, bonnet, _roof = car
        data = inspection_data([{"surface": bonnet.pk, "kind": "gloss_gu", "value": "91.5"}], more="3")
        page = owner.post(reverse("studio:record_inspection", args=[vehicle.pk]), data).content.decode()
        assert 'value="91.5"' in page
        assert 'name="reading-3-value"' in page
        assert not Inspection.objects.exists()

    def test_an_empty_inspection_is_refused_in_words(self, car, owner):
        vehicle, _bonnet, _roof = car
        page = text(owner.post(reverse("studio:record_inspection", args=[vehicle.pk]), inspection_data([])))
        assert "Enter at least one reading, finding or note." in page

    def test_a_magnetic_gauge_on_glass_is_refused(self, car, owner):
        vehicle, _bonnet, _roof = car
        pane = SurfaceFactory(vehicle=vehicle, code="windscreen", orientation="screen", substrate="glass")
        data = inspection_data([{"surface": pane.pk, "kind": "thickness_um", "value": "100", "method": "magnetic"}])
        page = text(owner.post(reverse("studio:record_inspection", args=[vehicle.pk]), data))
        assert "a magnetic gauge reads nothing on glass" in page.lower()
        assert not Inspection.objects.exists()

    def test_a_meddled_form_does_not_break_the_server(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:record_inspection", args=[vehicle.pk])
        for meddled in ({}, {"more": "1"}, {"more": "1", "reading-TOTAL_FORMS": "-5"},
                        {"reading-TOTAL_FORMS": "9999999", "reading-INITIAL_FORMS": "0"}):  # fmt: skip
            assert owner.post(url, meddled).status_code == 200
        assert not Inspection.objects.exists()

    @pytest.mark.parametrize(("count", "lines"), [("²", 4), ("9" * 5000, 4), ("0", 3), ("38", 40)])
    def test_a_count_that_is_no_number_or_too_many(self, count, lines, car, owner):
        """U+00B2 is a digit to Unicode but no number to int()."""
        vehicle, _bonnet, _roof = car
        data = inspection_data([], more="1") | {"reading-TOTAL_FORMS": count}
        answer = owner.post(reverse("studio:record_inspection", args=[vehicle.pk]), data)
        assert answer.status_code == 200
        assert f'name="reading-TOTAL_FORMS" value="{lines}"' in answer.content.decode()


class TestAVehicleThatHasLeft:
    """Its page stays to be read; nothing is recorded or booked any more, by a form that was open or by a link."""

    @pytest.mark.parametrize("name", ["record_layer", "record_event", "record_inspection", "book"])
    def test_nothing_is_recorded_and_nothing_booked(self, name, car, site, owner):
        vehicle, bonnet, _roof = car
        due(site, vehicle=vehicle)
        day = today().isoformat()
        data = {
            "record_layer": {"surfaces": [_roof.pk], "kind": "wax", "coats": "1", "applied": day},
            "record_event": {"kind": "wash", "on": day, "by": "studio"},
            "record_inspection": inspection_data([{"surface": bonnet.pk, "kind": "gloss_gu", "value": "91"}]),
            "book": {"on": day, "tasks": ["decontamination_wash"]},
        }[name]
        url = reverse(f"studio:{name}", args=[vehicle.pk])
        assert owner.get(url).status_code == 200
        vehicle.retired_on = today()
        vehicle.save()
        assert owner.get(url).status_code == 404
        assert owner.post(url, data).status_code == 404
        assert (Layer.objects.count(), CareEvent.objects.count(), Inspection.objects.count()) == (1, 0, 0)
        assert not Visit.objects.exists()
        vehicle.retired_on = None
        vehicle.save()
        assert owner.post(url, data).status_code == 302, "what was refused is sound for a vehicle that is here"
