"""The intake page: plain forms do everything, keys make each count once, places are said in words."""

from __future__ import annotations

import re
from uuid import uuid4

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.urls import reverse

from lifecycle.care.surface_presets import BODIES, presets_of
from lifecycle.models import CareEvent, Finding, Inspection, Photo
from portal.drawings import finding_marks, places
from portal.drawings.places import Spot
from tests import people
from tests.factories import SurfaceFactory, VehicleFactory
from tests.pictures import picture
from tests.portal.doors import as_member
from tests.portal.studio_world import text

pytestmark = pytest.mark.django_db
JSON = {"Accept": "application/json"}


@pytest.fixture
def at_the_car(car, studio):
    """A technician's browser, the vehicle's page, and its surfaces."""
    vehicle, bonnet, roof = car
    return as_member(people.technician(studio)), reverse("studio:intake", args=[vehicle.pk]), bonnet, roof


def hidden(page: str, form: str) -> dict[str, str]:
    """The hidden fields of the first form of a step, as a browser without script would send them."""
    part = re.search(rf'<form[^>]*data-step="{form}".*?</form>', page, re.S)[0]
    names = re.findall(r'<input type="hidden" name="([^"]+)"(?: value="([^"]*)")?', part)
    return {name: value for name, value in names if name != "csrfmiddlewaretoken"}


def sent(browser, url, form, **fields):
    return browser.post(url, hidden(browser.get(url).content.decode(), form) | fields, follow=True)


def opened(browser, url) -> str:
    sent(browser, url, "open")
    return str(Inspection.objects.latest("pk").key)


def test_a_whole_intake_by_plain_forms(at_the_car, car):
    browser, url, bonnet, _roof = at_the_car
    assert f'href="{url}"' in browser.get(reverse("studio:vehicle", args=[car[0].pk])).content.decode()
    page = sent(browser, url, "open")
    assert "open, 0 findings" in text(page)
    page = sent(browser, url, "finding", surface=bonnet.pk, place="lying:front left", kind="chip", severity="3",
                size_mm="2.5", pre_existing="on", note="by the badge")  # fmt: skip
    said = text(page)
    assert "1. Stone chip , bonnet, front left. Severity 3 of 5, 2.5 mm. Pre-existing. by the badge" in said
    page = sent(browser, url, "finding", kind="gap_fit", severity="1")
    assert "2. Gap or fit , the whole vehicle" in text(page)
    assert "Not there before our work." in text(page)
    page = sent(browser, url, "finish", rough_low="300", rough_high="450", note="smells of smoke")
    assert "finished, 2 findings; rough price 300 to 450 EUR." in text(page)
    sent(browser, url, "cleaning", washed="on", decontaminated="on")
    assert sorted(CareEvent.objects.values_list("kind", flat=True)) == ["decontamination", "wash"]
    pre_detail = re.search(r'name="kind" value="pre_detail"><input type="hidden" name="key" value="([^"]+)"',
                           browser.get(url).content.decode())[1]  # fmt: skip
    page = browser.post(
        url, {"what": "open", "kind": "pre_detail", "key": pre_detail, "light": "inspection lamp"}, follow=True
    )
    assert "inspection lamp, open, 0 findings" in text(page)
    assert Inspection.objects.get(open=True).clean_state == "decontaminated"


def test_replays_by_key_make_one_row_each(at_the_car):
    browser, url, bonnet, _roof = at_the_car
    keys = {name: str(uuid4()) for name in ("open", "finding", "photo", "cleaning", "finish")}

    def send():
        photo = SimpleUploadedFile("a.jpg", picture(), content_type="image/jpeg")
        place = {"x": "0.25", "y": "0.5", "on_outline": "False", "surface": bonnet.pk}
        rows = (
            {"what": "open", "kind": "walk_around"},
            {"what": "finding", "kind": "chip", "severity": "2", "inspection": keys["open"], **place},
            {"what": "photo", "inspection": keys["open"], "finding": keys["finding"], "photo": photo},
            {"what": "cleaning", "washed": "on"},
            {"what": "finish", "inspection": keys["open"], "note": "n"},
        )
        for row in rows:
            answer = browser.post(url, {**row, "key": keys[row["what"]]}, headers=JSON)
            assert (answer.status_code, answer.json()) == (200, {"kept": keys[row["what"]]})

    send()
    send()
    assert [model.objects.count() for model in (Inspection, Finding, Photo, CareEvent)] == [1, 1, 1, 1]
    assert (Finding.objects.get().x, Photo.objects.get().finding) == (0.25, Finding.objects.get())


