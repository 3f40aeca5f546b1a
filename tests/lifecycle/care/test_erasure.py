"""Erasure of a person: nothing anywhere names them afterwards, and the technical record of the vehicles stays."""

from __future__ import annotations

import json
import re
from datetime import timedelta

import pytest
from allauth.account.models import EmailAddress
from django.apps import apps
from django.db import connection
from django.db import models as fields
from django.test import override_settings

from lifecycle import condition
from lifecycle.care import register, sealing
from lifecycle.care.addresses import LEFT_OUT, Named, digest, digests, without
from lifecycle.care.correction_consent import record_consent
from lifecycle.care.corrections import keep_plan
from lifecycle.care.erasure import ERASED, NEVER_CHANGED, erase_customer, what_would_go
from lifecycle.care.keeping_back import readmit_vehicle
from lifecycle.care.photos import add_photo
from lifecycle.care.record import FindingEntry, ReadingEntry, record_event, record_habits, record_inspection
from lifecycle.care.reports.signature import Signature
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import (
    Assessment,
    CareEvent,
    Complaint,
    Consent,
    CorrectionSignature,
    Customer,
    Habits,
    Keeper,
    Layer,
    Message,
    MessageState,
    Offer,
    OfferStep,
    Photo,
    Reading,
    Receipt,
    Report,
    ReportParty,
    Suppression,
    User,
    Vehicle,
)
from lifecycle.outlook import offers
from lifecycle.reminders import facts, receipts
from lifecycle.reminders.rules import Send, decide
from lifecycle.wear.types import Place
from tests import people
from tests.factories import (
    NOW,
    TODAY,
    CareDueFactory,
    CustomerFactory,
    LayerFactory,
    MessageFactory,
    ReminderFactory,
    StudioFactory,
    SurfaceFactory,
    UserFactory,
    VehicleFactory,
)
from tests.pictures import picture

pytestmark = pytest.mark.django_db
BY = {"actor": "member:1", "at": NOW}
NAME, EMAIL, PHONE = "Søve Halvarsen", "sove.halvarsen@example.org", "+47 912 34 567"


def _texts():
    """Every text of every table of every app, with where it stands."""
    for model in apps.get_models(include_auto_created=True):
        kinds = (fields.CharField, fields.TextField, fields.JSONField, fields.FileField)
        names = [field.name for field in model._meta.concrete_fields if isinstance(field, kinds)]
        for row in model._base_manager.values_list("pk", *names):
            for name, value in zip(names, row[1:], strict=True):
                text = value if isinstance(value, str) else json.dumps(value, ensure_ascii=False, default=str)
                yield f"{model.__name__}.{name} {row[0]}", text


def _naming(name: str, email: str, phone: str) -> list[str]:
    number = re.sub(r"\D", "", phone)
    return [
        where
        for where, text in _texts()
        if name.lower() in text.lower() or email.lower() in text.lower() or number in re.sub(r"[\s()./+-]", "", text)
    ]


