"""Sealed reports: the canonical form against RFC 8785, the chain, and every way of tampering found and named."""

from __future__ import annotations

import hashlib
import json
from datetime import timedelta
from io import StringIO

import pytest
from django.core.files.storage import default_storage
from django.core.management import CommandError, call_command
from django.db import DatabaseError, IntegrityError, connection, transaction
from hypothesis import given
from hypothesis import strategies as st

from lifecycle.care import sealing
from lifecycle.care.reports.canonical import canonical, commitment, digest, fixed
from lifecycle.care.reports.check import Note, check_report
from lifecycle.care.reports.signature import HEIGHT, WIDTH, Signature, read_strokes, signature
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import (
    GUARDED_REPORTS,
    Finding,
    JournalEntry,
    Photo,
    Reading,
    Report,
    ReportParty,
)
from lifecycle.models.journal import guard_statements, unguard_statements
from tests import people
from tests.factories import NOW, StudioFactory
from tests.lifecycle.care.report_world import make_world


@pytest.fixture
def world(db, settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    return make_world()


# ---- the canonical form ----


def test_strings_and_order_are_those_of_rfc_8785():
    """RFC 8785, 3.2.2 (the sample's strings and literals) and 3.2.3 (members sorted by UTF-16 code units)."""
    assert canonical({"string": '€$\u000f\nA\'B"\\\\"/'}) == '{"string":"€$\\u000f\\nA\'B\\"\\\\\\\\\\"/"}'
    assert canonical([None, True, False]) == "[null,true,false]"
    sample = {
        "\u20ac": "Euro Sign", "\r": "Carriage Return", "\ufb33": "Hebrew Letter Dalet With Dagesh", "1": "One",
        "\U0001f600": "Emoji: Grinning Face", "\u0080": "Control", "\u00f6": "Latin Small Letter O With Diaeresis",
    }  # fmt: skip
    assert list(json.loads(canonical(sample)).values()) == [
        "Carriage Return", "One", "Control", "Latin Small Letter O With Diaeresis", "Euro Sign",
        "Emoji: Grinning Face", "Hebrew Letter Dalet With Dagesh",
    ]  # fmt: skip


VALUES = st.recursive(
    st.none() | st.booleans() | st.integers(-(2**53) + 1, 2**53 - 1) | st.text(),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(), inner, max_size=4),
    max_leaves=12,
)


@given(VALUES)
def test_reading_a_canonical_form_gives_the_same_values_and_the_same_form(value):
    text = canonical(value)
    assert json.loads(text) == value
    assert canonical(json.loads(text)) == text
    assert "\n" not in text


def test_what_has_no_canonical_form_is_refused():
    for value in (1.5, {"a": float("nan")}, {1: "a"}, b"x", {"a": {2}}):
        with pytest.raises(TypeError):
            canonical(value)
    for value in (2**53, "\ud800"):
        with pytest.raises(ValueError, match="seal"):
            canonical(value)


def test_measured_values_are_texts_with_fixed_decimals():
    assert [fixed(v, 2) for v in (42.5, 0.005, -0.001, 1e-7, 1234.565, None)] == [
        "42.50", "0.00", "0.00", "0.00", "1234.56", None,
    ]  # fmt: skip
    with pytest.raises(ValueError, match="finite"):
        fixed(float("inf"), 2)


def test_the_digest_is_plain_sha_256_that_anybody_can_recompute():
    """FIPS 180-4's SHA-256 as the standard library has it, over text, line feed and the digest before."""
    assert digest("{}", "") == hashlib.sha256(b"{}\n").hexdigest()
    assert digest("{}", "ab") == hashlib.sha256(b"{}\nab").hexdigest()


# ---- signatures ----


