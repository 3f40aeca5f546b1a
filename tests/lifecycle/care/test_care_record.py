"""Care records: what is sealed, what stays out, how long a link opens, and what tells a changed text."""

from __future__ import annotations

import hashlib
import json
import re
from datetime import timedelta

import pytest
from django.db import DatabaseError, connection, transaction
from django.test.utils import CaptureQueriesContext

from lifecycle import condition
from lifecycle.care.care_record import reads, sharing
from lifecycle.care.care_record.content import content_of
from lifecycle.care.corrections import record_correction
from lifecycle.care.erasure import erase_customer
from lifecycle.care.own_data import own_data
from lifecycle.care.register import transfer
from lifecycle.care.reports.canonical import canonical
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import CareRecord, JournalEntry, Layer, RecordLink, Vehicle
from tests.factories import NOW, TODAY, CustomerFactory, HabitsFactory, LayerFactory, ProductFactory, SurfaceFactory
from tests.lifecycle.care.report_world import make_world

pytestmark = pytest.mark.django_db


@pytest.fixture
def world(settings, tmp_path):
    settings.MEDIA_ROOT = tmp_path
    world = make_world()
    world.report = world.seal()
    HabitsFactory(vehicle=world.vehicle)
    LayerFactory(surface=world.bonnet, product=ProductFactory(studio=world.studio, name="two-coat ceramic C36"))
    Layer.objects.create(
        studio=world.studio, surface=world.bonnet, kind="wax", applied=TODAY - timedelta(days=800),
        ended=TODAY - timedelta(days=450), coats=1,
    )  # fmt: skip
    record_correction(
        studio=world.studio, surface_id=world.bonnet.pk, stage="one_step", on=TODAY - timedelta(days=460), passes=1,
        happened_elsewhere=True, actor="member:1", at=NOW,
    )  # fmt: skip
    condition.assess(at=NOW)
    return world


def share(world, *, days=14, at=NOW, customer=None):
    customer = customer or world.keeper
    return sharing.share(
        customer_ids=(customer.pk,), vehicle_id=world.vehicle.pk, days=days, actor=f"customer:{customer.pk}", at=at
    )


def test_the_seal_is_the_sha_256_of_the_canonical_text_and_the_journal_is_its_witness(world):
    made = share(world)
    text = made.record.content
    # RFC 8785: no white space, members in the order of their UTF-16 code units; hashlib is outside the project.
    assert canonical(json.loads(text)) == text
    assert made.record.digest == hashlib.sha256(text.encode()).hexdigest()
    entry = JournalEntry.objects.get(verb="care record issued")
    assert entry.data["digest"] == made.record.digest
    assert JournalEntry.objects.get(verb="care record shared").data["days"] == 14
    assert reads.open_link(made.token, at=NOW, count=False).unchanged


def test_it_holds_layers_paint_looks_and_what_was_seen(world):
    content = json.loads(share(world).record.content)
    bonnet = next(row for row in content["surfaces"] if row["code"] == "bonnet")
    (layer,) = bonnet["layers"]
    assert layer["product"] == "two-coat ceramic C36"
    assert layer["applied"] == (TODAY - timedelta(days=450)).isoformat()
    low, middle, high = (float(value) for value in layer["function_left"])
    assert 0 <= low <= middle <= high <= 1
    assert [row["kind"] for row in bonnet["earlier"]] == ["wax"]
    (film,) = bonnet["films"]
    # Mean of 118, 121.5, 117.25, 120 and 119.5, all of spot 1: 119.25.
    assert (film["readings"], film["mean_um"], film["on"]) == (5, "119.2", TODAY.isoformat())
    (correction,) = bonnet["corrections"]
    assert correction["stage"] == "one_step"
    assert float(correction["low_um"]) < float(correction["high_um"])
    assert bonnet["clear"]["decision"] in ("none", "unknown", "finishing_only", "one_step_with_consent")
    (look,) = content["inspections"]
    assert look["report"] == {
        "number": world.report.number, "sealed_on": "2026-03-02", "digest": world.report.digest,
        "token": world.report.token,
    }  # fmt: skip


def test_typed_texts_lose_names_plates_addresses_and_numbers(world):
    Vehicle.objects.filter(pk=world.vehicle.pk).update(
        description="Tove's SUV, SKA-101, tove@elsewhere.example, +47 22 33 44 55, call HALVARSEN"
    )
    world.vehicle.refresh_from_db()
    said = content_of(world.vehicle, number=1, at=NOW)["vehicle"]["description"].lower()
    for wrong in ("tove", "halvarsen", "ska", "101", "@", "22 33"):
        assert wrong not in said
    assert said.count("(name left out)") == 5


def test_no_key_of_the_content_speaks_of_people_or_use(world):
    text = share(world).record.content
    names = set(re.findall(r'"(\w+)":', text))
    assert not names & {"keeper", "customer", "member", "plate", "habits", "note", "lat", "lon", "site", "by", "events"}