@pytest.fixture
def person():
    """Somebody who has left their name wherever it can be left."""
    studio = StudioFactory()
    user = UserFactory(email=EMAIL, name=NAME)
    EmailAddress.objects.create(user=user, email=EMAIL, verified=True, primary=True)
    customer = CustomerFactory(studio=studio, name=NAME, email=EMAIL, phone=PHONE, user=user)
    vehicle = VehicleFactory(site__studio=studio, keeper=customer, plate="SOV 123", description=f"black SUV of {NAME}")
    surface = SurfaceFactory(vehicle=vehicle, code="bonnet")
    LayerFactory(surface=surface)
    ids = {"studio": studio, "vehicle_id": vehicle.pk}
    record_habits(
        **ids, start=TODAY - timedelta(days=300), parking="street", km_per_year=9000, wash_method="two_bucket",
        washes_per_year=20, place=Place(58.123, 6.456, 4, 300), **BY,
    )  # fmt: skip
    record_event(**ids, kind="sap", on=TODAY, by="customer", note="beside my own house", **BY)
    record_event(**ids, kind="wash", on=TODAY, note=f"brought by HALVARSEN, call 0047 91234567, {EMAIL.upper()}", **BY)
    record_inspection(
        **ids, on=TODAY, clean_state="washed", note=f"{NAME} waited here",
        findings=[FindingEntry(kind="chip", surface_id=surface.pk, note=f"says {NAME}")],
        readings=[ReadingEntry(surface.pk, "contact_angle_deg", 96)], **BY,
    )  # fmt: skip
    add_photo(**ids, upload=picture(), name="a.jpg", by="customer", caption=NAME, **BY)
    register.add_contract_term(**ids, title=f"yearly look, {NAME}", due=TODAY, tolerance_days=30, **BY)
    register.open_complaint(studio=studio, customer_id=customer.pk, about=f"{NAME} is cross", **BY)
    for purpose, given in (("service", True), ("promotion", False)):
        register.set_consent(
            studio=studio, customer_id=customer.pk, purpose=purpose, given=given, how=f"by phone, {PHONE}",
            wording=f"Write to {NAME} at {EMAIL}.", **BY,
        )  # fmt: skip
    due = CareDueFactory(vehicle=vehicle)
    offer = Offer.objects.create(
        studio=studio, vehicle=vehicle, due=due, task=due.task, price_low=80, price_high=120, made_at=NOW
    )
    OfferStep.objects.create(studio=studio, offer=offer, kind="recommended", at=NOW)
    OfferStep.objects.create(studio=studio, offer=offer, kind="offered", at=NOW)
    offers.answer(studio=studio, offer_id=offer.pk, kind="declined", why=f"{NAME} moves", **BY)
    message = MessageFactory(
        customer=customer, subject=f"Dear {NAME}", text=f"{NAME} {EMAIL}", html=f"<p>{NAME}</p>",
        headers={"To": EMAIL, "X-Sheenward-Reminders": "1"}, error=f"550 {EMAIL}", state="retry",
    )  # fmt: skip
    Receipt.objects.create(
        studio=studio, provider="p", event_id="1", message=message, kind="deferred", occurred_at=NOW, received_at=NOW,
        detail=f"mailbox of {EMAIL} full",
    )  # fmt: skip
    Suppression.objects.create(studio=studio, email=EMAIL, why="complained", at=NOW)
    other = VehicleFactory(site=vehicle.site)
    record_event(studio=studio, vehicle_id=other.pk, kind="wash", on=TODAY, note=f"paid for by {NAME}", **BY)
    condition.assess_one(studio=studio, vehicle_id=vehicle.pk, at=NOW)
    return customer


def _erase(customer, **fields_):
    return erase_customer(studio=customer.studio, customer_id=customer.pk, typed=NAME, **fields_, **BY)


def test_nothing_in_any_table_names_the_person_and_the_record_stays(person, django_capture_on_commit_callbacks):
    assert len(_naming(NAME, EMAIL, PHONE)) > 12  # the search finds what is there
    vehicle = Vehicle.objects.get(plate="SOV 123")
    photo = Photo.objects.get()
    goes = what_would_go(studio=person.studio, customer_id=person.pk)
    assert (goes.plates_go, goes.messages, goes.complaints, goes.photos, goes.notes) == (("SOV 123",), 1, 1, 1, 1)
    assert (goes.statements, goes.signs_in, goes.works_here, goes.suppressed) == (2, True, False, True)
    with django_capture_on_commit_callbacks(execute=True):
        _erase(person)
    assert _naming(NAME, EMAIL, PHONE) == []
    for word in ("halvarsen", "beside my own house", "sov 123"):  # surname, own note, plate
        assert [where for where, text in _texts() if word in text.lower()] == []
    person.refresh_from_db()
    assert (person.name, person.email, person.phone, person.user, person.erased_at) == (ERASED, "", "", None, NOW)
    assert not User.objects.filter(email=EMAIL).exists()
    assert not EmailAddress.objects.exists()
    assert not photo.file.storage.exists(photo.file.name)
    # What is about the vehicle stays, linked to nobody.
    vehicle.refresh_from_db()
    assert (vehicle.plate, vehicle.retired_on) == (f"ERASED {vehicle.pk}", TODAY)
    assert Keeper.objects.get(vehicle=vehicle).end == TODAY
    assert (Layer.objects.count(), Reading.objects.count(), CareEvent.objects.filter(vehicle=vehicle).count()) == (
        1,
        1,
        2,
    )
    assert Habits.objects.get().km_per_year == 9000
    assert Habits.objects.get().lat is None
    # Statements stay with day and words, without a name.
    assert [row.wording for row in Consent.objects.order_by("pk")] == [f"Write to {LEFT_OUT} at {LEFT_OUT}."] * 2
    message = Message.objects.get()
    assert (message.state, message.headers) == (MessageState.STOPPED, {"X-Sheenward-Reminders": "1"})
    assert Complaint.objects.get().closed_at == NOW
    # The vehicle of somebody else keeps its wash, without the name.
    assert CareEvent.objects.get(note__startswith="paid for").note == f"paid for by {LEFT_OUT}"
    with pytest.raises(DomainError, match="erased already"):
        _erase(person)


