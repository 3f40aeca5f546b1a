"""Photos: stored once, kept with what they show, files and rows together or not at all, seen by those who may."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.core.files.storage import default_storage
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import IntegrityError

from lifecycle.care import photos, sealing
from lifecycle.care.reports.signature import Signature
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Finding, Inspection, JournalEntry, Keeper, Photo
from tests import people
from tests.factories import NOW, TODAY, CustomerFactory, SurfaceFactory, VehicleFactory
from tests.pictures import picture

pytestmark = pytest.mark.django_db
WHO = {"actor": "member:1", "at": NOW}


@pytest.fixture
def car():
    vehicle = VehicleFactory()
    inspection = Inspection.objects.create(studio=vehicle.studio, vehicle=vehicle, on=TODAY, clean_state="washed")
    bonnet = SurfaceFactory(vehicle=vehicle, code="bonnet")
    finding = Finding.objects.create(studio=vehicle.studio, inspection=inspection, surface=bonnet, kind="chip")
    return vehicle, inspection, finding


@pytest.fixture
def clear_storage():
    """The stored files before and after: their names."""

    def names() -> set[str]:
        found = set()
        for folder in default_storage.listdir("photos")[0] if default_storage.exists("photos") else ():
            found |= {f"photos/{folder}/{name}" for name in default_storage.listdir(f"photos/{folder}")[1]}
        return found

    before = names()
    return lambda: names() - before


def add(vehicle, **change):
    given = {"studio": vehicle.studio, "vehicle_id": vehicle.pk, "upload": picture(), **WHO}
    return photos.add_photo(**given | change)


def test_a_photo_is_stored_under_a_name_nobody_guesses_and_belongs_where_its_finding_is(car, clear_storage):
    vehicle, inspection, finding = car
    upload = SimpleUploadedFile("../../etc/chip.jpg", picture("PNG"), content_type="text/html")
    photo = add(vehicle, upload=upload, finding_id=finding.pk, caption="  the  chip ", key=uuid4())
    assert (photo.inspection, photo.surface.code, photo.caption) == (inspection, "bonnet", "the chip")
    assert clear_storage() == {photo.file.name, photo.thumbnail.name}
    assert photo.uid.hex in photo.file.name
    assert "chip" not in photo.file.name
    with photo.file.open() as stored:
        assert stored.read(3) == b"\xff\xd8\xff"
    entry = JournalEntry.objects.get(verb="photo added")
    assert (entry.subject_id, entry.vehicle_id, entry.actor) == (photo.pk, vehicle.pk, "member:1")
    (view,) = photos.photos_of(vehicle.studio, vehicle.pk, finding_id=finding.pk)
    assert (view.surface, view.finding, view.words, view.sealed) == ("bonnet", "stone chip", "the chip", False)
    assert photos.photos_of(vehicle.studio, vehicle.pk, inspection_id=inspection.pk) == (view,)
    assert photos.photos_of(vehicle.studio, vehicle.pk, surface_id=finding.surface_id + 1) == ()


def test_the_same_key_makes_one_photo_also_in_a_race(car, clear_storage, monkeypatch):
    vehicle, _inspection, _finding = car
    key = uuid4()
    first = add(vehicle, key=key)
    assert add(vehicle, key=key, upload=b"not even a picture: the first one counts") == first
    # The other request commits between the look and the write.
    answers = iter([None])
    look = photos._made_by
    monkeypatch.setattr(photos, "_made_by", lambda *given: next(answers, None) or (look(*given) if seen else None))
    seen: list[bool] = []
    save = Photo.save

    def late(self, *given, **named):
        seen.append(True)
        return save(self, *given, **named)

    monkeypatch.setattr(Photo, "save", late)
    assert add(vehicle, key=key) == first
    assert Photo.objects.count() == 1
    assert clear_storage() == {first.file.name, first.thumbnail.name}
    monkeypatch.undo()
    other = VehicleFactory(site=vehicle.site)
    with pytest.raises(DomainError, match="another vehicle"):
        add(other, key=key)


def test_what_fails_leaves_neither_row_nor_file(car, clear_storage, monkeypatch):
    vehicle, _inspection, _finding = car
    with pytest.raises(DomainError, match=r"photo: notes\.txt: by its content this is a text"):
        add(vehicle, upload=b"words " * 20, name="notes.txt")
    for wrong in (IntegrityError("no key"), OSError("disk full"), KeyboardInterrupt()):

        def fail(*given, error=wrong, **named):
            raise error

        monkeypatch.setattr(photos.journal, "record", fail)
        with pytest.raises(type(wrong)):
            add(vehicle)
    assert Photo.objects.count() == 0
    assert clear_storage() == set()


def test_caps_come_from_the_settings_and_a_large_file_is_not_even_read(car, settings):
    vehicle, _inspection, _finding = car
    settings.PHOTO_MOST_BYTES, settings.PHOTO_MOST_PIXELS = 1_000_000, 1_000
    upload = SimpleUploadedFile("big.jpg", b"small: the file itself is never asked")
    upload.size = 1_000_001
    with pytest.raises(DomainError, match=r"photo: big\.jpg: 1\.0 MB is more than the 1 MB"):
        add(vehicle, upload=upload)
    with pytest.raises(DomainError, match="48 × 32 pixels are more than 0 million"):
        add(vehicle)


@pytest.mark.parametrize(
    ("change", "field", "says"),
    [({"caption": "x" * 201}, "caption", "200 characters"), ({"by": "cycle"}, "by", "is not known")],
)
def test_words_that_do_not_fit(car, change, field, says):
    with pytest.raises(DomainError, match=says) as refused:
        add(car[0], **change)
    assert refused.value.field == field


def test_nothing_crosses_vehicles_or_studios(car):
    vehicle, inspection, finding = car
    sister, stranger = VehicleFactory(site=vehicle.site), VehicleFactory()
    for place in ({"inspection_id": inspection.pk}, {"finding_id": finding.pk}, {"surface_id": finding.surface_id}):
        with pytest.raises(DomainError, match="belongs to another vehicle"):
            add(sister, **place)
        with pytest.raises(NotFoundHere):
            add(stranger, **place)
    later = Inspection.objects.create(studio=vehicle.studio, vehicle=vehicle, on=TODAY, clean_state="washed")
    with pytest.raises(DomainError, match="belongs to another inspection"):
        add(vehicle, finding_id=finding.pk, inspection_id=later.pk)
    photo = add(vehicle)
    for verb in (photos.remove_photo, photos.change_caption):
        words = {"caption": "mine"} if verb is photos.change_caption else {}
        with pytest.raises(NotFoundHere):
            verb(studio=stranger.studio, photo_id=photo.pk, **words, **WHO)
    for reading in (
        lambda: photos.photos_of(stranger.studio, vehicle.pk),
        lambda: photos.photo_file(photo.uid, "full", studio=stranger.studio),
        lambda: photos.photo_file(photo.uid, "raw", studio=vehicle.studio),
        lambda: photos.photo_file(uuid4(), "full", studio=vehicle.studio),
        lambda: photos.photo_file(photo.uid, "full", customer_ids=[CustomerFactory(studio=vehicle.studio).pk]),
        lambda: photos.photo_file(photo.uid, "full"),
    ):
        with pytest.raises(NotFoundHere):
            reading()


def test_a_removed_photo_takes_its_files_along_once_that_is_certain(
    car, clear_storage, django_capture_on_commit_callbacks
):
    vehicle, _inspection, _finding = car
    photo = add(vehicle)
    with django_capture_on_commit_callbacks(execute=True) as callbacks:
        photos.remove_photo(studio=vehicle.studio, photo_id=photo.pk, **WHO)
        assert len(clear_storage()) == 2, "not before the transaction is through"
    assert len(callbacks) == 1
    assert clear_storage() == set()
    assert not Photo.objects.exists()


def test_a_sealed_report_keeps_its_photos_as_they_are(car, clear_storage):
    vehicle, inspection, _finding = car
    photo = add(vehicle, inspection_id=inspection.pk)
    loose = add(vehicle)
    sealing.seal_report(
        studio=vehicle.studio, inspection_id=inspection.pk, member_id=people.technician(vehicle.studio).pk,
        seen=sealing.draft(studio=vehicle.studio, inspection_id=inspection.pk, at=NOW).seen,
        signature=Signature("typed", "Tove Halvarsen", []), **WHO,
    )  # fmt: skip
    for verb, words in (
        (photos.remove_photo, {"photo_id": photo.pk}),
        (photos.change_caption, {"photo_id": photo.pk, "caption": "other words"}),
        (photos.add_photo, {"vehicle_id": vehicle.pk, "inspection_id": inspection.pk, "upload": picture()}),
    ):
        with pytest.raises(DomainError, match="sealed in report 1"):
            verb(studio=vehicle.studio, **words, **WHO)
    assert len(clear_storage()) == 4
    assert [view.sealed for view in photos.photos_of(vehicle.studio, vehicle.pk)] == [True, False]
    photos.change_caption(studio=vehicle.studio, photo_id=loose.pk, caption="still free", **WHO)


def test_a_keeper_sees_the_photos_of_their_own_time_only(car):
    """The day counts at the studio: added at 23:30 UTC is the next day in Oslo (UTC+1 in winter, published: tz)."""
    vehicle, _inspection, _finding = car
    before = Keeper.objects.get(vehicle=vehicle)
    eve = NOW.replace(hour=22, minute=30)
    old = add(vehicle, at=eve)
    fresh = add(vehicle, at=eve + timedelta(hours=1))
    before.end = TODAY + timedelta(days=1)
    before.save()
    heir = CustomerFactory(studio=vehicle.studio)
    Keeper.objects.create(studio=vehicle.studio, vehicle=vehicle, customer=heir, start=before.end)
    assert [view.uid for view in photos.photos_for_customer([heir.pk], vehicle.pk)] == [fresh.uid]
    assert photos.photos_for_customer([before.customer_id], vehicle.pk) == ()
    assert photos.photo_file(fresh.uid, "small", customer_ids=[heir.pk]).etag.endswith('-small"')
    for customer, photo in ((heir.pk, old), (before.customer_id, old), (before.customer_id, fresh)):
        with pytest.raises(NotFoundHere):
            photos.photo_file(photo.uid, "full", customer_ids=[customer])
    vehicle.retired_on = TODAY
    vehicle.save()
    assert photos.photos_for_customer([heir.pk], vehicle.pk) == ()


def test_the_same_number_of_queries_for_one_and_for_thirty(car, django_assert_num_queries):
    vehicle, inspection, finding = car
    for count in (1, 29):
        for _ in range(count):
            add(vehicle, inspection_id=inspection.pk, surface_id=finding.surface_id)
        with django_assert_num_queries(3):
            photos.photos_of(vehicle.studio, vehicle.pk)
