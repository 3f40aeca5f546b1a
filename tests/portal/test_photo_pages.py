"""The photo page and who is handed a picture: members of the studio, the keeper of now, nobody else."""

from __future__ import annotations

from uuid import uuid4

import pytest
from django.core.exceptions import ImproperlyConfigured
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.test import Client
from django.urls import reverse
from django.utils import timezone

from lifecycle.care.photos import add_photo
from lifecycle.models import Keeper, Photo
from portal.files import files_storage
from tests import people
from tests.factories import SurfaceFactory, VehicleFactory
from tests.pictures import picture
from tests.portal.doors import as_member, as_user
from tests.portal.studio_world import text

pytestmark = pytest.mark.django_db


def upload(name: str, data: bytes) -> SimpleUploadedFile:
    return SimpleUploadedFile(name, data, content_type="image/jpeg")


@pytest.fixture
def photo(car):
    vehicle, bonnet, _roof = car
    return add_photo(
        studio=vehicle.studio, vehicle_id=vehicle.pk, upload=picture(), surface_id=bonnet.pk, caption="a <b>chip",
        actor="member:1", at=timezone.now(),
    )  # fmt: skip


def address(photo, size="full", door="studio"):
    return reverse(f"{door}:photo", args=[photo.uid, size])


def test_one_bad_file_loses_nothing_else(car, owner):
    vehicle, bonnet, _roof = car
    url, batch = reverse("studio:photos", args=[vehicle.pk]), uuid4()

    def sent():
        files = [upload("good.jpg", picture()), upload("<i>page.jpg", b"<html><script>1</script>"),
                 upload("img_7.heic", b"\x00\x00\x00\x18ftypheic" + bytes(40)),
                 upload("also.png", picture("PNG"))]  # fmt: skip
        return owner.post(url, {"photos": files, "surface": bonnet.pk, "caption": "front edge", "batch": batch})

    answer = sent()
    page = text(answer)
    assert answer.status_code == 200
    assert "2 photos are on record" in page
    assert "2 files were not kept; everything else was." in page
    assert "&lt;i&gt;page.jpg : by its content this is a web page" in page
    assert "img_7.heic : this is a HEIC picture" in page
    assert 'value="front edge"' in answer.content.decode(), "what was typed is still there"
    assert {(row.caption, row.surface_id) for row in Photo.objects.all()} == {("front edge", bonnet.pk)}
    sent()
    assert Photo.objects.count() == 2, "sent again by a reload: stored once"
    again = owner.post(url, {"photos": [upload("next.webp", picture("WEBP"))], "batch": uuid4()}, follow=True)
    assert again.redirect_chain == [(url, 302)]
    assert "1 photo is on record" in text(again)


def test_without_a_file_and_with_a_meddled_form(car, owner):
    vehicle, _bonnet, _roof = car
    url = reverse("studio:photos", args=[vehicle.pk])
    foreign = SurfaceFactory()
    assert "Choose at least one photo." in text(owner.post(url, {"batch": uuid4()}))
    for change in ({"surface": foreign.pk, "batch": uuid4()}, {"batch": "none"}, {"record": "remove", "photo": "x"}):
        answer = owner.post(url, {"photos": [upload("a.jpg", picture())], **change})
        assert answer.status_code in (200, 404)
    assert not Photo.objects.exists()


def test_caption_and_removal(car, owner, photo, django_capture_on_commit_callbacks):
    url = reverse("studio:photos", args=[photo.vehicle_id])
    page = owner.get(url).content.decode()
    assert 'alt="a &lt;b&gt;chip"' in page
    assert address(photo, "small") in page
    owner.post(url, {"record": "caption", "photo": photo.pk, "caption": "the chip"})
    assert Photo.objects.get().caption == "the chip"
    refused = owner.post(url, {"record": "caption", "photo": photo.pk, "caption": "x" * 300}, follow=True)
    assert "Write 200 characters at most." in text(refused)
    with django_capture_on_commit_callbacks(execute=True):
        owner.post(url, {"record": "remove", "photo": photo.pk})
    assert not Photo.objects.exists()
    assert not default_storage.exists(photo.file.name)
    assert owner.post(url, {"record": "remove", "photo": photo.pk}).status_code == 404