def test_an_address_that_must_not_be_written_to_stays_as_a_digest_that_still_holds(person):
    _erase(person)
    row = Suppression.objects.get()
    assert (row.email, row.why, row.digest) == ("", "complained", digest(person.studio_id, EMAIL))
    # The same address comes back by an import, with a consent: nothing is sent to it all the same.
    again = CustomerFactory(studio=person.studio, email=EMAIL.title(), name="N. N.")
    register.set_consent(
        studio=person.studio, customer_id=again.pk, purpose="service", given=True, how="list", wording="Yes.", **BY
    )
    due = CareDueFactory(vehicle=VehicleFactory(site__studio=person.studio, keeper=again))
    found = facts.gather([due], at=NOW).of(due, "first", again)
    assert found.suppressed == "complained"
    assert decide(found).reason_code == "suppressed"
    assert not isinstance(decide(found), Send)
    # Another studio, where the person has said no such thing, is not bound by it.
    elsewhere = CustomerFactory(email=EMAIL)
    due = CareDueFactory(vehicle=VehicleFactory(site__studio=elsewhere.studio, keeper=elsewhere))
    assert facts.gather([due], at=NOW).of(due, "first", elsewhere).suppressed == ""


def test_without_an_objection_no_digest_is_kept_unless_asked_for(person):
    Suppression.objects.all().delete()
    _erase(person)
    assert not Suppression.objects.exists()
    second = CustomerFactory(studio=person.studio, name=NAME, email=EMAIL)
    _erase(second, never_write=True)
    assert Suppression.objects.get().why == "asked"


def test_the_digest_is_keyed_and_outlives_a_new_key():
    with override_settings(SECRET_KEY="one", SECRET_KEY_FALLBACKS=[]):
        old = digest(1, " A@Example.org ")
        assert old == digest(1, "a@example.org") != digest(2, "a@example.org")
    with override_settings(SECRET_KEY="two", SECRET_KEY_FALLBACKS=["one"]):
        assert digest(1, "a@example.org") != old
        assert old in digests(1, "a@example.org")


def test_a_late_receipt_suppresses_nobody(person):
    message = Message.objects.get()
    _erase(person)
    before = Suppression.objects.count()
    receipts.take(
        provider="p", event_id="2", uid=str(message.uid), kind="bounced", occurred_at=NOW, detail="550", at=NOW
    )
    assert Suppression.objects.count() == before


def test_who_works_here_or_is_a_customer_elsewhere_keeps_the_account():
    member = people.technician()
    worker = CustomerFactory(studio=member.studio, user=member.user, email=member.user.email, name="Mabry Linnock")
    erase_customer(studio=worker.studio, customer_id=worker.pk, typed="Mabry Linnock", **BY)
    assert User.objects.filter(pk=member.user_id).exists()
    here = people.customer(name="Osric Pell")
    CustomerFactory(user=here.user, email=here.email, name="Osric Pell")
    goes = what_would_go(studio=here.studio, customer_id=here.pk)
    assert goes.other_studios == 1
    erase_customer(studio=here.studio, customer_id=here.pk, typed="Osric  Pell ", **BY)
    assert User.objects.get(pk=here.user_id).customers.get().name == "Osric Pell"