def test_a_drawn_signature_is_read_and_capped():
    line = [[0, 0], [WIDTH, HEIGHT], [5, 6], [7, 8], [9, 10], [11, 12]]
    assert read_strokes(json.dumps([line, []])) == [line]
    hostile = (
        "{", "[1]", '{"a":1}', "[[[1,2,3]]]", "[[[1.5,2]]]", "[[[true,2]]]", f"[[[{WIDTH + 1},0]]]", "[[[-1,0]]]",
        '[[["1",2]]]', json.dumps([[[1, 1]]] * 121), json.dumps([[[1, 1]] * 4001]), "[" * 50_000, "x" * 70_000,
    )  # fmt: skip
    for text in hostile:
        with pytest.raises(DomainError) as refused:
            read_strokes(text)
        assert refused.value.field == "strokes"
    for given_, field in (
        ({"how": "drawn", "name": " ", "strokes": [line], "ticked": False}, "name"),
        ({"how": "drawn", "name": "x" * 161, "strokes": [line], "ticked": False}, "name"),
        ({"how": "drawn", "name": "A", "strokes": [[[1, 1]]], "ticked": True}, "strokes"),
        ({"how": "typed", "name": "A", "strokes": [], "ticked": False}, "seen"),
        ({"how": "sung", "name": "A", "strokes": [], "ticked": True}, "how"),
    ):
        with pytest.raises(DomainError) as refused:
            signature(**given_)
        assert refused.value.field == field
    assert signature(how="typed", name=" Ada  B ", strokes=[line], ticked=True) == Signature("typed", "Ada B", [])


# ---- sealing ----


def test_a_report_seals_what_was_seen_and_no_personal_data(world):
    report = world.seal()
    said = json.loads(report.content)
    assert canonical(said) == report.content
    assert (report.number, report.previous, report.digest) == (1, "", digest(report.content, ""))
    assert [(one["kind"], one["size_mm"], one["x"]) for one in said["findings"]] == [
        ("scratch", "42.50", "0.2500"), ("chip", None, "0.5000"),
    ]  # fmt: skip
    assert [one["value"] for one in said["readings"]] == ["118.000", "121.500", "117.250", "120.000", "119.500"]
    photo = Photo.objects.get()
    assert said["photos"][0]["sha256"] == photo.sha256
    assert said["photos"][0]["finding"] == 1
    assert "pre-existing" in said["statements"][0]
    assert any("touched up" in text for text in said["cautions"])
    for person in ("Tove", "Halvarsen", "SKA 101", world.keeper.email, world.technician.user.name):
        assert person not in report.content
    party = report.party
    assert said["signed"] == {
        "how": "drawn",
        "commitment": commitment(salt=party.salt, name="Tove Halvarsen", plate="SKA 101", strokes=party.strokes),
    }
    assert party.customer == world.keeper
    entry = JournalEntry.objects.get(verb="report sealed")
    assert entry.data == {"number": 1, "digest": report.digest}
    assert sealing.is_sealed(world.inspection)
    assert not sealing.is_sealed(world.another())
    assert not sealing.is_sealed(None)
    assert sealing.sealed_among([world.inspection.pk, world.another().pk]) == {world.inspection.pk}
    with pytest.raises(DomainError, match="sealed in report 1"):
        sealing.refuse_sealed(world.inspection)
    assert check_report(report) == ()


def test_what_was_signed_is_what_is_sealed(world):
    seen = sealing.draft(studio=world.studio, inspection_id=world.inspection.pk, at=NOW).seen
    Finding.objects.filter(kind="chip").update(severity=4)
    with pytest.raises(DomainError, match="has changed since this page was shown"):
        world.seal(seen=seen)
    world.seal()
    with pytest.raises(DomainError, match="sealed in report 1"):
        world.seal()
    with pytest.raises(DomainError, match="customer's own look"):
        world.seal(world.another(by="customer"))
    with pytest.raises(NotFoundHere):
        world.seal(world.another(), seen="", studio=StudioFactory())
    assert Report.objects.count() == 1


