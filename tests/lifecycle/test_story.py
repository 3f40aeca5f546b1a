"""One reminder from the climate to the answer: all thirteen steps with a fixed clock, looking at every stored row."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, timedelta
from email.utils import parseaddr
from urllib.parse import urlsplit

import pytest
from django.conf import settings
from django.core import mail
from django.core.management import call_command

from lifecycle import models, tasks
from lifecycle.care.layering import record_layer
from lifecycle.care.record import ReadingEntry, record_event, record_habits, record_inspection
from lifecycle.care.register import add_surface, register_customer, register_vehicle, set_consent
from lifecycle.care.visits import book, settle
from lifecycle.outlook import offers, sheet_reads
from lifecycle.outlook.answers_read import answers
from lifecycle.outlook.prepared import prepare_studio
from lifecycle.reminders import receipts
from tests.factories import SiteFactory, StudioFactory

pytestmark = pytest.mark.django_db

NOW = datetime(2026, 3, 2, 9, 30, tzinfo=UTC)  # a Monday morning, outside quiet hours in Oslo
TODAY = NOW.date()
BY = {"actor": "member:1", "at": NOW}


@pytest.fixture
def story():
    """Step 2: what people recorded. A black car by the sea, two years after its coating, brush washed."""
    studio = StudioFactory(zone="Europe/Oslo")
    site = SiteFactory(studio=studio, name="Skarholt Sound", lat=58.0, lon=6.0, height_m=10, sea_distance_m=300)
    for task in ("decontamination_wash", "inspection", "booster", "recoat", "maintenance_wash"):
        models.Price.objects.create(studio=studio, task=task, size="L", low=90, high=140)
    person = register_customer(studio=studio, name="Tove Halvarsen", email="tove.halvarsen@example.org", **BY)
    set_consent(
        studio=studio, customer_id=person.pk, purpose="service", given=True, how="desk",
        wording="Please write to me when care is due.", **BY,
    )  # fmt: skip
    car = register_vehicle(
        studio=studio, site_id=site.pk, keeper_id=person.pk, plate="SKA 101", description="black large SUV",
        body="suv", size="L", colour="black", first_seen=date(2024, 3, 1), **BY,
    )  # fmt: skip
    bonnet = add_surface(studio=studio, vehicle_id=car.pk, code="bonnet", orientation="flat", substrate="steel", **BY)
    record_habits(
        studio=studio, vehicle_id=car.pk, start=date(2024, 3, 1), parking="street", km_per_year=15_000,
        wash_method="bristle_tunnel", washes_per_year=12, wash_ph="neutral", road_salt="heavy", trees_birds=1, **BY,
    )  # fmt: skip
    record_layer(studio=studio, surface_id=bonnet.pk, kind="ceramic_mid", applied=date(2024, 9, 1), coats=2, **BY)
    record_event(studio=studio, vehicle_id=car.pk, kind="wash", on=date(2026, 2, 20), by="customer", **BY)
    record_inspection(
        studio=studio, vehicle_id=car.pk, on=date(2025, 9, 1), clean_state="decontaminated",
        readings=[ReadingEntry(bonnet.pk, "contact_angle_deg", 99, drops=5)], **BY,
    )  # fmt: skip
    return studio, car, person, bonnet


def cycle(at: datetime) -> dict[str, dict[str, int]]:
    said: dict[str, dict[str, int]] = {}
    tasks.run_all(at=at, told=lambda step, counts: said.__setitem__(step.name, dict(counts)))
    return said


def everything() -> dict[str, int]:
    kept = (
        models.Assessment, models.Forecast, models.CareDue, models.VisitProposal, models.Reminder, models.Message,
        models.Offer, models.OfferStep, models.Receipt, models.ClimateNormal,
    )  # fmt: skip
    return {model.__name__: model.objects.count() for model in kept}


def test_the_whole_way_of_one_reminder(story, client, time_machine):
    time_machine.move_to(NOW, tick=False)  # the page that stops the mails has the wall clock
    studio, car, person, bonnet = story
    assert models.Habits.objects.get().road_salt == "heavy"  # 2
    assert models.CareEvent.objects.get().kind == "wash"
    said = cycle(NOW)
    assert said["climate"] == {"places": 1, "fetched": 1}
    look_at_climate()
    look_at_assessment(car, bonnet)
    due = look_at_care()
    message = look_at_reminders(person)
    head = look_at_mail(message)
    look_at_receipt(message)
    look_at_outlook(studio, due)

    # Once is once: the same cycle again plans what follows the first notice, and from then on nothing changes at all.
    cycle(NOW)
    assert (models.Message.objects.count(), len(mail.outbox)) == (1, 1)
    before = everything()
    cycle(NOW)
    cycle(NOW + timedelta(hours=1))
    assert everything() == before
    assert len(mail.outbox) == 1

    stop_by_the_link(client, head, person)
    cycle(NOW + timedelta(days=30))
    assert len(mail.outbox) == 1
    assert models.Reminder.objects.filter(state="skipped", reason_code__contains="consent").exists()


def look_at_climate():
    """Step 1: the cold coast has a class of its own and its figures are plausible."""
    climate = models.ClimateNormal.objects.get()
    assert climate.koppen_class in ("Cfb", "Cfc", "Dfb", "Dfc")
    # Koeppen-Geiger (Rubel et al. 2016): the warmest month of Cfb, Cfc, Dfb and Dfc stays below 22 °C.
    assert min(climate.months["air_c"]) < 8 < max(climate.months["air_c"]) < 22
    assert climate.fetched_at == NOW


def look_at_assessment(car, bonnet):
    """Steps 3 to 6: stress, forecast, evidence, assessment."""
    assessment = models.Assessment.objects.get()
    assert (assessment.vehicle, assessment.as_of, assessment.latest) == (car, TODAY, True)
    assert len(assessment.input_hash) == 64
    forecast = models.Forecast.objects.get()
    assert forecast.surface == bonnet
    assert 0 <= forecast.function_p10 < forecast.function_p50 < forecast.function_p90 <= 1
    assert forecast.seen_on == date(2025, 9, 1)
    assert forecast.evidence_says
    assert forecast.reasons[0]["mechanism"] in ("contamination", "wash_contact")
    assert forecast.marks
    assert forecast.course[0]["on"] < forecast.course[-1]["on"]
    clogging = assessment.surfaces["bonnet"]["clogging"]
    assert 0 <= clogging["p10"] <= clogging["p50"] <= clogging["p90"] <= 1


def look_at_care():
    """Steps 7 and 8: care due with its words, and the visit that serves it."""
    due = models.CareDue.objects.get(task="decontamination_wash")
    assert due.earliest <= TODAY <= due.latest
    assert due.state == "open"
    assert all(due.words[name] for name in ("known", "expected", "prevents", "if_postponed", "self_check"))
    proposal = due.proposals.get()
    assert due.task in proposal.tasks
    assert proposal.labour_h > 0
    return due


def look_at_reminders(person):
    """Steps 9 and 10: every reminder is written or skipped with its reason; one message for the person."""
    reminders = models.Reminder.objects.all()
    assert all(row.reason for row in reminders)
    written = reminders.filter(state="written")
    assert {row.customer for row in written} == {person}
    message = models.Message.objects.get()
    assert message.reminder in written
    return message


def look_at_mail(message):
    """Step 11: what was handed over is what was frozen, with the headers of RFC 5322, 2369 and 8058."""
    assert message.state == "accepted"
    (sent,) = mail.outbox
    head = sent.message()
    assert parseaddr(sent.to[0])[1] == "tove.halvarsen@example.org"
    assert head["Message-ID"] == f"<{message.uid}@{urlsplit(settings.SITE_ADDRESS).hostname}>"
    assert head["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    assert sent.body == message.text
    assert sent.alternatives[0][0] == message.html
    assert "black large SUV" in message.text
    return head


def look_at_receipt(message):
    """Step 12."""
    when = NOW + timedelta(minutes=2)
    receipts.take(
        provider="test", event_id="1", uid=str(message.uid), kind="delivered", occurred_at=when, detail="250 ok",
        at=when,
    )  # fmt: skip
    message.refresh_from_db()
    assert (message.state, models.Receipt.objects.get().message) == ("delivered", message)


def look_at_outlook(studio, due):
    """Step 13: advice on record, made by the mail that told of it, and the owner's outlook."""
    offer = models.Offer.objects.get(due=due)
    assert offer.steps.first().kind == "recommended"
    assert any(row.task == "decontamination_wash" for row in answers(studio, today=TODAY).offers)
    prepare_studio(studio=studio, actor="cycle", at=NOW)
    sheet = sheet_reads.page(studio).sheet
    assert sum(month.dues for month in sheet.months) > 0