def test_a_vehicle_that_somebody_else_keeps_now_stays_with_them(person):
    vehicle = Vehicle.objects.get(plate="SOV 123")
    buyer = CustomerFactory(studio=person.studio, name="Jory Tamm")
    register.transfer(studio=person.studio, vehicle_id=vehicle.pk, to_customer_id=buyer.pk, on=TODAY, **BY)
    _erase(person)
    vehicle.refresh_from_db()
    assert (vehicle.plate, vehicle.retired_on, vehicle.assess_again) == ("SOV 123", None, True)
    assert Keeper.objects.get(vehicle=vehicle, end=None).customer == buyer
    assert _naming(NAME, EMAIL, PHONE) == []
    condition.assess_one(studio=person.studio, vehicle_id=vehicle.pk, at=NOW)  # the cycle goes on
    assert Assessment.objects.get(vehicle=vehicle, latest=True).inputs


def test_a_namesake_keeps_the_name(person):
    namesake = CustomerFactory(studio=person.studio, name=NAME, email="other@example.org")
    _erase(person)
    assert Customer.objects.get(pk=namesake.pk).name == NAME


def test_a_plate_that_went_is_given_anew_when_the_vehicle_comes_back(person):
    vehicle = Vehicle.objects.get(plate="SOV 123")
    _erase(person)
    keeper = CustomerFactory(studio=person.studio)
    ids = {"studio": person.studio, "vehicle_id": vehicle.pk, "keeper_id": keeper.pk, "on": TODAY}
    with pytest.raises(DomainError, match="plate"):
        readmit_vehicle(**ids, **BY)
    with pytest.raises(DomainError, match="erased"):
        readmit_vehicle(**ids | {"keeper_id": person.pk}, plate="SOV 9", **BY)
    assert readmit_vehicle(**ids, plate="SOV 9", **BY).plate == "SOV 9"


def test_it_is_refused_until_the_name_is_typed_and_while_a_mail_is_handed_over(person):
    ids = {"studio": person.studio, "customer_id": person.pk}
    with pytest.raises(DomainError, match="type the name") as caught:
        erase_customer(**ids, typed="Sove", **BY)
    assert caught.value.field == "typed"
    with pytest.raises(NotFoundHere):
        erase_customer(**ids | {"studio": StudioFactory()}, typed=NAME, **BY)
    Message.objects.update(state="handing_over", claim="0" * 32, lease_until=NOW)
    with pytest.raises(DomainError, match="handed over"):
        _erase(person)
    assert Customer.objects.get(pk=person.pk).name == NAME


def test_sealed_reports_name_nobody_and_stay_as_they_were_sealed():
    """A sealed text cannot be changed, so a keeper's name is kept out before; the signature can be blanked."""
    member = people.technician()
    customer = CustomerFactory(studio=member.studio, name=NAME, email=EMAIL, phone=PHONE)
    vehicle = VehicleFactory(site__studio=member.studio, keeper=customer)
    before = CustomerFactory(studio=member.studio, name="Jory Tamm", email="jory.tamm@example.org")
    start = vehicle.keepers.get().start
    Keeper.objects.create(
        studio=member.studio, vehicle=vehicle, customer=before, start=start - timedelta(days=900), end=start
    )  # fmt: skip
    ids = {"studio": member.studio, "vehicle_id": vehicle.pk}
    surface = SurfaceFactory(vehicle=vehicle, code="bonnet")
    sealed = []
    for note in (f"{NAME} says so", "Jory Tamm did it", "by the keeper's word"):
        looked = record_inspection(
            **ids, on=TODAY, clean_state="washed", member_id=member.pk,
            findings=[FindingEntry(kind="chip", surface_id=surface.pk, note=note)], **BY,
        )  # fmt: skip
        drafted = sealing.draft(studio=member.studio, inspection_id=looked.pk, at=NOW)
        signature = Signature(name=NAME, how="typed", strokes=[])
        sealed.append(
            {"studio": member.studio, "inspection_id": looked.pk, "member_id": member.pk, "seen": drafted.seen,
             "signature": signature, **BY}
        )  # fmt: skip
    for named in sealed[:2]:
        with pytest.raises(DomainError, match="names the keeper or one before"):
            sealing.seal_report(**named)
    report = sealing.seal_report(**sealed[2])
    with pytest.raises(DomainError, match="names the keeper"):
        sealing.seal_addendum(studio=member.studio, report_id=report.pk, text=f"ask {NAME}", member_id=member.pk, **BY)
    assert ReportParty.objects.get().name == NAME
    _erase(customer)
    assert _naming(NAME, EMAIL, PHONE) == []
    assert Report.objects.get().content == report.content


