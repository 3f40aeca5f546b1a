"""A studio taken out and brought back is the same studio, row for row."""

from __future__ import annotations

import hashlib
import json
from datetime import timedelta

import pytest
from django.core.files.storage import default_storage
from django.core.management import call_command
from django.db import connection

from lifecycle.connect.hook_events import gather
from lifecycle.models import Customer, Hook, HookDelivery, JournalEntry, Photo, Studio, User
from lifecycle.taking_out.registry import tables
from tests.factories import NOW, CustomerFactory, StudioFactory
from tests.lifecycle.taking_out.world import (
    brought_back,
    gone,
    manifest,
    members,
    stored,
    studio_with_everything,
    taken,
    undone,
)

pytestmark = pytest.mark.django_db
JOURNAL = "tables/journal_entry.jsonl"


@pytest.fixture
def zipped():
    """The zip of a studio that is gone again, and its files out of the storage."""
    with undone():
        studio = studio_with_everything()
        assert [one.name for one in tables() if not one.rows(studio).exists()] == []
        data = gone(taken(studio))
    assert not Studio.objects.exists()
    return data


def test_taken_out_brought_back_and_taken_out_again_is_the_same(zipped, tmp_path):
    done = brought_back(zipped, tmp_path)
    first, again = members(zipped), members(taken(done.studio))
    journal, more = first.pop(JOURNAL), again.pop(JOURNAL)
    assert more.startswith(journal)
    added = [json.loads(line)["verb"] for line in more[len(journal) :].splitlines()]
    assert added == ["studio restored", "studio taken out"]
    said, now = json.loads(first.pop("manifest.json")), json.loads(again.pop("manifest.json"))
    assert first == again
    for each in (said, now):
        each["tables"] = [row for row in each["tables"] if row["name"] != "journal_entry"]
        each["numbers"].pop("journal_entry")
    if connection.vendor == "postgresql":  # sequences do not roll back with the first studio
        assert all(now["numbers"][name] >= number for name, number in said.pop("numbers").items())
        now.pop("numbers")
    assert said == now
    assert done.rows == sum(row["rows"] for row in manifest(zipped)["tables"])
    assert done.files >= 4


def test_the_sealed_chain_holds_and_the_files_are_there(zipped, tmp_path, capsys):
    studio = brought_back(zipped, tmp_path).studio
    call_command("verify_reports")
    assert f"{studio.slug}: 1 sealed, 0 differences" in capsys.readouterr().out
    photo = Photo.objects.get()
    with default_storage.open(photo.file.name) as file:
        assert hashlib.sha256(file.read()).hexdigest() == photo.sha256


def test_new_rows_get_numbers_that_nothing_speaks_of_yet(zipped, tmp_path):
    studio = brought_back(zipped, tmp_path).studio
    numbers = manifest(zipped)["numbers"]
    assert CustomerFactory(studio=studio).pk > numbers["customer"]
    assert JournalEntry.objects.latest("pk").pk > numbers["journal_entry"]


def test_nobody_brings_a_password_or_a_right_of_the_installation(tmp_path):
    with undone():
        studio = studio_with_everything()
        User.objects.update(is_superuser=True, is_staff=True, password="pbkdf2_sha256$secret", last_login=NOW)
        data = gone(taken(studio))
    assert b"pbkdf2" not in b"".join(members(data).values())
    brought_back(data, tmp_path)
    assert User.objects.count() == 3 + 1  # technician of the report too
    for user in User.objects.all():
        assert not user.has_usable_password()
        assert (user.is_superuser, user.is_staff, user.last_login) == (False, False, None)


def test_a_copy_can_be_held(zipped, tmp_path):

    studio = brought_back(zipped, tmp_path, hold=True).studio
    studio.refresh_from_db()
    assert studio.paused_at is not None
    hook = Hook.objects.get()
    assert hook.off_at == NOW
    assert "brought back" in hook.off_why


def test_a_second_time_is_refused_and_changes_nothing(zipped, tmp_path):
    studio = brought_back(zipped, tmp_path).studio
    before = members(taken(studio))
    with pytest.raises(Exception, match=r"in this installation already\. Nothing was written"):
        brought_back(zipped, tmp_path)
    after = members(taken(studio))
    assert [name for name in before if before[name] != after[name]] == [JOURNAL, "manifest.json"]


def test_beside_another_studio_whose_numbers_are_free(tmp_path):
    """The first studio keeps the low numbers; what was above them is free again."""
    other = StudioFactory(slug="neighbour")
    CustomerFactory(studio=other, name="Neighbour")
    before = members(taken(other))
    with undone():
        data = gone(taken(studio_with_everything()))
    assert b"Neighbour" not in b"".join(members(data).values())
    brought_back(data, tmp_path)
    after = members(taken(other))
    changed = {JOURNAL, "manifest.json"}
    assert {name for name in before if before[name] != after[name]} == changed
    assert Studio.objects.count() == 2


def test_beside_another_studio_whose_numbers_are_taken(zipped, tmp_path):
    other = StudioFactory(slug="neighbour", pk=manifest(zipped)["studio"]["id"])
    CustomerFactory(studio=other)
    files = stored()
    with pytest.raises(Exception, match=r"the number \d+ is taken in this installation"):
        brought_back(zipped, tmp_path)
    assert Studio.objects.get() == other
    assert Customer.objects.count() == 1
    assert stored() == files


def test_a_studio_that_came_back_does_not_tell_its_past_anew(zipped, tmp_path):
    """Messages to programs are thrown away after a month, and a fresh installation has read no journal yet."""
    studio = brought_back(zipped, tmp_path).studio
    HookDelivery.objects.all().delete()
    old = JournalEntry.objects.create(
        studio=studio, at=NOW - timedelta(days=31), actor="x", verb="layer recorded", subject="layer", subject_id=1
    )
    new = JournalEntry.objects.create(
        studio=studio, at=NOW - timedelta(days=29), actor="x", verb="layer recorded", subject="layer", subject_id=2
    )
    gather(at=NOW)
    told = set(HookDelivery.objects.values_list("entry_id", flat=True))
    assert new.pk in told
    assert old.pk not in told
