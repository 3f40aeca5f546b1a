"""The intake's verbs: kept once, placed, altered until a report is sealed, journalled."""

from __future__ import annotations

from datetime import timedelta
from decimal import Decimal
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle.care import intake, intake_reads
from lifecycle.care.intake import FindingDetails
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import CareEvent, Finding, Inspection, JournalEntry
from tests.factories import NOW, TODAY, StudioFactory, SurfaceFactory, VehicleFactory
from tests.lifecycle.care.report_world import make_world

pytestmark = pytest.mark.django_db
WHO = {"actor": "member:1", "at": NOW}


@pytest.fixture
def car():
    vehicle = VehicleFactory()
    return vehicle, SurfaceFactory(vehicle=vehicle, code="bonnet")


def opened(vehicle, **change):
    given = {"kind": "walk_around", "on": TODAY, "clean_state": "dirty", "key": uuid4()}
    return intake.open_inspection(studio=vehicle.studio, vehicle_id=vehicle.pk, **(given | change), **WHO)


def add(inspection, key=None, **details):
    return intake.add_finding(
        studio=inspection.studio, inspection_id=inspection.pk, details=FindingDetails(**({"kind": "chip"} | details)),
        key=key, **WHO,
    )  # fmt: skip


def verbs_of(inspection):
    rows = JournalEntry.objects.filter(subject="inspection", subject_id=inspection.pk).order_by("id")
    return list(rows.values_list("verb", flat=True))


def test_what_is_sent_twice_is_stored_and_journalled_once(car):
    vehicle, bonnet = car
    key, finding_key, wash_key = uuid4(), uuid4(), uuid4()
    first, again = opened(vehicle, key=key), opened(vehicle, key=key)
    assert first.pk == again.pk
    one, two = (add(first, finding_key, surface_id=bonnet.pk, x=0.2, y=0.5, size_mm=3) for _ in range(2))
    assert one.pk == two.pk
    for _ in range(2):
        intake.note_cleaning(
            studio=vehicle.studio,
            vehicle_id=vehicle.pk,
            on=TODAY,
            washed=True,
            decontaminated=True,
            key=wash_key,
            **WHO,
        )
        intake.finish_inspection(
            studio=vehicle.studio, inspection_id=first.pk, rough_low=Decimal(300), rough_high=Decimal(450), **WHO
        )
    assert Inspection.objects.count() == Finding.objects.count() == 1
    assert sorted(CareEvent.objects.values_list("kind", flat=True)) == ["decontamination", "wash"]
    assert verbs_of(first) == ["inspection opened", "finding added", "inspection finished"]
    vehicle.refresh_from_db()
    assert vehicle.assess_again


def test_a_key_of_another_vehicle_is_refused(car):
    vehicle, _ = car
    key = opened(vehicle).key
    other = VehicleFactory(site=vehicle.site)
    with pytest.raises(DomainError, match="another vehicle"):
        opened(other, key=key)
    stranger = VehicleFactory()
    assert opened(stranger, key=key).studio == stranger.studio  # keys are the studio's own


def test_a_late_copy_does_not_bring_back_what_was_removed(car):
    vehicle, _ = car
    inspection, key = opened(vehicle), uuid4()
    intake.remove_finding(studio=vehicle.studio, finding_id=add(inspection, key).pk, **WHO)
    with pytest.raises(DomainError, match="removed since"):
        add(inspection, key)
    assert not Finding.objects.exists()
    assert verbs_of(inspection)[-2:] == ["finding added", "finding removed"]


def test_opening_the_next_inspection_finishes_the_one_before(car):
    vehicle, _ = car
    walk = opened(vehicle)
    detail = opened(vehicle, kind="pre_detail", clean_state="decontaminated", light="inspection lamp")
    walk.refresh_from_db()
    assert (walk.open, detail.open) == (False, True)
    assert verbs_of(walk)[-1] == "inspection finished"
    assert add(walk).inspection == walk  # what was noted offline still reaches the one that it belongs to


@pytest.mark.parametrize(
    ("details", "field"),
    [
        ({"kind": "dent"}, "kind"),
        ({"severity": 6}, "severity"),
        ({"size_mm": 0}, "size_mm"),
        ({"size_mm": 5001}, "size_mm"),
        ({"x": 0.5}, "x"),
        ({"x": 1.2, "y": 0}, "x"),
        ({"x": 0.2, "y": -0.1}, "y"),
        ({"on_outline": True, "x": 0.2, "y": 0.1}, "surface"),
        ({"note": "x" * 301}, "note"),
    ],
)
def test_a_finding_that_cannot_be_is_refused_at_its_field(car, details, field):
    inspection = opened(car[0])
    with pytest.raises(DomainError) as error:
        add(inspection, **details)
    assert error.value.field == field
    assert not Finding.objects.exists()