def test_numbers_have_no_gap_and_the_chain_does_not_fork(world):
    first = world.seal()
    with pytest.raises(NotFoundHere), transaction.atomic():
        world.seal(world.another(), member_id=people.technician().pk)  # another studio's: nothing is left behind
    second = world.seal(world.another())
    added = sealing.seal_addendum(
        studio=world.studio, report_id=first.pk, text="The scratch\r\nwas polished out.", findings=[1],
        member_id=world.technician.pk, actor="member:1", at=NOW + timedelta(days=3),
    )  # fmt: skip
    assert [first.number, second.number, added.number] == [1, 2, 3]
    assert [second.previous, added.previous] == [first.digest, second.digest]
    said = json.loads(added.content)
    assert (said["text"], said["about_findings"]) == ("The scratch\nwas polished out.", [1])
    assert said["of"] == {"number": 1, "digest": first.digest}
    for changes in ({"number": 4}, {"number": 3, "previous": "x"}, {"number": 4, "previous": ""}):
        fields = {
            "studio": world.studio, "vehicle": world.vehicle, "inspection": world.inspection, "of": first,
            "kind": "addendum", "member": world.technician, "sealed_at": NOW, "content": "{}", "digest": "0" * 64,
            "previous": first.digest, **changes,
        }  # fmt: skip
        with pytest.raises(IntegrityError), transaction.atomic():
            Report.objects.create(**fields)
    elsewhere = make_world()
    assert elsewhere.seal().number == 1
    for text, findings, field in ((" ", [], "text"), ("x" * 4001, [], "text"), ("so", [9], "findings")):
        with pytest.raises(DomainError) as refused:
            sealing.seal_addendum(
                studio=world.studio, report_id=first.pk, text=text, findings=findings, actor="member:1", at=NOW,
                member_id=world.technician.pk,
            )  # fmt: skip
        assert refused.value.field == field
    with pytest.raises(DomainError, match="Add to report 1 itself"):
        sealing.seal_addendum(
            studio=world.studio, report_id=added.pk, text="so", member_id=world.technician.pk, actor="x", at=NOW
        )


# ---- tampering ----


def verify(world, code: int) -> str:
    """What the command says; `code` is the exit code that it must have."""
    out = StringIO()
    if code:
        with pytest.raises(CommandError) as failed:
            call_command("verify_reports", "--studio", world.studio.slug, stdout=out)
        assert failed.value.returncode == code
    else:
        call_command("verify_reports", "--studio", world.studio.slug, stdout=out)
    return out.getvalue()


def as_attacker(sql: str, *values: object) -> None:
    """Raw SQL by somebody who owns the database: the triggers go, the row changes, the triggers come back."""
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute("SET CONSTRAINTS ALL IMMEDIATE")  # a table with pending checks keeps its triggers
        for statement in unguard_statements(connection.vendor, GUARDED_REPORTS):
            cursor.execute(statement)
        cursor.execute(sql, values)
        for statement in guard_statements(connection.vendor, GUARDED_REPORTS):
            cursor.execute(statement)


@pytest.mark.parametrize("statement", ["UPDATE {} SET number = number", "DELETE FROM {}"])
def test_the_database_refuses_to_change_a_sealed_report(world, statement):
    world.seal()
    with pytest.raises(DatabaseError, match="append-only"), transaction.atomic(), connection.cursor() as cursor:
        cursor.execute(statement.format("lifecycle_report"))


def test_changed_rows_are_named(world):
    world.seal()
    assert "1 sealed, 0 differences; newest digest " in verify(world, 0)
    with connection.cursor() as cursor:
        cursor.execute("UPDATE lifecycle_finding SET severity = 1, note = 'none' WHERE kind = 'scratch'")
        cursor.execute("UPDATE lifecycle_inspection SET light = 'sun'")
    Finding.objects.filter(kind="chip").delete()
    gone = Reading.objects.order_by("pk").first()
    Reading.objects.filter(pk=gone.pk).delete()
    Reading.objects.create(
        studio=world.studio, inspection=world.inspection, surface=world.bonnet, kind="gloss_gu", value=88
    )
    said = verify(world, 1)
    for line in (
        "report 1: finding 1: severity has changed since (sealed 3, now 1)",
        "report 1: finding 1: note has changed since (sealed 'Through the colour at its end', now 'none')",
        "report 1: finding 2 was removed from the record",
        "report 1: the inspection: light has changed since (sealed 'inspection lamp, 4000 K', now 'sun')",
        f"report 1: reading 1 was removed from the record (row {gone.pk})",
        "report 1: a reading was added to the record after sealing",
        "1 sealed, 6 differences",
    ):
        assert line in said
    public = [one.said for one in check_report(Report.objects.get())]
    assert len(public) == 6
    assert not any(secret in " ".join(public) for secret in ("none", "sun", "Through"))