def test_what_is_refused_is_said_by_field_and_loses_nothing_else(at_the_car):
    browser, url, _bonnet, _roof = at_the_car
    inspection, key = opened(browser, url), str(uuid4())
    finding = {"what": "finding", "inspection": inspection, "key": key, "kind": "chip", "severity": "2"}
    answer = browser.post(url, finding | {"size_mm": "-3", "note": "KEEP"}, headers=JSON)
    assert answer.status_code == 422
    assert list(answer.json()["errors"]) == ["size_mm"]
    page = browser.post(url, finding | {"kind": "", "note": "KEEP"}).content.decode()
    assert "Say what it is" in page
    assert 'value="KEEP"' in page
    assert browser.post(url, finding, headers=JSON).status_code == 200
    bad = SimpleUploadedFile("a.jpg", b"not a picture", content_type="image/jpeg")
    photo = {"what": "photo", "inspection": inspection, "finding": key, "key": str(uuid4())}
    refused = browser.post(url, photo | {"photo": bad}, headers=JSON)
    assert (refused.status_code, list(refused.json()["errors"])) == (422, ["photo"])
    for unknown in ({"inspection": str(uuid4())}, {"finding": str(uuid4())}):
        good = SimpleUploadedFile("a.jpg", picture(), content_type="image/jpeg")
        answer = browser.post(url, photo | unknown | {"photo": good}, headers=JSON)
        assert (answer.status_code, "has to arrive first" in str(answer.json())) == (422, True)
    assert browser.post(url, {"what": "nothing"}, headers=JSON).status_code == 422
    assert browser.post(url, {"what": "nothing"}).status_code == 400
    # By plain form: the finding is kept, the good photo too, the bad one is named.
    files = [SimpleUploadedFile("good.jpg", picture()), SimpleUploadedFile("bad.jpg", b"<html>")]
    page = browser.post(url, finding | {"key": str(uuid4()), "photos": files}, follow=True)
    assert "bad.jpg:" in text(page)
    assert (Finding.objects.count(), Photo.objects.count()) == (2, 1)


def test_a_finding_is_said_anew_or_taken_out(at_the_car):
    browser, url, bonnet, roof = at_the_car
    inspection = opened(browser, url)
    browser.post(url, {"what": "finding", "inspection": inspection, "key": uuid4(), "kind": "chip", "severity": 2,
                       "surface": bonnet.pk, "x": 0.2, "y": 0.5})  # fmt: skip
    finding = Finding.objects.get()
    change = f"{url}finding/{finding.pk}/"
    said = {"kind": "scratch", "severity": 5, "x": 0.2, "y": 0.5, "on_outline": "False", "key": uuid4()}
    browser.post(change, said | {"surface": bonnet.pk})
    finding.refresh_from_db()
    assert (finding.kind, finding.x) == ("scratch", 0.2)
    browser.post(change, said | {"surface": roof.pk})
    finding.refresh_from_db()
    assert (finding.surface_id, finding.x) == (roof.pk, None)  # the point was on the bonnet
    browser.post(change, {"remove": "1"})
    assert not Finding.objects.exists()
    assert browser.get(change).status_code == 404


def test_places_in_words_must_fit_the_surface(at_the_car, car):
    browser, url, bonnet, _roof = at_the_car
    wheels = SurfaceFactory(vehicle=car[0], code="wheels", orientation="wheel", substrate="aluminium")
    finding = {"what": "finding", "inspection": opened(browser, url), "key": str(uuid4()), "kind": "scuff",
               "severity": "2"}  # fmt: skip
    for fields, name in (
        ({"surface": bonnet.pk, "place": "flank:upper front"}, "place"),
        ({"place": "lying:front left"}, "surface"),
        ({"surface": wheels.pk, "place": "flank:lower rear"}, "piece"),
    ):
        assert list(browser.post(url, finding | fields, headers=JSON).json()["errors"]) == [name]
    fields = {"surface": wheels.pk, "place": "flank:lower rear", "piece": "rear left wheel"}
    assert browser.post(url, finding | fields, headers=JSON).status_code == 200
    assert "wheels, rear left wheel, lower rear" in text(browser.get(url))


@pytest.mark.parametrize("body", BODIES)
def test_every_ninth_of_every_surface_comes_back_in_its_own_words(body):
    for number, preset in enumerate(presets_of(body), start=1):
        spot = Spot(number, preset.code, preset.code, preset.orientation, preset.substrate)
        manner, pieces = places.manner_of(preset.orientation), places.pieces_of(preset.code, body)
        groups = dict(places.choices())
        for value, words in groups[places.GROUP_WORDS[manner]]:
            for index, piece in enumerate(pieces):
                x, y = places.point_of(value, manner, piece=index, count=len(pieces))
                back = places.words_of(spot, body, on_outline=True, x=x, y=y)
                assert back == (f"{piece.label}, {words}" if len(pieces) > 1 else words), (body, preset.code)
        assert "<path" in finding_marks.draw_outline(spot, [], body=body, key="o")