def test_only_the_keeper_shares_and_only_for_a_stated_time(world):
    other = CustomerFactory(studio=world.studio)
    with pytest.raises(NotFoundHere):
        share(world, customer=other)
    with pytest.raises(DomainError) as refused:
        share(world, days=3650)
    assert refused.value.field == "days"
    made = share(world, days=60)
    assert made.link.ends_at == NOW + timedelta(days=60)
    assert made.token not in json.dumps(list(RecordLink.objects.values()), default=str)
    assert len(made.token) == 32  # 192 bits in base64url (RFC 4648): 24 bytes, 4 characters for 3
    with pytest.raises(NotFoundHere):
        sharing.end(
            customer_ids=(other.pk,), vehicle_id=world.vehicle.pk, link_id=made.link.pk, actor="customer:0", at=NOW
        )


def test_no_more_than_ten_links_at_a_time(world):
    for _ in range(10):
        share(world)
    with pytest.raises(DomainError, match="end one of them first"):
        share(world)
    assert CareRecord.objects.count() == 10
    share(world, at=NOW + timedelta(days=15))  # the ten are over


def test_a_link_ends_by_time_by_hand_by_transfer_and_by_erasure(world):
    made = share(world)
    last = NOW + timedelta(days=14) - timedelta(seconds=1)
    reads.open_link(made.token, at=last, count=True)
    with pytest.raises(reads.LinkOver):
        reads.open_link(made.token, at=NOW + timedelta(days=14), count=True)
    by_hand = share(world)
    for _ in range(2):  # twice does no harm
        sharing.end(
            customer_ids=(world.keeper.pk,), vehicle_id=world.vehicle.pk, link_id=by_hand.link.pk, actor="customer:1",
            at=NOW,
        )  # fmt: skip
    assert JournalEntry.objects.filter(verb="record link ended").count() == 1
    with pytest.raises(reads.LinkOver):
        reads.open_link(by_hand.token, at=NOW, count=True)
    sold = share(world)
    buyer = CustomerFactory(studio=world.studio)
    transfer(studio=world.studio, vehicle_id=world.vehicle.pk, to_customer_id=buyer.pk, on=TODAY, actor="member:1",
             at=NOW)  # fmt: skip
    with pytest.raises(reads.LinkOver):
        reads.open_link(sold.token, at=NOW, count=True)
    with pytest.raises(NotFoundHere):
        share(world)
    bought = share(world, customer=buyer)
    erase_customer(studio=world.studio, customer_id=buyer.pk, typed=buyer.name, actor="member:1", at=NOW)
    with pytest.raises(NotFoundHere):
        reads.open_link(bought.token, at=NOW, count=True)
    assert reads.check(bought.record.code).unchanged  # a copy is checked all the same


def test_openings_are_counted_but_not_ones_own_and_nothing_else_is_kept(world):
    made = share(world)
    before = JournalEntry.objects.count()
    for own in ((), (world.keeper.pk,), ()):
        reads.open_link(made.token, at=NOW, count=True, own=own)
    reads.open_link(made.token, at=NOW, count=False)
    (line,) = reads.sharing((world.keeper.pk,), world.vehicle.pk, at=NOW).links
    assert line.opened == 2
    assert JournalEntry.objects.count() == before


def test_a_newer_one_is_named_on_the_older(world):
    first = share(world)
    assert reads.check(first.record.code).newer_on is None
    later = NOW + timedelta(days=3)
    second = share(world, at=later)
    assert second.record.number == first.record.number + 1
    assert reads.check(first.record.code).newer_on == later
    assert reads.open_link(first.token, at=later, count=False).newer_on == later
    assert reads.check(second.record.code).newer_on is None


def test_the_database_refuses_a_change_and_a_change_behind_its_back_is_told(world):
    made = share(world)
    with pytest.raises(DatabaseError), transaction.atomic():
        CareRecord.objects.filter(pk=made.record.pk).update(content="{}")
    with pytest.raises(DatabaseError), transaction.atomic():
        CareRecord.objects.filter(pk=made.record.pk).delete()
    record = CareRecord.objects.get(pk=made.record.pk)
    record.content = record.content.replace("C36", "C60")
    assert not reads._unchanged(record)
    record.digest = sharing.record_digest(record.content)  # digest made to fit: the journal still differs
    assert not reads._unchanged(record)


def test_as_many_queries_for_many_surfaces_and_links_as_for_few(world):
    def counts():
        with CaptureQueriesContext(connection) as made:
            content_of(world.vehicle, number=1, at=NOW)
        with CaptureQueriesContext(connection) as listed:
            reads.sharing((world.keeper.pk,), world.vehicle.pk, at=NOW)
        return len(made), len(listed)

    share(world)
    few = counts()
    for n in range(30):
        LayerFactory(surface=SurfaceFactory(vehicle=world.vehicle, code=f"panel_{n}"))
        world.another()
    for n in range(9):
        share(world, at=NOW + timedelta(seconds=n))
    assert counts() == few


def test_it_belongs_to_the_keepers_own_data_without_the_token(world):
    made = share(world)
    parts = own_data((world.keeper.pk,), at=NOW)["parts"]
    (link,) = parts["Links to a care record that you shared"]
    assert "token_digest" not in link
    assert parts["Care records issued for a buyer"][0]["digest"] == made.record.digest