def test_changed_and_missing_photo_files_are_named(world):
    photo, other = Photo.objects.get(), world.photo(colour="sienna")
    world.seal()
    with default_storage.open(photo.file.name, "wb") as file:
        file.write(b"another picture")
    assert f"photo 1: its file is not the one that was sealed ({photo.file.name})" in verify(world, 1)
    Photo.objects.filter(pk=photo.pk).update(sha256=hashlib.sha256(b"another picture").hexdigest())
    said = verify(world, 1)
    assert "photo 1: its file is not the one that was sealed" in said
    assert "photo 1: sha256 has changed since" in said
    default_storage.delete(other.file.name)
    assert "photo 2: its file is missing" in verify(world, 1)


def test_a_changed_text_and_a_broken_chain_are_named(world):
    first, second = world.seal(), world.seal(world.another(note="clean"))
    text = second.content.replace('"note":"clean"', '"note":"dirty"')
    assert text != second.content
    as_attacker("UPDATE lifecycle_report SET content = %s WHERE id = %s", text, second.pk)
    said = verify(world, 1)
    assert "report 2: its text is not the one that was sealed: the digest does not match" in said
    assert "report 2: the inspection: note has changed since" in said
    # A better attacker computes the digest anew; the journal and whoever holds a copy still know the old one.
    forged = digest(text, first.digest)
    as_attacker("UPDATE lifecycle_report SET digest = %s WHERE id = %s", forged, second.pk)
    assert "report 2: the journal noted another digest when it was sealed" in verify(world, 1)
    as_attacker("UPDATE lifecycle_report SET sealed_at = %s WHERE id = %s", NOW - timedelta(days=9), first.pk)
    assert "report 1: the time of sealing is not as sealed" in verify(world, 1)
    as_attacker("UPDATE lifecycle_report SET previous = %s WHERE id = %s", "f" * 64, second.pk)
    assert "report 2: the chain is broken between report 1 and this report" in verify(world, 1)
    as_attacker("UPDATE lifecycle_report SET content = %s WHERE id = %s", "not JSON", second.pk)
    assert "report 2: its text cannot be read any more" in verify(world, 1)


def test_removed_reports_are_missed_even_at_the_end(world):
    first, second, third = world.seal(), world.seal(world.another()), world.seal(world.another())
    ReportParty.objects.filter(report__in=[second, third]).delete()
    as_attacker("DELETE FROM lifecycle_report WHERE id = %s", third.pk)
    said = verify(world, 1)
    assert "report 3: it was sealed and is gone" in said
    assert "report 2: the row of the signature is gone" in said
    as_attacker("DELETE FROM lifecycle_report WHERE id = %s", second.pk)
    assert "report 2: it was sealed and is gone" in verify(world, 1)
    assert Report.objects.get() == first


def test_a_changed_signature_is_named_and_an_erased_one_leaves_the_chain_whole(world):
    report = world.seal()
    world.seal(world.another(), by=Signature("typed", "Tove Halvarsen", []))
    ReportParty.objects.filter(report=report).update(name="Somebody Else")
    assert "report 1: name, plate or signature is not the one that was sealed" in verify(world, 1)
    ReportParty.objects.filter(report=report).update(name="Tove Halvarsen")
    count = sealing.erase_signatures(studio=world.studio, customer_id=world.keeper.pk, actor="member:1", at=NOW)
    assert count == 2
    for party in ReportParty.objects.all():
        assert (party.name, party.plate, party.strokes, party.salt, party.customer) == ("", "", [], "", None)
    said = verify(world, 0)
    assert "note: report 1: name and signature were erased at the person's request" in said
    assert "2 sealed, 0 differences" in said
    assert all(isinstance(one, Note) for one in check_report(report))
    assert sealing.erase_signatures(studio=world.studio, customer_id=world.keeper.pk, actor="m", at=NOW) == 0
    assert JournalEntry.objects.get(verb="signatures erased").data == {"reports": [report.pk, report.pk + 1]}


def test_an_unknown_studio_is_said(db):
    with pytest.raises(CommandError, match="no studio 'nobody'"):
        call_command("verify_reports", "--studio", "nobody")
