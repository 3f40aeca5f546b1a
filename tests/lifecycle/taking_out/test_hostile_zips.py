"""Zips that are damaged or made to do harm: refused in words, and nothing of them is left behind."""

from __future__ import annotations

import io
import json
import struct
import zipfile

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lifecycle.errors import DomainError
from lifecycle.models import Customer, Studio, User
from tests.factories import CustomerFactory, StudioFactory
from tests.lifecycle.taking_out.world import (
    brought_back,
    gone,
    members,
    signed,
    stored,
    studio_with_everything,
    taken,
    undone,
    zip_of,
)

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def good(django_db_setup, django_db_blocker):
    """The zip of a studio that is gone again."""
    with django_db_blocker.unblock(), undone():
        return gone(taken(studio_with_everything()))


def refused(data: bytes, folder, words: str) -> None:
    """It is refused in these words, and neither a row nor a file is left."""
    files, studios, users = stored(), Studio.objects.count(), User.objects.count()
    with pytest.raises(DomainError, match=words) as error:
        brought_back(data, folder)
    assert error.value.message.endswith("Nothing was written.")
    assert (stored(), Studio.objects.count(), User.objects.count()) == (files, studios, users)


def edited(data: bytes, table: str, **changes) -> bytes:
    """The zip with other values in the last row of a table, its manifest made to agree."""
    parts = members(data)
    name = f"tables/{table}.jsonl"
    lines = parts[name].splitlines(keepends=True)
    row = json.loads(lines[-1]) | changes
    lines[-1] = json.dumps(row, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode() + b"\n"
    return signed(parts | {name: b"".join(lines)})


def test_the_helpers_make_a_zip_that_is_taken(good, tmp_path):
    """Else every refusal below might be about the helpers."""
    assert brought_back(signed(members(good)), tmp_path).studio.slug == "north-harbour"


def test_no_zip_at_all(good, tmp_path):
    refused(b"", tmp_path, "is no whole zip")
    refused(b"PK\x05\x06 not really", tmp_path, "is no whole zip")
    refused(good[: len(good) // 2], tmp_path, "is no whole zip")


def test_a_file_that_is_not_there(tmp_path):
    from lifecycle.taking_out.restoring import restore_studio
    from tests.factories import NOW

    with pytest.raises(DomainError, match="is no whole zip"):
        restore_studio(path=tmp_path / "none.zip", actor="command", at=NOW)


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"form": "sheenward studio 9"}, "of the form 'sheenward studio 9'"),
        ({"schema": "0001_initial"}, "taken out with the tables of '0001_initial'"),
        ({"extra": 1}, "manifest.json is not as it was written: extra"),
        ({"numbers": {"customer": 2**60}}, "cannot have come to the number"),
        ({"numbers": {"nobody": 1}}, "'nobody' cannot have come"),
        ({"tables": []}, "names other tables"),
    ],
)
def test_another_form_or_version(good, tmp_path, said, words):
    parts = members(good)
    parts["manifest.json"] = json.dumps(json.loads(parts["manifest.json"]) | said).encode()
    refused(zip_of(parts), tmp_path, words)


@pytest.mark.parametrize("text", [b"", b"[]", b"{", b"[" * 200_000, b'{"form":"sheenward studio 1"}'])
def test_a_manifest_that_is_none(good, tmp_path, text):
    refused(zip_of(members(good) | {"manifest.json": text}), tmp_path, r"manifest\.json|of the form|tables of None")


def test_rows_that_are_missing(good, tmp_path):
    parts = members(good)
    name = "tables/customer.jsonl"
    refused(zip_of(parts | {name: b""}), tmp_path, "rows are missing")
    refused(
        signed(parts | {name: b""}),
        tmp_path,
        "points to one that is missing|names a row that is not|somebody is missing",
    )
    refused(signed(parts | {"tables/studio.jsonl": b""}), tmp_path, "no row of the studio itself")
    del parts[name]
    refused(zip_of(parts), tmp_path, r"lacks tables/customer\.jsonl")


def test_a_row_that_was_changed(good, tmp_path):
    parts = members(good)
    name = "tables/price.jsonl"
    refused(zip_of(parts | {name: parts[name].replace(b"90.10", b"10.10")}), tmp_path, "its SHA-256 differs")