def test_a_point_of_the_plan_is_said_as_it_lies_on_the_vehicle():
    """The plan has the nose to the left and the right-hand side above; flanks are folded out."""

    def words(code, orientation, x, y):
        spot = Spot(1, code, code, orientation, "steel")
        return places.words_of(spot, "saloon", on_outline=False, x=x / 340, y=y / 172)

    assert words("bonnet", "flat", 35, 115) == "front left"
    assert words("bonnet", "flat", 95, 60) == "rear right"
    assert words("front_wings", "side", 120, 143) == "left front wing, lower rear"
    assert words("wheels", "wheel", 268, 17) == "rear right wheel, centre"
    assert words("windscreen", "screen", 108, 118) == "lower left"
    assert words("rear_glass", "rear", 262, 60) == "lower right"
    assert words("trim", "side", 100, 100) == ""


def test_marks_stand_where_they_were_placed():
    spot = Spot(7, "bonnet", "bonnet", "flat", "steel")
    marks = [finding_marks.Mark(1, "chip", 7, False, 0.5, 0.5), finding_marks.Mark(2, "refinish", 7, True, 0.1, 0.9)]
    plan = finding_marks.draw_plan([spot], marks, body="saloon", key="p", title="<b>")
    assert 'data-surface="7"' in plan
    assert "translate(170 86)" in plan
    assert ">2</text>" not in plan
    assert "&lt;b&gt;" in plan
    outline = finding_marks.draw_outline(spot, marks, body="saloon", key="o")
    assert "translate(30 162)" in outline
    assert ">1</text>" not in outline
    assert {finding_marks.family_of(kind) for kind in ("chip", "swirls", "fading", "touch_up", "gap_fit")} == set(
        finding_marks.SHAPES
    )


def test_cautions_stand_beside_the_steps_that_they_belong_to(site, studio):
    """Common practice, no source: the text names what outranks it."""
    browser = as_member(people.technician(studio))

    def steps(powertrain: str) -> list[str]:
        vehicle = VehicleFactory(site=site, powertrain=powertrain)
        page = browser.get(reverse("studio:intake", args=[vehicle.pk])).content.decode()
        # The usual line stands open above the steps, once: what is said three times is read by nobody.
        above, _, _ = page.partition('<ol class="steps">')
        assert page.count("safety data sheet first") == above.count("safety data sheet first") == 1
        assert ("Orange cables" in above) is (powertrain == "electric")
        return re.findall(r"<h2>(?:Walk|Wash|Inspection).*?</li>\s*(?=<li>\s*<h2>|</ol>)", page, re.S)

    walk, cleaning, light = steps("electric")
    assert all("Orange cables" in step for step in (walk, cleaning, light))
    assert "hot brakes burn" in walk
    assert "approved drain" in cleaning
    assert "UV lamps only with eyes and skin covered" in light
    opened = [re.findall(r"<strong>(.*?)</strong>", step)[0] for step in (walk, cleaning, light)]
    assert ["hot brakes burn" in opened[0], "hydrofluoric" in opened[1], "hot brakes burn" in opened[2]] == [True] * 3
    assert not any("Orange cables" in step for step in steps("combustion"))


def test_nothing_of_another_studio(at_the_car):
    browser, url, _bonnet, _roof = at_the_car
    key = opened(browser, url)
    stranger = as_member(people.technician())
    own = VehicleFactory(site__studio=people.technician().studio)
    finding = {"what": "finding", "inspection": key, "key": uuid4(), "kind": "chip", "severity": 2}
    assert stranger.get(url).status_code == 404
    assert stranger.post(url, finding, headers=JSON).status_code == 404
    member = people.technician(own.studio)
    answer = as_member(member).post(reverse("studio:intake", args=[own.pk]), finding, headers=JSON)
    assert answer.status_code == 422
    assert not Finding.objects.exists()


def test_a_session_that_has_ended_is_told_apart_from_a_lost_link(at_the_car, client):
    _browser, url, _bonnet, _roof = at_the_car
    assert client.post(url, headers={"HX-Request": "true"}).status_code == 401


def test_the_worker_is_served_from_the_intakes_own_folder(at_the_car):
    browser, url, _bonnet, _roof = at_the_car
    answer = browser.get(reverse("studio:intake_worker"))
    assert answer["Content-Type"].startswith("text/javascript")
    assert reverse("studio:intake_worker").rpartition("/")[0] == url.rstrip("/").rpartition("/")[0]
    assert "worker-src 'self'" in answer["Content-Security-Policy"]
