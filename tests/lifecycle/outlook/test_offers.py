"""The verbs of advice, on rows."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import CareDue, JournalEntry, Keeper, Offer, OfferStep, Price, Reminder
from lifecycle.outlook import history, offers
from lifecycle.reminders.outbox import deliver, enqueue
from lifecycle.reminders.planner import plan
from tests.factories import (
    NOW,
    TODAY,
    CareDueFactory,
    ConsentFactory,
    CustomerFactory,
    MessageFactory,
    ReminderFactory,
    StudioFactory,
    VehicleFactory,
)

pytestmark = pytest.mark.django_db
LATER = NOW + timedelta(hours=1)


def due(**fields):
    row = CareDueFactory(**fields)
    Price.objects.get_or_create(
        studio=row.studio, task=row.task, size=row.vehicle.size, defaults={"low": 120, "high": 160}
    )
    return row


def kinds(offer) -> list[str]:
    return list(OfferStep.objects.filter(offer=offer).order_by("at", "id").values_list("kind", flat=True))


def say(offer, kind, *, at=LATER, **words):
    return offers.answer(studio=offer.studio, offer_id=offer.pk, kind=kind, actor="member:1", at=at, **words)


def test_a_window_with_a_price_is_recommended_once_and_journalled():
    row = due()
    assert offers.recommend(at=NOW) == {"recommended": 1}
    assert offers.recommend(at=LATER) == {}
    offer = Offer.objects.get()
    assert (offer.due, offer.task, offer.price_low, offer.price_high) == (row, row.task, 120, 160)
    assert kinds(offer) == ["recommended"]
    entry = JournalEntry.objects.get(subject="offer")
    assert (entry.verb, entry.actor, entry.vehicle_id) == ("offer recommended", "cycle", row.vehicle_id)


def test_without_a_price_or_a_keeper_nothing_is_recommended():
    CareDueFactory()
    row = due()
    Keeper.objects.filter(vehicle=row.vehicle).update(end=TODAY)
    assert offers.recommend(at=NOW) == {"no_price": 1}
    assert not Offer.objects.exists()


def test_recommended_and_offered_are_different_facts():
    due()
    offers.recommend(at=NOW)
    offer = Offer.objects.get()
    offers.offer_made(studio=offer.studio, offer_id=offer.pk, channel="telephone", actor="member:1", at=LATER)
    assert kinds(offer) == ["recommended", "offered"]
    assert OfferStep.objects.get(kind="offered").channel == "telephone"


def test_who_answers_was_asked():
    due()
    offers.recommend(at=NOW)
    offer = Offer.objects.get()
    say(offer, "declined", why="does it himself")
    assert kinds(offer) == ["recommended", "offered", "declined"]
    assert OfferStep.objects.get(kind="declined").why == "does it himself"
    say(offer, "accepted", at=LATER + timedelta(days=1))
    assert kinds(offer)[-1] == "accepted"
    assert kinds(offer).count("offered") == 1


def test_deferred_needs_a_day_to_come():
    due()
    offers.recommend(at=NOW)
    offer = Offer.objects.get()
    for until in (None, TODAY):
        with pytest.raises(DomainError, match="until"):
            say(offer, "deferred", until=until)
    with pytest.raises(DomainError, match="until"):
        say(offer, "accepted", until=TODAY + timedelta(days=9))
    assert say(offer, "deferred", until=TODAY + timedelta(days=30)).until == TODAY + timedelta(days=30)


def test_a_refusal_without_a_reason_says_so():
    due()
    offers.recommend(at=NOW)
    assert say(Offer.objects.get(), "declined").why == "not said"


def test_an_unknown_answer_or_an_early_time_is_refused_and_leaves_no_step():
    due()
    offers.recommend(at=NOW)
    offer = Offer.objects.get()
    with pytest.raises(DomainError, match="accepted, declined, deferred"):
        say(offer, "maybe")
    with pytest.raises(DomainError, match="later time"):
        say(offer, "accepted", at=NOW - timedelta(days=1))
    assert kinds(offer) == ["recommended"]


def test_withdrawn_is_the_end_and_needs_a_reason():
    due()
    offers.recommend(at=NOW)
    offer = Offer.objects.get()
    with pytest.raises(DomainError, match="why"):
        offers.withdraw(studio=offer.studio, offer_id=offer.pk, why=" ", actor="member:1", at=LATER)
    offers.withdraw(studio=offer.studio, offer_id=offer.pk, why="wrong panel", actor="member:1", at=LATER)
    with pytest.raises(DomainError, match="closed"):
        say(offer, "accepted", at=LATER)


def test_a_foreign_offer_does_not_exist_here():
    due()
    offers.recommend(at=NOW)
    with pytest.raises(NotFoundHere):
        offers.answer(
            studio=StudioFactory(), offer_id=Offer.objects.get().pk, kind="accepted", actor="member:1", at=LATER
        )


@pytest.mark.parametrize(("state", "last"), [("done", "done"), ("withdrawn", "withdrawn")])
def test_a_closed_window_closes_its_offer(state, last):
    row = due()
    offers.recommend(at=NOW)
    CareDue.objects.filter(pk=row.pk).update(state=state, closed_at=LATER, closed_why="for a reason")
    assert offers.recommend(at=LATER) == {last: 1}
    assert offers.recommend(at=LATER) == {}
    step = OfferStep.objects.order_by("id").last()
    assert (step.kind, step.why) == (last, "for a reason")


def test_a_booking_is_a_yes_and_was_offered():
    row = due()
    offers.recommend(at=NOW)
    CareDue.objects.filter(pk=row.pk).update(state="booked")
    assert offers.recommend(at=LATER) == {"offered": 1, "accepted": 1}
    assert offers.recommend(at=LATER) == {}
    assert kinds(Offer.objects.get()) == ["recommended", "offered", "accepted"]


@pytest.mark.parametrize(("state", "told"), [("accepted", True), ("delivered", True), ("ready", False)])
def test_a_reminder_that_went_out_is_an_offer(state, told):
    row = due()
    offers.recommend(at=NOW)
    reminder = ReminderFactory(due=row, state="written")
    MessageFactory(customer=reminder.customer, reminder=reminder, state=state)
    offers.recommend(at=LATER)
    assert ("offered" in kinds(Offer.objects.get())) is told


def test_every_offer_that_one_mail_tells_of_was_offered():
    first = due()
    person = first.vehicle.keepers.get().customer
    second = due(vehicle=VehicleFactory(site=first.vehicle.site, keeper=person))
    unsaid = due(vehicle=VehicleFactory(site=first.vehicle.site, keeper=person))
    ConsentFactory(customer=person)
    offers.recommend(at=NOW)
    plan(at=NOW)
    Reminder.objects.filter(due=unsaid).delete()
    enqueue(at=NOW)
    assert deliver(at=NOW)["accepted"] == 1
    assert offers.recommend(at=LATER) == {"offered": 2}
    said = {offer.due: kinds(offer) for offer in Offer.objects.all()}
    assert said == {first: said[second], second: ["recommended", "offered"], unsaid: ["recommended"]}


def test_an_offer_that_nobody_answers_expires_and_counts_as_not_taken_up():
    row = due()
    offers.recommend(at=NOW)
    offer = Offer.objects.get()
    offers.offer_made(studio=offer.studio, offer_id=offer.pk, channel="telephone", actor="member:1", at=LATER)
    assert offers.recommend(at=LATER + timedelta(days=119)) == {}
    assert offers.recommend(at=LATER + timedelta(days=120)) == {"expired": 1}
    assert offers.recommend(at=LATER + timedelta(days=121)) == {}
    assert kinds(offer) == ["recommended", "offered", "expired"]
    assert OfferStep.objects.get(kind="expired").why == "no answer in 120 days"
    found = history.decisions(row.studio)[row.task]
    assert (found.accepted, found.declined, found.unanswered) == (0, 0, 1)


def test_what_was_put_off_waits_from_that_day_and_what_nobody_was_asked_does_not_expire():
    due()
    asleep = due()
    offers.recommend(at=NOW)
    offer = Offer.objects.exclude(due=asleep).get()
    until = TODAY + timedelta(days=100)
    say(offer, "deferred", until=until)
    assert offers.recommend(at=NOW + timedelta(days=219)) == {}
    assert offers.recommend(at=NOW + timedelta(days=220)) == {"expired": 1}
    assert kinds(offer)[-1] == "expired"
    assert kinds(Offer.objects.get(due=asleep)) == ["recommended"]


def test_an_answer_or_a_booking_keeps_an_offer_from_expiring():
    said_yes, booked = due(), due()
    offers.recommend(at=NOW)
    for row in (said_yes, booked):
        offer = Offer.objects.get(due=row)
        offers.offer_made(studio=row.studio, offer_id=offer.pk, actor="member:1", at=LATER)
    say(Offer.objects.get(due=said_yes), "accepted")
    CareDue.objects.filter(pk=booked.pk).update(state="booked")
    assert offers.recommend(at=NOW + timedelta(days=200)) == {"accepted": 1}


def refuse_twice(vehicle, task):
    for days in (300, 100):
        at = NOW - timedelta(days=days)
        old = Offer.objects.create(
            studio=vehicle.studio, vehicle=vehicle, task=task, price_low=1, price_high=2, made_at=at
        )
        for kind in ("recommended", "offered", "declined"):
            OfferStep.objects.create(studio=vehicle.studio, offer=old, kind=kind, at=at)
    return old


def test_refused_twice_it_is_not_recommended_again_for_twelve_months():
    row = due()
    refuse_twice(row.vehicle, row.task)
    assert offers.recommend(at=NOW) == {"resting": 1}
    assert not Offer.objects.filter(due=row).exists()
    rest = history.resting(row.studio, today=TODAY)[row.vehicle_id, row.task]
    assert "Declined on" in rest.why
    assert rest.until == date(2026, 11, 22)
    assert offers.recommend(at=NOW + timedelta(days=266)) == {"recommended": 1}


def test_a_resting_offer_cannot_be_made():
    row = due()
    offers.recommend(at=NOW)
    refuse_twice(row.vehicle, row.task)
    offer = Offer.objects.get(due=row)
    with pytest.raises(DomainError, match="Declined on"):
        offers.offer_made(studio=row.studio, offer_id=offer.pk, actor="member:1", at=LATER)


def test_a_new_keeper_is_not_bound_by_the_old_one():
    row = due()
    refuse_twice(row.vehicle, row.task)
    Keeper.objects.filter(vehicle=row.vehicle).update(end=TODAY - timedelta(days=10))
    Keeper.objects.create(
        studio=row.studio, vehicle=row.vehicle, customer=CustomerFactory(studio=row.studio),
        start=TODAY - timedelta(days=10),
    )  # fmt: skip
    assert offers.recommend(at=NOW) == {"recommended": 1}


def test_decisions_are_counted_from_the_last_word_on_each_offer():
    vehicle = VehicleFactory()
    stories = [
        ("recommended",),
        ("recommended", "offered"),
        ("recommended", "offered", "declined"),
        ("recommended", "offered", "declined", "accepted"),
        ("recommended", "offered", "accepted", "done"),
        ("recommended", "offered", "accepted", "expired"),
        ("recommended", "offered", "expired"),
        ("recommended", "expired"),
        ("recommended", "offered", "withdrawn"),
    ]
    for story in stories:
        offer = Offer.objects.create(
            studio=vehicle.studio, vehicle=vehicle, task="booster", price_low=1, price_high=2, made_at=NOW
        )
        for kind in story:
            OfferStep.objects.create(studio=vehicle.studio, offer=offer, kind=kind, at=NOW)
    found = history.decisions(vehicle.studio)["booster"]
    assert (found.accepted, found.declined, found.unanswered) == (2, 2, 1)