def test_days_prices_and_foreign_rows_are_refused(car):
    vehicle, _ = car
    with pytest.raises(DomainError, match="lies in the future"):
        opened(vehicle, on=TODAY + timedelta(days=1))
    inspection = opened(vehicle, rough_low=Decimal(200))
    assert (inspection.rough_low, inspection.rough_high) == (200, 200)
    finish = {"inspection_id": inspection.pk, **WHO}
    with pytest.raises(DomainError, match="less than the lower end") as error:
        intake.finish_inspection(studio=vehicle.studio, rough_low=Decimal(9), rough_high=Decimal(8), **finish)
    assert error.value.field == "rough_high"
    with pytest.raises(DomainError, match="say which was done"):
        intake.note_cleaning(
            studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, washed=False, decontaminated=False, **WHO
        )
    with pytest.raises(DomainError, match="another vehicle"):
        add(inspection, surface_id=SurfaceFactory(vehicle=VehicleFactory(site=vehicle.site)).pk)
    with pytest.raises(NotFoundHere):
        intake.finish_inspection(studio=StudioFactory(), **finish)
    with pytest.raises(NotFoundHere):
        intake.remove_finding(studio=StudioFactory(), finding_id=add(inspection).pk, **WHO)


def test_an_alteration_keeps_in_the_journal_what_was(car):
    vehicle, bonnet = car
    inspection = opened(vehicle)
    finding = add(inspection, surface_id=bonnet.pk, x=0.1, y=0.2, note="by the badge")
    details = FindingDetails("scratch", bonnet.pk, severity=4, pre_existing=False)
    intake.alter_finding(studio=vehicle.studio, finding_id=finding.pk, details=details, **WHO)
    finding.refresh_from_db()
    assert (finding.kind, finding.severity, finding.pre_existing, finding.x) == ("scratch", 4, False, None)
    entry = JournalEntry.objects.get(verb="finding altered")
    assert (entry.data["was"]["kind"], entry.data["was"]["x"], entry.data["now"]["kind"]) == ("chip", 0.1, "scratch")
    assert "badge" not in str(entry.data)


def test_a_sealed_report_closes_the_inspection():
    world = make_world()
    finding = world.inspection.findings.first()
    before = list(world.inspection.findings.values())
    world.seal()
    attempts = (
        lambda: add(world.inspection),
        lambda: intake.alter_finding(
            studio=world.studio, finding_id=finding.pk, details=FindingDetails("chip"), **WHO
        ),
        lambda: intake.remove_finding(studio=world.studio, finding_id=finding.pk, **WHO),
        lambda: intake.finish_inspection(
            studio=world.studio, inspection_id=world.inspection.pk, note="another", **WHO
        ),
    )  # fmt: skip
    for attempt in attempts:
        with pytest.raises(DomainError, match="addendum"):
            attempt()
    assert list(world.inspection.findings.values()) == before


def test_photos_of_a_removed_finding_stay_with_the_inspection():
    world = make_world()
    finding = Finding.objects.create(studio=world.studio, inspection=world.inspection, kind="chip")
    photo = world.photo(finding)
    intake.remove_finding(studio=world.studio, finding_id=finding.pk, **WHO)
    photo.refresh_from_db()
    assert (photo.finding, photo.inspection) == (None, world.inspection)


def test_the_page_reads_the_present_intake_alone(car, django_assert_num_queries):
    vehicle, bonnet = car
    old = opened(vehicle, kind="pre_detail", on=TODAY - timedelta(days=90), clean_state="decontaminated")
    add(old)
    walk = opened(vehicle)
    for _ in range(3):
        add(walk, surface_id=bonnet.pk)
    with CaptureQueriesContext(connection) as asked:
        few = intake_reads.intake(vehicle.studio, vehicle.pk)
    assert few.pre_detail is None
    assert [row.number for row in few.walk_around.findings] == [1, 2, 3]
    assert few.walk_around.open
    for _ in range(27):
        add(walk, surface_id=bonnet.pk)
    with django_assert_num_queries(len(asked)):
        assert len(intake_reads.intake(vehicle.studio, vehicle.pk).walk_around.findings) == 30
    with pytest.raises(NotFoundHere):
        intake_reads.intake(StudioFactory(), vehicle.pk)