def stop_by_the_link(client, head, person):
    """The link to stop works without a sign-in, by POST alone, at once (RFC 8058)."""
    url = re.search(r"<(http[^>]+)>", head["List-Unsubscribe"]).group(1).removeprefix(settings.SITE_ADDRESS)
    assert client.get(url).status_code == 200
    assert models.Consent.objects.filter(given=False).count() == 0, "a mail scanner that looks changes nothing"
    answer = client.post(url, "List-Unsubscribe=One-Click", content_type="application/x-www-form-urlencoded")
    assert answer.status_code == 200
    assert models.Consent.objects.filter(customer=person, purpose="service").last().given is False


def test_a_visit_closes_the_circle(story):
    studio, car, _, bonnet = story
    cycle(NOW)
    due = models.CareDue.objects.get(task="decontamination_wash")
    offer = models.Offer.objects.get(due=due)
    assert [step.kind for step in offer.steps.all()] == ["recommended", "offered"], "the mail told of it"
    offers.answer(studio=studio, offer_id=offer.pk, kind="accepted", **BY)
    visit = book(studio=studio, vehicle_id=car.pk, on=TODAY, tasks=[due.task], proposal_id=due.proposals.get().pk, **BY)
    clogged = models.Assessment.objects.get(latest=True).surfaces["bonnet"]["clogging"]["p50"]
    settle(studio=studio, visit_id=visit.pk, state="done", **BY)
    cycle(NOW + timedelta(days=7))
    after = models.Assessment.objects.get(latest=True).surfaces["bonnet"]["clogging"]["p50"]
    # Common practice, no source: a proper decontamination takes 70 to 95 % of the clogging away.
    assert after < 0.35 * clogged
    due.refresh_from_db()
    assert due.state == "done"
    assert not models.CareDue.objects.filter(task=due.task, state="open", earliest__lte=TODAY).exists()
    steps = [step.kind for step in models.OfferStep.objects.filter(offer=offer)]
    assert steps[:3] == ["recommended", "offered", "accepted"]
    verbs = set(models.JournalEntry.objects.filter(vehicle_id=car.pk).values_list("verb", flat=True))
    assert {"layer recorded", "condition assessed", "care due opened", "visit booked", "visit done"} <= verbs
    assert bonnet.layers.filter(ended=None).count() == 1, "a wash does not end a coat"


def test_explain_prints_the_chain_with_numbers(story, capsys):
    _, car, _, _ = story
    cycle(NOW)
    call_command("explain", "vehicle", car.plate)
    said = capsys.readouterr().out
    words = ("climate", "habits", "stress", "forecast", "evidence", "assessment", "care due", "visit", "reminder",
             "message", "hand-over", "receipt", "advice")  # fmt: skip
    for step, word in enumerate(words, start=1):
        if step != 12:  # no receipt has come yet
            assert re.search(rf"^{step} +{word} +\S.*\d", said, re.MULTILINE), f"step {step} is missing:\n{said}"
    reminder = models.Reminder.objects.filter(state="written").first()
    call_command("explain", "reminder", str(reminder.pk))
    said = capsys.readouterr().out
    assert f"9  reminder     {reminder.pk}:" in said
    assert said.count("7  care due") == 1
