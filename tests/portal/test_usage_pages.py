"""The pages about a vehicle's use: habits, storage, and what was taken off its clear coat."""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.urls import reverse

from lifecycle.models import Correction, Habits, Layer, Storage
from lifecycle.wear import choices
from portal.studio import register_forms, usage_forms
from tests.factories import SiteFactory, SurfaceFactory, VehicleFactory
from tests.portal.studio_world import text, today

pytestmark = pytest.mark.django_db


def day(days: int = 0) -> str:
    return (today() + timedelta(days)).isoformat()


def habits_data(**fields) -> dict:
    data = {"start": day(), "parking": "under_trees", "trees_birds": "3", "km_per_year": "22000", "road_salt": "heavy",
            "wash_method": "bristle_tunnel", "washes_per_year": "12", "wash_ph": "alkaline", "source": "asked",
            "lat": "", "lon": "", "height_m": "", "sea_distance_m": ""}  # fmt: skip
    return data | fields


class TestUse:
    def test_habits_follow_those_before(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:record_habits", args=[vehicle.pk])
        assert 'value="15000"' in owner.get(url).content.decode(), "the form starts from what holds"
        # Asked again every year: common practice, no source.
        old, page = "Told more than 12 months ago", reverse("studio:vehicle", args=[vehicle.pk])
        assert old in text(owner.get(page))
        answer = owner.post(url, habits_data(lat="58.1", lon="6.5", sea_distance_m="300"), follow=True)
        assert old not in text(owner.get(page))
        assert "Assessed for" in text(answer)
        before, now = Habits.objects.filter(vehicle=vehicle).order_by("start")
        assert before.end == now.start == today()
        assert (now.parking, now.km_per_year, now.trees_birds, now.wash_ph) == ("under_trees", 22000.0, 3, "alkaline")
        assert (now.lat, now.lon, now.height_m, now.sea_distance_m) == (58.1, 6.5, None, 300.0)
        assert 'value="58.1"' in owner.get(url).content.decode()

    @pytest.mark.parametrize(
        ("change", "says"),
        [
            ({"lat": "58"}, "A place needs latitude and longitude"),
            ({"sea_distance_m": "5"}, "A place needs latitude and longitude"),
            ({"start": "2199-01-01"}, "lies in the future"),
            ({"start": "2001-01-01"}, "lies before the start of the present habits"),
            ({"km_per_year": "-1"}, "greater than or equal to 0"),
        ],
    )
    def test_habits_that_are_refused(self, change, says, car, owner):
        vehicle, _bonnet, _roof = car
        answer = owner.post(reverse("studio:record_habits", args=[vehicle.pk]), habits_data(**change))
        assert says in text(answer)
        assert '<option value="bristle_tunnel" selected>' in answer.content.decode()
        assert Habits.objects.count() == 1

    def test_nobody_asked_yet_starts_from_usual_use_and_the_sites_salt(self, studio, owner):
        vehicle = VehicleFactory(site=SiteFactory(studio=studio, road_salt="heavy"))
        page = owner.get(reverse("studio:record_habits", args=[vehicle.pk])).content.decode()
        assert '<option value="heavy" selected>' in page
        assert f'value="{vehicle.first_seen.isoformat()}"' in page

    def test_the_forms_speak_of_every_word_of_the_tables(self):
        forms = register_forms, usage_forms
        said = {name: set(getattr(form, name)) for form in forms for name in dir(form) if name.endswith("_WORDS")}
        assert said["PH_WORDS"] == set(choices.WASH_PH)
        assert said["SALT_WORDS"] == set(choices.ROAD_SALT)
        assert said["SOURCE_WORDS"] == set(choices.HABIT_SOURCES)
        assert said["ORIENTATION_WORDS"] == set(choices.ORIENTATIONS)
        assert said["FINISH_WORDS"] == set(choices.FINISHES)
        assert said["COLOUR_WORDS"] == set(choices.COLOURS)
        assert said["PAINT_WORDS"] == set(choices.PAINTS)
        assert said["SIZE_WORDS"] == set(choices.SIZES)
        assert set(usage_forms.PARKING) == set(choices.PARKING)
        assert set(usage_forms.WASHING) == set(choices.WASH_METHODS)

    def test_storage_from_and_to(self, car, owner):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:record_storage", args=[vehicle.pk])
        assert "is not after" in text(owner.post(url, {"start": day(), "end": day()}))
        owner.post(url, {"start": day(-60), "end": day(-30)})
        assert "already on record" in text(owner.post(url, {"start": day(-40), "end": ""}))
        owner.post(url, {"start": day(-10), "end": ""})
        assert "Laid up since" in text(owner.get(url))
        assert "Enter a valid date" in text(owner.post(url, {"end": "not a day"}))
        assert "Stored since" in text(owner.get(reverse("studio:vehicle", args=[vehicle.pk])))
        answer = owner.post(url, {"end": day(5)}, follow=True)
        assert "The storage is on record." in text(answer)
        assert set(Storage.objects.values_list("start", "end")) == {
            (today() - timedelta(60), today() - timedelta(30)),
            (today() - timedelta(10), today() + timedelta(5)),
        }

    def test_a_correction_on_two_surfaces_ends_their_coats(self, car, owner):
        vehicle, bonnet, roof = car
        glass = SurfaceFactory(vehicle=vehicle, code="windscreen", orientation="screen", substrate="glass")
        url = reverse("studio:record_correction", args=[vehicle.pk])
        page = text(owner.get(url))
        assert "eyes and ears covered" in page
        assert "windscreen" not in page
        data = {"surfaces": [bonnet.pk, roof.pk], "on": day(), "stage": "one_step", "passes": "2",
                "removal_low_um": "1.5", "removal_high_um": "2.5"}  # fmt: skip
        assert "Nobody has measured the paint here" in text(owner.post(url, data))
        assert not Correction.objects.exists()
        answer = owner.post(url, data | {"happened_elsewhere": "on"}, follow=True)
        assert "Correction recorded on 2 surfaces." in text(answer)
        assert set(Correction.objects.values_list("surface", "stage", "passes", "removal_low_um")) == {
            (bonnet.pk, "one_step", 2, 1.5),
            (roof.pk, "one_step", 2, 1.5),
        }
        assert Layer.objects.get(surface=bonnet).ended == today()
        assert "Select a valid choice" in text(owner.post(url, data | {"surfaces": [glass.pk]}))

    @pytest.mark.parametrize(
        ("change", "says"),
        [
            ({"removal_low_um": "2"}, "Give the other end of the range"),
            ({"removal_low_um": "3", "removal_high_um": "2"}, "2 µm is less than 3 µm"),
            ({"on": "2199-01-01"}, "lies in the future"),
            ({"surfaces": []}, "Tick the surface"),
        ],
    )
    def test_a_correction_that_is_refused(self, change, says, car, owner):
        vehicle, bonnet, _roof = car
        data = {"surfaces": [bonnet.pk], "on": day(), "stage": "finishing", "passes": "1"}
        assert says in text(owner.post(reverse("studio:record_correction", args=[vehicle.pk]), data | change))
        assert not Correction.objects.exists()
