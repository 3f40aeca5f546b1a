"""After a hard bounce or a complaint the desk is asked to phone; the call is marked as made, once, and is on record."""

from __future__ import annotations

import pytest
from django.urls import reverse

from lifecycle.care import phoning
from lifecycle.models import Customer, JournalEntry, Suppression
from lifecycle.reminders import receipts
from tests import people
from tests.factories import NOW, CustomerFactory, MessageFactory, StudioFactory
from tests.portal.doors import as_member

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("kind", ["bounced", "complained"])
def test_a_receipt_puts_a_call_on_the_work_list_until_it_is_marked(kind):
    studio = StudioFactory()
    person = CustomerFactory(studio=studio, name="Tove Halvarsen", phone="555 0117", email="Tove@example.org")
    message = MessageFactory(customer=person, state="accepted")
    desk, work = as_member(people.desk(studio)), reverse("studio:work")
    assert "Phone the customer" not in desk.get(work).content.decode()
    receipts.take(
        provider="test", event_id="1", uid=str(message.uid), kind=kind, occurred_at=NOW, detail="", at=NOW
    )  # fmt: skip
    page = desk.get(work).content.decode()
    assert all(words in page for words in ("Phone the customer", "Tove Halvarsen", "555 0117", phoning.WHY[kind]))
    assert "Phone the customer" not in as_member(people.technician(studio)).get(work).content.decode()

    shut = Suppression.objects.get()
    stranger = as_member(people.desk(StudioFactory()))
    assert stranger.post(reverse("studio:phoned", args=[shut.pk])).status_code == 404
    for _ in range(2):
        assert desk.post(reverse("studio:phoned", args=[shut.pk])).status_code == 302
    entry = JournalEntry.objects.get(verb="customer phoned")
    assert (entry.subject_id, entry.actor.startswith("member:")) == (shut.pk, True)
    assert "Phone the customer" not in desk.get(work).content.decode()
    shut.refresh_from_db()
    assert shut.lifted_at is None  # a call does not open the address


def test_another_address_or_a_soft_bounce_asks_for_no_call():
    person = CustomerFactory()
    message = MessageFactory(customer=person, state="accepted")
    told = {"provider": "test", "uid": str(message.uid), "occurred_at": NOW, "detail": "", "at": NOW}
    receipts.take(event_id="1", kind="soft_bounced", **told)
    assert phoning.to_phone(person.studio) == ()
    receipts.take(event_id="2", kind="bounced", **told)
    assert [task.customer_id for task in phoning.to_phone(person.studio)] == [person.pk]
    Customer.objects.filter(pk=person.pk).update(email="mended@example.org")
    assert phoning.to_phone(person.studio) == ()