@pytest.mark.parametrize(
    ("table", "changes", "words"),
    [
        ("bay", {"studio_id": 10**6}, "a row of another studio"),
        ("studio", {"id": 10**6}, "a row of another studio"),
        ("studio", {"slug": "another"}, "the studio is not 'north-harbour'"),
        ("bay", {"id": 2**60}, "id is too large a number"),
        ("bay", {"id": 0}, "the numbers do not rise"),
        ("bay", {"id": None}, "id is empty and may not be"),
        ("bay", {"id": True}, "does not belong there"),
        ("bay", {"name": 7}, "name holds int"),
        ("bay", {"name": "x" * 61}, "longer than 60 characters"),
        ("bay", {"name": None}, "name is empty"),
        ("bay", {"warm_still": "yes"}, "warm_still holds str"),
        ("bay", {"site_id": 10**9}, "names a row that is not of this studio|points to one that is missing"),
        ("bay", {"more": 1}, "has other columns"),
        ("user", {"is_superuser": True}, "has other columns"),
        ("user", {"password": "x"}, "has other columns"),
        ("price", {"low": "cheap"}, "low .*decimal"),
        ("price", {"low": "500.00"}, "the database does not take these rows"),
        ("journal_entry", {"at": "yesterday"}, "at .*valid"),
        ("message", {"uid": "x"}, "uid .*UUID"),
        ("visit", {"hours": float("nan")}, "is no JSON"),
        ("photo", {"file": "../../evil.jpg"}, "no row names"),
    ],
)
def test_rows_that_somebody_made(good, tmp_path, table, changes, words):
    refused(edited(good, table, **changes), tmp_path, words)


def test_an_account_that_belongs_to_nobody_is_not_smuggled_in(good, tmp_path):
    parts = members(good)
    row = json.loads(parts["tables/user.jsonl"].splitlines()[-1]) | {"id": 10**6, "email": "evil@example.org"}
    line = json.dumps(row, ensure_ascii=False, sort_keys=True, separators=(",", ":")).encode() + b"\n"
    parts["tables/user.jsonl"] += line
    refused(signed(parts), tmp_path, "belongs to nobody of this studio")


def test_a_row_cannot_point_into_another_studio(good, tmp_path):
    other = CustomerFactory(studio=StudioFactory(slug="neighbour", pk=10**6), pk=10**6)
    refused(
        edited(good, "complaint", customer_id=other.pk), tmp_path, "customer_id names a row that is not of this studio"
    )
    refused(
        edited(good, "offer_told", customer_id=other.pk), tmp_path, "customer_id names a row that is not of this studio"
    )
    assert Customer.objects.get() == other


def test_an_account_of_another_studio_is_not_taken_over(good, tmp_path):
    other = CustomerFactory(studio=StudioFactory(slug="neighbour", pk=10**6), pk=10**6)
    other.user = User.objects.create(pk=10**6, email="neighbour@example.org")
    other.save()
    refused(edited(good, "member", user_id=10**6), tmp_path, "somebody is missing, or belongs to nobody")
    refused(edited(good, "user", email="neighbour@example.org"), tmp_path, "What may stand only once is taken here")


@pytest.mark.parametrize(
    "name",
    [
        "files/../../evil", "../evil", "/evil", "files/../evil", "files/a/../../../evil", "files\\..\\evil",
        "files/C:evil", "files//evil", "files/./evil", "files/", "evil", "tables/../evil", "tables/evil.jsonl",
        "files/never-named.jpg",
    ],
)  # fmt: skip
def test_names_that_lead_elsewhere(good, tmp_path, name):
    refused(zip_of(members(good) | {name: b"x"}), tmp_path, "does not belong there|which no row names")


def test_a_row_that_names_a_file_elsewhere(good, tmp_path):
    """Row, list of files and member agree; the name alone is wrong."""
    parts = members(good)
    old = json.loads(parts["tables/photo.jsonl"].splitlines()[-1])["file"]
    new = "../../" + old
    for name in ("tables/photo.jsonl", "files.jsonl"):
        parts[name] = parts[name].replace(f'"{old}"'.encode(), f'"{new}"'.encode())
    parts[f"files/{new}"] = parts.pop(f"files/{old}")
    refused(signed(parts), tmp_path, "does not belong there")


def test_a_name_that_comes_twice(good, tmp_path):
    out = io.BytesIO(good)
    with zipfile.ZipFile(out, "a") as made, pytest.warns(UserWarning, match="Duplicate name"):
        made.writestr("manifest.json", b"{}")
    refused(out.getvalue(), tmp_path, "a name twice")


def test_files_that_are_not_as_they_were(good, tmp_path):
    parts = members(good)
    name = next(name for name in parts if name.startswith("files/"))
    refused(zip_of(parts | {name: parts[name][:-1] + b"!"}), tmp_path, "is not as it was taken out")
    refused(zip_of(parts | {name: parts[name] + b"!"}), tmp_path, "is not as it was taken out")
    del parts[name]
    refused(zip_of(parts), tmp_path, "the zip does not hold it")


