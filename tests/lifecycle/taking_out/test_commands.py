"""The two commands as an operator types them; between real installations: tests/services/test_taking_out.py."""

from __future__ import annotations

import io
import re

import pytest
from django.core.management import CommandError, call_command
from django.test import Client

from lifecycle.models import JournalEntry, Studio
from tests import people
from tests.factories import StudioFactory
from tests.lifecycle.taking_out.world import gone, members, undone

pytestmark = pytest.mark.django_db


def said(*words: str) -> str:
    out = io.StringIO()
    call_command(*words, stdout=out)
    return out.getvalue()


@pytest.fixture
def path(tmp_path):
    """A zip by the command, of a studio that is gone again."""
    target = tmp_path / "studio.zip"
    with undone():
        people.technician(people.owner(StudioFactory(slug="north-harbour", name="North Harbour")).studio)
        assert "North Harbour is in" in said("export_studio", "north-harbour", str(target))
        gone(target.read_bytes())
    return target


def test_the_zip_is_readable_by_nobody_else(path):
    assert path.stat().st_mode & 0o777 == 0o600
    assert [one.name for one in path.parent.iterdir()] == [path.name]
    assert len(members(path.read_bytes())) > 70


def test_it_comes_back_with_a_way_in_for_its_owner(path):
    words = said("restore_studio", str(path))
    assert "North Harbour is back" in words
    (link,) = re.findall(r"http://\S+(/account/password/reset/key/\S+)", words)
    page = Client().get(link, follow=True)
    assert page.status_code == 200
    assert b'name="password1"' in page.content
    entry = JournalEntry.objects.latest("pk")
    assert (entry.verb, entry.actor, entry.data["held"]) == ("studio restored", "command", False)


def test_a_copy_to_look_at_is_held(path):
    said("restore_studio", str(path), "--hold")
    assert Studio.objects.get().paused_at is not None


def test_what_is_refused_is_said_in_words(path):
    with pytest.raises(CommandError, match="There is no studio 'nobody'"):
        said("export_studio", "nobody", str(path.with_name("other.zip")))
    with pytest.raises(CommandError, match="is there already; name another file"):
        said("export_studio", "north-harbour", str(path))
    path.write_bytes(path.read_bytes()[:-100])
    with pytest.raises(CommandError, match=r"is no whole zip .* Nothing was written\."):
        said("restore_studio", str(path))
    assert not Studio.objects.exists()


def test_a_folder_that_is_not_there_leaves_nothing(tmp_path):
    StudioFactory(slug="north-harbour")
    with pytest.raises(CommandError, match="cannot be taken out to"):
        said("export_studio", "north-harbour", str(tmp_path / "none" / "studio.zip"))
    assert list(tmp_path.iterdir()) == []
