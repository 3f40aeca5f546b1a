"""Recording verbs: what they write, what they end, and how they refuse."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from lifecycle.care.corrections import record_correction
from lifecycle.care.layering import record_layer
from lifecycle.care.record import (
    FindingEntry,
    ReadingEntry,
    record_event,
    record_habits,
    record_inspection,
    record_storage,
)
from lifecycle.care.register import (
    add_contract_term,
    add_surface,
    close_complaint,
    open_complaint,
    register_customer,
    register_vehicle,
    set_consent,
    transfer,
)
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Habits, Inspection, JournalEntry, Keeper, Layer, Reading, Vehicle
from tests.factories import (
    NOW,
    TODAY,
    CustomerFactory,
    HabitsFactory,
    LayerFactory,
    ProductFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)

pytestmark = pytest.mark.django_db
BY = {"actor": "member:1", "at": NOW}


@pytest.fixture
def surface():
    return SurfaceFactory(code="bonnet")


def test_a_layer_is_recorded_with_its_journal_and_asks_for_a_forecast(surface):
    Vehicle.objects.update(assess_again=False)
    layer = record_layer(studio=surface.studio, surface_id=surface.pk, kind="ceramic_mid", applied=TODAY, coats=2, **BY)
    entry = JournalEntry.objects.get(subject="layer", subject_id=layer.pk)
    assert (entry.verb, entry.actor, entry.vehicle_id) == ("layer recorded", "member:1", surface.vehicle_id)
    assert Vehicle.objects.get().assess_again is True


def test_a_renewed_layer_ends_the_old_one_of_its_kind_and_no_other(surface):
    base = LayerFactory(surface=surface, kind="ceramic_mid", applied=TODAY - timedelta(days=400))
    old = LayerFactory(surface=surface, kind="booster", applied=TODAY - timedelta(days=200))
    record_layer(studio=surface.studio, surface_id=surface.pk, kind="booster", applied=TODAY, **BY)
    old.refresh_from_db()
    base.refresh_from_db()
    assert (old.ended, base.ended) == (TODAY, None), "a top-up never resets the base"
    assert Layer.objects.filter(kind="booster", ended=None).count() == 1


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"kind": "wonder_wax"}, "kind"),
        ({"applied": TODAY + timedelta(days=1)}, "applied"),
        ({"coats": 0}, "coats"),
    ],
)
def test_a_wrong_layer_is_refused_by_name_and_nothing_is_written(surface, change, field):
    given = {"studio": surface.studio, "surface_id": surface.pk, "kind": "wax", "applied": TODAY, **BY, **change}
    with pytest.raises(DomainError) as refused:
        record_layer(**given)
    assert refused.value.field == field
    assert field in str(refused.value)
    assert Layer.objects.count() == 0


def test_a_product_of_another_kind_or_studio_is_refused(surface):
    with pytest.raises(DomainError, match="is of kind"):
        record_layer(
            studio=surface.studio, surface_id=surface.pk, kind="wax", applied=TODAY,
            product_id=ProductFactory(studio=surface.studio, kind="sealant").pk, **BY,
        )  # fmt: skip
    with pytest.raises(NotFoundHere):
        record_layer(
            studio=surface.studio, surface_id=surface.pk, kind="ceramic_mid", applied=TODAY,
            product_id=ProductFactory().pk, **BY,
        )  # fmt: skip


def test_foreign_rows_are_not_here(surface):
    with pytest.raises(NotFoundHere):
        record_layer(studio=StudioFactory(), surface_id=surface.pk, kind="wax", applied=TODAY, **BY)


def test_a_correction_ends_the_coats_of_its_surface_but_not_a_film(surface):
    """Common practice, no source: a machine polish takes the coats above the clear; on film it takes the top coat."""
    other = LayerFactory(surface=SurfaceFactory(vehicle=surface.vehicle, code="roof"))
    film = LayerFactory(surface=surface, kind="film_body")
    top = LayerFactory(surface=surface, kind="film_top_coat")
    coat = LayerFactory(surface=surface, kind="ceramic_mid")
    record_correction(
        studio=surface.studio, surface_id=surface.pk, on=TODAY, stage="one_step", happened_elsewhere=True, **BY
    )
    ended = set(Layer.objects.exclude(ended=None))
    assert ended == {top, coat}
    assert other not in ended
    assert film not in ended


def test_a_repaint_ends_everything_and_marks_the_finish(surface):
    LayerFactory(surface=surface, kind="film_body")
    record_event(
        studio=surface.studio, vehicle_id=surface.vehicle_id, kind="repaint", on=TODAY, surface_id=surface.pk, **BY
    )
    surface.refresh_from_db()
    assert (surface.finish, surface.refinished_on) == ("refinish", TODAY)
    assert Layer.objects.filter(ended=None).count() == 0


def test_an_inspection_is_all_or_nothing(surface):
    entries = [ReadingEntry(surface.pk, "beading_score", 4), ReadingEntry(surface.pk, "contact_angle_deg", 400)]
    with pytest.raises(DomainError, match=r"400 on the bonnet is not between 0 and 180 degrees"):
        record_inspection(
            studio=surface.studio, vehicle_id=surface.vehicle_id, on=TODAY, clean_state="washed", readings=entries, **BY
        )
    assert (Inspection.objects.count(), Reading.objects.count()) == (0, 0)


def test_an_inspection_keeps_readings_and_findings(surface):
    inspection = record_inspection(
        studio=surface.studio, vehicle_id=surface.vehicle_id, on=TODAY, clean_state="decontaminated",
        readings=[ReadingEntry(surface.pk, "works", 1)],
        findings=[FindingEntry("chip", surface.pk, severity=2)], **BY,
    )  # fmt: skip
    assert inspection.readings.get().value == 1
    assert inspection.findings.get().pre_existing is True


def test_a_finding_on_another_vehicle_is_refused(surface):
    other = SurfaceFactory(vehicle=VehicleFactory(site=surface.vehicle.site))
    with pytest.raises(DomainError, match="belongs to another vehicle"):
        record_inspection(
            studio=surface.studio, vehicle_id=surface.vehicle_id, on=TODAY, clean_state="washed",
            findings=[FindingEntry("chip", other.pk)], **BY,
        )  # fmt: skip
    assert Inspection.objects.count() == 0


@pytest.mark.parametrize("day", [date(1, 1, 1), date(1949, 12, 31)])
def test_a_slip_of_the_keyboard_in_a_date_is_refused(surface, day):
    with pytest.raises(DomainError, match="is not between 1950-01-01 and 2100-01-01"):
        record_layer(studio=surface.studio, surface_id=surface.pk, kind="wax", applied=day, **BY)
    with pytest.raises(DomainError, match="is not between"):
        add_contract_term(
            studio=surface.studio, vehicle_id=surface.vehicle_id, title="yearly", due=day, tolerance_days=3, **BY
        )


def test_a_magnetic_gauge_reads_nothing_on_plastic():
    """A magnetic gauge needs a ferrous substrate (ISO 2808, magnetic methods; from memory)."""
    bumper = SurfaceFactory(substrate="plastic")
    with pytest.raises(DomainError, match="reads nothing on plastic"):
        record_inspection(
            studio=bumper.studio, vehicle_id=bumper.vehicle_id, on=TODAY, clean_state="washed",
            readings=[ReadingEntry(bumper.pk, "thickness_um", 110, method="magnetic")], **BY,
        )  # fmt: skip


def test_habits_are_dated_and_follow_each_other(surface):
    old = HabitsFactory(vehicle=surface.vehicle)
    new = record_habits(
        studio=surface.studio, vehicle_id=surface.vehicle_id, start=TODAY, parking="street", km_per_year=9000,
        wash_method="two_bucket", washes_per_year=12, **BY,
    )  # fmt: skip
    old.refresh_from_db()
    assert (old.end, new.start, new.end) == (TODAY, TODAY, None)
    again = record_habits(
        studio=surface.studio, vehicle_id=surface.vehicle_id, start=TODAY, parking="garage", km_per_year=9000,
        wash_method="two_bucket", washes_per_year=12, **BY,
    )  # fmt: skip
    assert list(Habits.objects.filter(vehicle=surface.vehicle, end=None)) == [again], "a slip of the same day is mended"
    with pytest.raises(DomainError, match="before the start"):
        record_habits(
            studio=surface.studio, vehicle_id=surface.vehicle_id, start=TODAY - timedelta(days=1), parking="street",
            km_per_year=9000, wash_method="two_bucket", washes_per_year=12, **BY,
        )  # fmt: skip


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"parking": "moon"}, "parking"),
        ({"km_per_year": -1}, "km_per_year"),
        ({"km_per_year": float("nan")}, "km_per_year"),
        ({"washes_per_year": 1000}, "washes_per_year"),
        ({"trees_birds": 4}, "trees_birds"),
        ({"wash_ph": "soapy"}, "wash_ph"),
    ],
)
def test_wrong_habits_are_refused(surface, change, field):
    given = {
        "studio": surface.studio, "vehicle_id": surface.vehicle_id, "start": TODAY, "parking": "street",
        "km_per_year": 1, "wash_method": "two_bucket", "washes_per_year": 1, **BY, **change,
    }  # fmt: skip
    with pytest.raises(DomainError) as refused:
        record_habits(**given)
    assert refused.value.field == field


def test_storage_ends_after_it_starts(surface):
    with pytest.raises(DomainError, match="not after the start"):
        record_storage(studio=surface.studio, vehicle_id=surface.vehicle_id, start=TODAY, end=TODAY, **BY)


def test_a_customer_and_a_vehicle_are_registered_once():
    site = SiteFactory()
    person = register_customer(studio=site.studio, name="Tove Halvarsen", email="Tove@example.org", **BY)
    assert person.email == "tove@example.org"
    assert person.zone == site.studio.zone
    with pytest.raises(DomainError, match="already uses"):
        register_customer(studio=site.studio, name="Other", email="tove@example.org", **BY)
    car = {
        "studio": site.studio, "site_id": site.pk, "keeper_id": person.pk, "plate": "sk 101", "description": "suv",
        "body": "suv", "size": "L", "colour": "black", "first_seen": TODAY, **BY,
    }  # fmt: skip
    vehicle = register_vehicle(**car)
    assert vehicle.plate == "SK 101"
    assert Keeper.objects.get(vehicle=vehicle).customer == person
    with pytest.raises(DomainError, match="already on record"):
        register_vehicle(**car)
    with pytest.raises(DomainError, match="colour: 'mauve' is not known; use one of white"):
        register_vehicle(**{**car, "plate": "SK 2", "colour": "mauve"})
    add_surface(studio=site.studio, vehicle_id=vehicle.pk, code="bonnet", orientation="flat", substrate="steel", **BY)
    with pytest.raises(DomainError, match="already has a surface"):
        add_surface(
            studio=site.studio, vehicle_id=vehicle.pk, code="bonnet", orientation="flat", substrate="steel", **BY
        )


def test_a_transfer_ends_one_keeper_and_starts_the_next_without_consent():
    vehicle = VehicleFactory()
    to = CustomerFactory(studio=vehicle.studio)
    transfer(studio=vehicle.studio, vehicle_id=vehicle.pk, to_customer_id=to.pk, on=TODAY, **BY)
    assert list(Keeper.objects.values_list("end", flat=True)) == [TODAY, None]
    assert to.consents.count() == 0
    with pytest.raises(DomainError, match="already keeps"):
        transfer(studio=vehicle.studio, vehicle_id=vehicle.pk, to_customer_id=to.pk, on=TODAY, **BY)


def test_consent_keeps_its_words():
    person = CustomerFactory()
    kept = set_consent(
        studio=person.studio, customer_id=person.pk, purpose="service", given=True, how="desk", wording="Yes, write.",
        **BY,
    )  # fmt: skip
    assert (kept.wording, kept.at) == ("Yes, write.", NOW)
    with pytest.raises(DomainError, match="keep the words"):
        set_consent(
            studio=person.studio, customer_id=person.pk, purpose="service", given=True, how="desk", wording=" ", **BY
        )


def test_a_complaint_closes_once():
    person = CustomerFactory()
    row = open_complaint(studio=person.studio, customer_id=person.pk, about="Water spots", **BY)
    close_complaint(studio=person.studio, complaint_id=row.pk, **BY)
    with pytest.raises(DomainError, match="already closed"):
        close_complaint(studio=person.studio, complaint_id=row.pk, **BY)