def test_a_picture_is_handed_out_as_nothing_but_a_picture(studio, photo, owner):
    for size in ("full", "small"):
        answer = owner.get(address(photo, size))
        body = b"".join(answer.streaming_content)
        assert body[:3] == b"\xff\xd8\xff"
        assert answer["Content-Type"] == "image/jpeg"
        assert answer["X-Content-Type-Options"] == "nosniff"
        assert answer["Content-Disposition"].startswith("inline")
        assert answer["Cache-Control"] == "private, max-age=3600"
        assert answer["Content-Length"] == str(len(body))
        again = owner.get(address(photo, size), headers={"If-None-Match": answer["ETag"]})
        assert (again.status_code, again.content, again["ETag"]) == (304, b"", answer["ETag"])
    assert b"".join(as_member(people.desk(studio)).get(address(photo)).streaming_content)
    page = owner.get(reverse("studio:vehicle", args=[photo.vehicle_id])).content.decode()
    assert address(photo, "small") in page


def test_strangers_other_studios_and_earlier_keepers_are_told_of_nothing(studio, site, photo):
    keeper = Keeper.objects.get(vehicle=photo.vehicle)
    keeper.customer = people.customer(studio)
    keeper.save()
    door = as_user(keeper.customer)
    assert door.get(address(photo, door="customer"))["Content-Type"] == "image/jpeg"
    assert address(photo, "small", "customer") in door.get(f"/my/vehicle/{photo.vehicle_id}/").content.decode()
    assert door.get(address(photo)).status_code == 403, "the studio's own door"
    other = people.customer(studio)
    VehicleFactory(site=site, keeper=other)
    for browser, name, status in (
        (as_user(other), "customer", 404),
        (as_user(people.customer()), "customer", 404),
        (as_member(people.owner()), "studio", 404),
        (as_user(people.stranger()), "customer", 403),
        (Client(), "customer", 302),
        (Client(), "studio", 302),
    ):
        assert browser.get(address(photo, door=name)).status_code == status
    assert as_member(people.owner(studio)).get(address(photo, "huge")).status_code == 404
    keeper.end = timezone.now().date()
    keeper.save()
    assert door.get(address(photo, door="customer")).status_code == 404
    assert Client().get(f"/{photo.file.name}").status_code == 404


def test_a_file_that_the_storage_lost_is_not_there(photo, owner):
    default_storage.delete(photo.file.name)
    assert owner.get(address(photo)).status_code == 404


def test_too_much_at_once_is_said_before_it_is_read(car, owner, settings):
    vehicle, _bonnet, _roof = car
    url = reverse("studio:photos", args=[vehicle.pk])
    settings.REQUEST_MOST_BYTES = 2000
    large = owner.post(url, {"photos": [upload("a.jpg", bytes(3000))], "batch": uuid4()})
    assert large.status_code == 413
    assert "0 MB at most can be sent at once" in text(large)
    settings.REQUEST_MOST_BYTES, settings.DATA_UPLOAD_MAX_NUMBER_FILES = 10**8, 2
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = owner.cookies
    assert "csrftoken" in owner.get(url).cookies
    for browser in (owner, strict):  # the token is looked for in the form, so the limits bite there first
        many = browser.post(url, {"photos": [upload(f"{n}.jpg", picture()) for n in range(3)], "batch": uuid4()})
        assert many.status_code == 413
        assert "More than 2 files came at once." in text(many)
    settings.DATA_UPLOAD_MAX_MEMORY_SIZE = 100
    wordy = strict.post(url, {"caption": "x" * 500})
    assert wordy.status_code == 413
    assert "Nothing of it was kept." in text(wordy)
    assert not Photo.objects.exists()


class TestStorageByASetting:
    def test_local_files_are_for_the_service_alone(self, tmp_path):
        entry = files_storage("local", {}, tmp_path)
        assert entry["OPTIONS"]["location"] == tmp_path
        assert (entry["OPTIONS"]["file_permissions_mode"], entry["OPTIONS"]["directory_permissions_mode"]) == (
            0o600,
            0o700,
        )

    def test_options_come_from_the_environment(self, tmp_path):
        environ = {"SHEENWARD_FILES_BUCKET_NAME": "care", "SHEENWARD_FILES_USE_SSL": "True", "OTHER": "x",
                   "SHEENWARD_FILES_QUERYSTRING_EXPIRE": "60", "SHEENWARD_FILES_ENDPOINT_URL": "",
                   "SHEENWARD_FILES_ACCESS_KEY": "0012"}  # fmt: skip
        entry = files_storage("django.core.files.storage.InMemoryStorage", environ, tmp_path)
        assert entry["OPTIONS"] == {
            "bucket_name": "care", "use_ssl": True, "querystring_expire": 60, "access_key": "0012",
        }  # fmt: skip

    @pytest.mark.parametrize(
        ("backend", "says"),
        [("no_such_package.S3", "the package no_such_package is not installed"), ("s3", "dotted path")],
    )
    def test_what_is_missing_is_said(self, backend, says, tmp_path):
        with pytest.raises(ImproperlyConfigured, match=says):
            files_storage(backend, {}, tmp_path)