def test_a_bomb_is_refused_before_it_is_unpacked(good, tmp_path):
    parts = members(good)
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, body in parts.items():
            if name != "tables/visit.jsonl":
                made.writestr(name, body, zipfile.ZIP_STORED if name.startswith("files/") else zipfile.ZIP_DEFLATED)
        with made.open("tables/visit.jsonl", "w") as member:
            for _ in range(256):
                member.write(bytes(1 << 20))
    assert len(out.getvalue()) < 1 << 20
    refused(out.getvalue(), tmp_path, r"would grow from \d+ to \d+ bytes")


def test_a_bomb_that_lies_about_its_size(good, tmp_path):
    out = io.BytesIO()
    parts = members(good)
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as made:
        for name, body in parts.items():
            made.writestr(name, body, zipfile.ZIP_STORED if name.startswith("files/") else zipfile.ZIP_DEFLATED)
        with made.open(zipfile.ZipInfo("files/bomb"), "w") as member:
            member.write(bytes(1 << 20))
        made.getinfo("tables/visit.jsonl").file_size = 10  # goes into the list of members when it is closed
    refused(out.getvalue(), tmp_path, "longer or shorter")


def test_members_over_each_other(good, tmp_path):
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        for name, body in members(good).items():
            made.writestr(name, body)
        big = max(made.infolist(), key=lambda info: info.compress_size)
        for number in range(30):
            info = zipfile.ZipInfo(f"files/{number}")
            info.header_offset, info.CRC = big.header_offset, big.CRC
            info.compress_size = info.file_size = big.file_size
            made.filelist.append(info)
    refused(out.getvalue(), tmp_path, "lie over each other")


def test_an_encrypted_member(good, tmp_path):
    data = bytearray(good)
    place = data.rindex(b"PK\x01\x02")  # the last entry of the zip's own list is the manifest's
    (flags,) = struct.unpack_from("<H", data, place + 8)
    struct.pack_into("<H", data, place + 8, flags | 1)
    refused(bytes(data), tmp_path, "is encrypted")


def test_a_line_without_an_end(good, tmp_path, monkeypatch):
    monkeypatch.setattr("lifecycle.taking_out.zip_reading.MOST_LINE", 1 << 16)
    parts = members(good)
    refused(signed(parts | {"tables/bay.jsonl": b'{"id":' + b"1" * (1 << 17) + b"\n"}), tmp_path, "a line has no end")


@pytest.mark.parametrize(
    "text", [b"[" * 100_000, b'"\\ud800"', b'{"id":1,"id":1}', b'{"id": 1}', b"{}", b"NaN", b"\xff"]
)
def test_lines_that_nobody_wrote(good, tmp_path, text):
    refused(
        signed(members(good) | {"tables/bay.jsonl": text + b"\n"}), tmp_path,
        "is no JSON|not written as it was|has other columns",
    )  # fmt: skip


@pytest.mark.parametrize("bit", range(32))
def test_a_list_of_members_that_lies_elsewhere(good, tmp_path, bit):
    """A place before the start of the file is an error of Python's own, not of its zip library."""
    data = bytearray(good)
    place = data.rindex(b"PK\x05\x06") + 16  # where the end record says that the list begins (APPNOTE 4.3.16)
    (offset,) = struct.unpack_from("<I", data, place)
    struct.pack_into("<I", data, place, offset ^ 1 << bit)
    refused(bytes(data), tmp_path, "no whole zip|is damaged|lie over each other")


def test_numbers_that_are_too_low_do_not_lead_to_taken_ones(good, tmp_path):
    parts = members(good)
    said = json.loads(parts["manifest.json"]) | {"numbers": {}}
    studio = brought_back(zip_of(parts | {"manifest.json": json.dumps(said).encode()}), tmp_path).studio
    last = Customer.objects.latest("pk").pk
    assert CustomerFactory(studio=studio).pk > last


@given(place=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7))
@settings(max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_one_bit_that_flipped_is_found_or_harmless(good, tmp_path, place, bit):
    data = bytearray(good)
    data[int(place * len(data))] ^= 1 << bit
    with undone():
        said, studio = "", None
        try:
            studio = brought_back(bytes(data), tmp_path).studio
        except DomainError as error:
            said = error.message
        if studio is None:
            assert said.endswith("Nothing was written.")
            assert not Studio.objects.exists()
            return
        # It lay in a word of the README, a stamp, or the like.
        again, before = members(gone(taken(studio))), members(good)
        same = {name for name in before if name.startswith(("files", "tables"))} - {"tables/journal_entry.jsonl"}
        assert {name: again[name] for name in same} == {name: before[name] for name in same}
