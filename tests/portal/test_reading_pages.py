"""The readings pages: what is typed is checked, kept and shown back; a gauge's text goes into the sheet first."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from lifecycle.models import Gauge, Inspection, Reading, ReadingDoubt
from tests import people
from tests.factories import GaugeFactory, SurfaceFactory, VehicleFactory
from tests.portal.doors import as_member
from tests.portal.studio_world import text, today

pytestmark = pytest.mark.django_db


@pytest.fixture
def technician(studio):
    return as_member(people.technician(studio))


@pytest.fixture
def gauge(studio):
    return GaugeFactory(studio=studio, name="Steel probe", sd_um=0.8, checked_on=today() - timedelta(days=20))


def sheet(vehicle, gauge, films, *, unit="um", **more):
    """What the sheet sends. `films`: surface -> texts of its spots."""
    fields = {
        f"f-{surface.pk}-{spot}": typed for surface, spots in films.items() for spot, typed in enumerate(spots, 1)
    }
    return {"on": today().isoformat(), "clean_state": "washed", "unit": unit, "spots": "5", "inspection": "",
            "gauge": gauge.pk if gauge else "method:magnetic", **fields, **more}  # fmt: skip


def address(name, vehicle):
    return reverse(f"studio:{name}", args=[vehicle.pk])


def test_a_sheet_is_recorded_with_its_gauge_and_the_vehicle_page_tells(car, technician, gauge):
    vehicle, bonnet, roof = car
    films = {bonnet: ["112 113 112", "114", "113,5", "115", "112"], roof: ["108"] * 5}
    more = {f"g-{bonnet.pk}": "88", f"a-{roof.pk}": "101", f"d-{roof.pk}": "5", f"b-{bonnet.pk}": "4"}
    answer = technician.post(address("readings", vehicle), sheet(vehicle, gauge, films, **more), follow=True)
    assert answer.redirect_chain[-1][0] == reverse("studio:vehicle", args=[vehicle.pk])
    page = text(answer)
    assert "15 readings recorded" in page
    assert "Steel probe magnetic, ± 0.8 µm; checked" in page
    assert "113.4" in page  # the mean of the spots 112.33, 114, 113.5, 115, 112
    first = Reading.objects.order_by("id").first()
    assert (first.gauge, first.gauge_sd_um, first.gauge_checked_on, first.spot, first.typed) == (
        gauge, 0.8, gauge.checked_on, 1, "112",
    )  # fmt: skip
    assert {(r.kind, r.value, r.drops) for r in Reading.objects.exclude(kind="thickness_um")} == {
        ("gloss_gu", 88.0, 1), ("contact_angle_deg", 101.0, 5), ("beading_score", 4.0, 1),
    }  # fmt: skip


def test_what_looks_wrong_is_said_beside_its_panel_and_kept_if_recorded_anyway(car, technician, gauge):
    vehicle, bonnet, _roof = car
    data = sheet(vehicle, gauge, {bonnet: ["112", "113", "66", "112", "113"]})
    url = address("readings", vehicle)
    page = technician.post(url, data).content.decode()
    assert Inspection.objects.count() == 0
    beside = re.search(rf'id="w-{bonnet.pk}"[^>]*>(.*?)</div>', page, re.S)[1]
    assert "nothing more is taken off below 70 µm" in beside
    assert 'value="66"' in page
    seen = re.findall(r'name="seen" value="([^"]+)"', page)
    answer = technician.post(url, {**data, "seen": seen}, follow=True)
    assert "Recorded in spite of: The thinnest spot reads 66 µm" in text(answer)
    assert ReadingDoubt.objects.get().surface == bonnet


def test_while_typing_the_same_rules_answer_and_nothing_is_recorded(car, technician, gauge):
    vehicle, bonnet, roof = car
    bumper = SurfaceFactory(vehicle=vehicle, code="front_bumper", substrate="plastic")
    data = sheet(vehicle, gauge, {bonnet: ["4.5"], roof: ["12x"], bumper: ["110"]})
    answer = technician.post(address("check_readings", vehicle), data)
    pieces = dict(re.findall(r'<div hx-swap-oob="innerHTML:#([\w-]+)">(.*?)</div>', answer.content.decode(), re.S))
    assert "Did you mean mil?" in pieces[f"w-{bonnet.pk}"]
    assert "“12x” is not a number" in pieces[f"e-{roof.pk}"]
    assert "does not read paint on plastic" in pieces[f"w-{bumper.pk}"]
    assert pieces["anyway"].count('name="seen"') == 2
    assert Inspection.objects.count() == 0
    assert technician.get(address("check_readings", vehicle)).status_code == 405
    other = VehicleFactory()
    assert technician.post(address("check_readings", other), data).status_code == 404


def test_mil_is_remembered_and_a_gauge_without_a_fresh_check_is_said(car, technician, studio):
    """A check older than twelve months: common practice, no source."""
    vehicle, bonnet, _roof = car
    old = GaugeFactory(studio=studio, name="Old probe", checked_on=today() - timedelta(days=500))
    url = address("readings", vehicle)
    answer = technician.post(url, sheet(vehicle, old, {bonnet: ["4.5"] * 5}, unit="mil"), follow=True)
    assert "4.50 mil" in text(answer)
    assert Reading.objects.first().value == pytest.approx(114.3)  # 1 mil = 25.4 µm exactly
    page = technician.get(url).content.decode()
    assert '<option value="mil" selected>' in page
    assert "Old probe: last checked on" in page
    never = GaugeFactory(studio=studio, name="New probe", checked_on=None)
    checked = technician.post(address("check_readings", vehicle), sheet(vehicle, never, {}))
    assert "no check of this gauge is on record" in text(checked)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"f": "112; 1,234"}, "may be two values or one"),
        ({"f": "-5"}, "zero the gauge"),
        ({"f": "9999"}, "is not between 0 and 5000 µm"),
        ({"f": "<script>alert(1)</script>"}, "is not a number"),
        ({"on": "2199-01-01"}, "lies in the future"),
        ({"gauge": "999999"}, "Select a valid choice"),
        ({"f": ""}, "Nothing was typed yet"),
        ({"a": "101", "d": "2.5"}, "no whole number of drops"),
        ({"d": "5"}, "give both or empty both"),
        ({"d": "few"}, "is not a number"),
    ],
)
def test_errors_say_what_and_keep_what_was_typed(car, technician, gauge, change, says):
    vehicle, bonnet, _roof = car
    data = sheet(vehicle, gauge, {bonnet: [change.get("f", "112")]}, note="KEEP-ME") | change
    data |= {f"{field}-{bonnet.pk}": change[field] for field in ("a", "d") if field in change}
    answer = technician.post(address("readings", vehicle), data)
    page = answer.content.decode()
    assert says in page
    assert "KEEP-ME" in page
    assert "<script>alert" not in page
    assert Inspection.objects.count() == 0
    assert ('<details class="how water" open>' in page) is bool({"a", "d"} & set(change)), "an error is not folded away"


def test_a_gauge_that_reads_nothing_there_is_refused_beside_the_panel(car, technician, gauge):
    vehicle, _bonnet, _roof = car
    bumper = SurfaceFactory(vehicle=vehicle, code="front_bumper", substrate="plastic")
    data = sheet(vehicle, gauge, {bumper: ["110"] * 5})
    url = address("readings", vehicle)
    seen = re.findall(r'name="seen" value="([^"]+)"', technician.post(url, data).content.decode())
    page = technician.post(url, {**data, "seen": seen}).content.decode()
    assert "a magnetic gauge reads nothing on plastic; read it with ultrasound" in page
    assert Reading.objects.count() == 0


def test_more_spots_lose_nothing(car, technician, gauge):
    vehicle, bonnet, _roof = car
    data = sheet(vehicle, gauge, {bonnet: ["112", "113"]}, more_spots="1")
    page = technician.post(address("readings", vehicle), data).content.decode()
    assert f'name="f-{bonnet.pk}-10"' in page
    assert 'value="113"' in page


class TestPaste:
    def test_a_text_is_shown_first_then_goes_into_the_sheet_and_is_recorded_there(self, car, technician, gauge):
        vehicle, bonnet, roof = car
        url = address("paste_readings", vehicle)
        pasted = "Panel;Spot;Thickness µm\nBonnet;1;112,5\nBonnet;1;113\nBonnet;2;x\nthe lid;1;108\n"
        look = technician.post(url, {"text": pasted, "unit": "um", "look": "1"})
        page = text(look)
        assert "3 values; columns parted by semicolon" in page
        assert "Line 4, Thickness µm, x : is not a number; write it like 112 or 4.5." in page
        assert Inspection.objects.count() == 0
        refused = technician.post(url, {"text": pasted, "unit": "um", "take": "1"})
        assert "Say which surface the lid is." in text(refused)
        taken = technician.post(url, {"text": pasted, "unit": "um", "take": "1", "panel-1": roof.pk})
        page = taken.content.decode()
        assert re.search(rf'name="f-{bonnet.pk}-1"[^>]*value="112,5 113"', page)
        assert re.search(rf'name="f-{roof.pk}-1"[^>]*value="108"', page)
        assert f'action="{address("readings", vehicle)}"' in page
        assert Inspection.objects.count() == 0

    def test_mil_goes_in_as_typed_and_mixed_units_as_um(self, car, technician):
        vehicle, bonnet, _roof = car
        url = address("paste_readings", vehicle)
        page = technician.post(
            url, {"text": "Bonnet;4,5 mil\nBonnet;4,6 mil", "unit": "um", "take": "1"}
        ).content.decode()
        assert re.search(rf'name="f-{bonnet.pk}-2"[^>]*value="4,6"', page)
        assert '<option value="mil" selected>' in page
        page = technician.post(
            url, {"text": "Bonnet;4,5 mil\nBonnet;110 µm", "unit": "um", "take": "1"}
        ).content.decode()
        assert re.search(rf'name="f-{bonnet.pk}-1"[^>]*value="114.3"', page)

    @pytest.mark.parametrize(
        ("content", "says"),
        [
            ("Panel;Value\nBonnet;112,5\n".encode("utf-8-sig"), "1 value;"),
            ("Panel;Value µm\nMotorhaube grün;112\n".encode("latin-1"), "1 value;"),
            ("Panel\tValue\nBonnet\t112\n".encode("utf-16"), "1 value;"),
            (b"PK\x03\x04\x00\x00\x01", "no text"),
            (b"\x89PNG\r\n\x1a\n\x00\x00", "no text"),
            (b"1;" * 900_000, "larger than"),
            (b"", "empty"),
        ],
    )
    def test_files(self, car, technician, content, says):
        vehicle, _bonnet, _roof = car
        file = SimpleUploadedFile("gauge.csv", content)
        answer = technician.post(address("paste_readings", vehicle), {"file": file, "text": "", "unit": "um"})
        assert says in text(answer)
        assert answer.status_code == 200

    def test_hostile_text_is_quoted_never_markup(self, car, technician):
        vehicle, _bonnet, _roof = car
        pasted = '<img src=x onerror=alert(1)>;1;112\n"><script>alert(2)</script>;2;<b>\n=cmd|calc;3;113'
        page = technician.post(address("paste_readings", vehicle), {"text": pasted, "unit": "um"}).content.decode()
        assert "<img src=x" not in page
        assert "<script>alert" not in page
        assert "&lt;img src=x" in page


def test_gauges_are_kept_by_owner_and_technician(technician, studio):
    new = {"name": "Layer probe", "method": "ultrasonic", "sd_um": "1.5", "checked_on": today().isoformat()}
    assert "is on record" in text(technician.post(reverse("studio:new_gauge"), new, follow=True))
    gauge = Gauge.objects.get()
    url = reverse("studio:gauge", args=[gauge.pk])
    wrong = technician.post(url, {**new, "sd_um": ""})
    assert "give the standard uncertainty" in text(wrong).lower()
    answer = technician.post(url, {"retire": "1", "retire-on": today().isoformat()}, follow=True)
    assert "out of use since" in text(answer)
    assert "is in use again" in text(technician.post(url, {"back": "1"}, follow=True))
    assert as_member(people.desk(studio)).get(url).status_code == 403


def test_the_beading_scale_is_told_in_words_and_drawn_from_the_angles(car, technician):
    vehicle, _bonnet, _roof = car
    page = technician.get(address("readings", vehicle)).content.decode()
    one = re.search(r'<fieldset class="beading".*?</fieldset>', page, re.S)[0]
    assert one.count('type="radio"') == 7
    for words in ("a sheet; no beads. Below 70°", "half a ball. 90–98°", "small foot. Above 105°"):
        assert words in one
    # The wetted foot of the largest drop shrinks as the angle grows: the drop stands up.
    pictures = re.findall(r"<svg.*?</svg>", one, re.S)
    heights = []
    for picture in pictures:
        arcs = re.findall(r"A([\d.]+) [\d.]+ 0 (\d) 1", picture)
        assert len(arcs) == (1 if picture is pictures[0] else 3)
        heights.append(max(float(radius) for radius, _ in arcs))
    assert len(pictures) == 6
    assert heights[1:] == sorted(heights[1:], reverse=True)