@pytest.mark.parametrize(
    ("text", "left"),
    [
        ("call 0047-912-34-567 now", f"call {LEFT_OUT} now"),
        ("or 912 34 567.", f"or {LEFT_OUT}."),
        ("SØVE  HALVARSEN", LEFT_OUT),
        ("Halvarsensgate 3", "Halvarsensgate 3"),
        ("x" + EMAIL, "x" + EMAIL),
        ("nothing here", "nothing here"),
    ],
)
def test_what_counts_as_a_name(text, left):
    assert without(text, Named(NAME, EMAIL, PHONE)) == left


def test_one_word_alone_is_no_name_unless_written_as_one():
    named = Named("Grey", "", "")
    assert without("a grey estate of Grey", named) == f"a grey estate of {LEFT_OUT}"
    assert without("5 µm", Named("", "", "5")) == "5 µm"


def test_a_written_reminder_is_not_written_again(person):
    due = CareDueFactory(vehicle=Vehicle.objects.get(plate="SOV 123"), task="inspection")
    reminder = ReminderFactory(due=due, customer=person)
    _erase(person)
    due.refresh_from_db()
    assert due.state == "withdrawn"
    assert reminder.customer_id == person.pk
    assert not facts.gather([due], at=NOW).of(due, "first", Customer.objects.get(pk=person.pk)).has_address


def test_rows_that_cannot_be_changed_are_known_to_the_erasure(person):
    """Each table with a trigger against changes must be left alone, and hold no name from the start."""
    listed = {
        "sqlite": "SELECT tbl_name FROM sqlite_master WHERE type = 'trigger' AND name LIKE '%_no_update'",
        "postgresql": "SELECT event_object_table FROM information_schema.triggers "
        "WHERE trigger_name LIKE '%_append_only'",
    }
    with connection.cursor() as cursor:
        cursor.execute(listed[connection.vendor])
        assert {row[0] for row in cursor.fetchall()} == NEVER_CHANGED
    vehicle = Vehicle.objects.get(plate="SOV 123")
    bonnet = vehicle.surfaces.get()
    record_inspection(
        studio=person.studio, vehicle_id=vehicle.pk, on=TODAY, clean_state="washed",
        readings=[ReadingEntry(bonnet.pk, "thickness_um", um, method="magnetic") for um in (119, 121, 120, 118, 122)],
        **BY,
    )  # fmt: skip
    plan = keep_plan(
        studio=person.studio, vehicle_id=vehicle.pk, chosen={bonnet.pk: ("finishing", 1)}, note=f"for {NAME}", **BY
    )
    record_consent(studio=person.studio, plan_id=plan.pk, given=True, how="spoken", note=f"{NAME} nods", **BY)
    record_consent(
        studio=person.studio, plan_id=plan.pk, given=True, how="signed",
        strokes=json.dumps([[[x, 2 * x] for x in range(10, 60, 5)]]),
        wording=f"I, {NAME}, agree.", **BY,
    )  # fmt: skip
    _erase(person)
    assert _naming(NAME, EMAIL, PHONE) == []
    assert not CorrectionSignature.objects.exists()
