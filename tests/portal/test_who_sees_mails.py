"""One table says what the owner sees of each kind of mail before it goes out; code and mails are held against it.

The house's plan (section 7): first sends of a wording, anything with a price, batches over 20. A mail that one person's
deed sends to one person goes at once, however much the owner wants to see.
"""

from __future__ import annotations

import re
from datetime import timedelta
from pathlib import Path

import pytest
from django.core import mail
from django.urls import reverse

from lifecycle.care import sealing
from lifecycle.care.opening import close_site
from lifecycle.care.reports.signature import Signature
from lifecycle.models import Bay, Customer, Message, Studio, Visit
from lifecycle.reminders import (
    approval,
    asked_for,
    closure_moves,
    handover_letters,
    outbox,
    report_copy,
    visit_letters,
    words,
)
from lifecycle.reminders.unsubscribe import make_token, unsubscribe
from tests import people
from tests.factories import NOW, TODAY, CustomerFactory, SiteFactory, VehicleFactory
from tests.lifecycle.care.report_world import make_world

pytestmark = pytest.mark.django_db
ROOT = Path(__file__).resolve().parents[2]
# Whatever makes a mail calls one of these. `mime` only writes out what was frozen.
MAKES = re.compile(
    r"\bEmail(Message|MultiAlternatives)\(|(?<!def )\b(send_mail|send_mass_mail|mail_admins|mail_managers|email_user)\("
    r"|\bMessage\.objects\.\w*create\(| = Message\("
)
WRITES_OUT = "lifecycle/reminders/mime.py"
STORM = TODAY + timedelta(days=7)


@pytest.fixture(autouse=True)
def owners_want_to_see_everything(monkeypatch):
    """Every studio of these tests has all three on, as a new studio has."""
    make = Studio.save

    def save(self, *args, **kwargs):
        self.approve_first = self.approve_prices = self.approve_batches = True
        make(self, *args, **kwargs)

    monkeypatch.setattr(Studio, "save", save)


def test_every_kind_of_mail_stands_in_the_table_with_its_reason():
    others = {"handover", "sign_in", "door", "invitation", "trial", "monthly"}
    assert set(approval.SEES) == set(words.KINDS) | others
    assert all(row.why for row in approval.SEES.values())


def test_no_mail_is_made_anywhere_but_where_the_table_says():
    found = {
        str(file.relative_to(ROOT))
        for folder in ("lifecycle", "portal")
        for file in (ROOT / folder).rglob("*.py")
        if MAKES.search(file.read_text("utf-8"))
    }
    assert found - {WRITES_OUT} == {row.made_in for row in approval.SEES.values()}


@pytest.mark.parametrize("line", [
    "mail = EmailMessage(", "mail = EmailMultiAlternatives(", "send_mail(", "mail.send_mail(", "super().send_mail(",
    "send_mass_mail(", "mail_admins(", "mail_managers(", "user.email_user(", "Message.objects.create(",
    "Message.objects.bulk_create(", "Message.objects.get_or_create(", "    row = Message(",
])  # fmt: skip
def test_whatever_makes_a_mail_is_seen(line):
    assert MAKES.search(line)
    assert not MAKES.search("def send_mail(self)")


def test_only_what_the_cycle_writes_and_many_at_once_is_ever_seen_first():
    seen = {key: (row.first, row.prices, row.batches) for key, row in approval.SEES.items() if row.first or row.batches}
    assert seen == {
        "service": (True, True, True),
        "promotion": (True, True, True),
        "visit_moved": (False, False, True),
    }


@pytest.fixture
def world():
    return make_world()


def test_the_copy_of_a_report_and_its_addendum_go_at_once(world):
    seen = sealing.draft(studio=world.studio, inspection_id=world.inspection.pk, at=NOW).seen
    by = {"member_id": world.technician.pk, "actor": "member:1", "at": NOW}
    done = report_copy.seal_and_send(
        studio=world.studio, inspection_id=world.inspection.pk, seen=seen, signature=Signature("typed", "Ada", []), **by
    )
    more = report_copy.add_and_send(studio=world.studio, report_id=done.row.pk, text="A scratch, seen later.", **by)
    assert (done.message.state, more.message.state) == ("ready", "ready")
    assert outbox.deliver(at=NOW)["accepted"] == 2


def test_the_offer_to_a_new_keeper_goes_at_once(world):
    message = handover_letters.offer(
        customer_ids=[world.keeper.pk], vehicle_id=world.vehicle.pk, email="buyer@example.org", on=TODAY,
        language="en", actor=f"customer:{world.keeper.pk}", at=NOW,
    )  # fmt: skip
    assert message.state == "ready"
    assert outbox.deliver(at=NOW)["accepted"] == 1


def test_the_code_to_sign_in_goes_at_once(world, client):
    client.post(reverse("account_request_login_code"), {"email": world.keeper.email})
    assert [one.to for one in mail.outbox] == [[world.keeper.email]]


# ---- a visit answered, and very many moved by one press


@pytest.fixture
def site():
    site = SiteFactory()
    Bay.objects.create(studio=site.studio, site=site, name="Bay 1")
    return site


def booked(site, number):
    keeper = CustomerFactory(studio=site.studio, name=f"Customer {number}", email=f"customer{number}@example.org")
    vehicle = VehicleFactory(site=site, plate=f"TST {number:03d}", keeper=keeper)
    return Visit.objects.create(
        studio=site.studio, vehicle=vehicle, site=site, customer=keeper, on=STORM, hours=0.2, tasks=["retest"],
        booked_at=NOW,
    )  # fmt: skip


def moved(site, number, *, by):
    return move(site, [booked(site, n) for n in range(number)], by=by)


def move(site, rows, *, by):
    closure = close_site(studio=site.studio, site_id=site.pk, first=STORM, last=STORM, reason="storm",
                         actor="member:1", at=NOW)  # fmt: skip
    to = STORM + timedelta(days=1)
    return closure_moves.move_all(
        studio=site.studio, closure_id=closure.pk, moves=[(row.pk, row.sequence, to) for row in rows],
        actor=f"member:{by.pk}", at=NOW,
    )  # fmt: skip


def test_the_answer_about_one_visit_goes_at_once(site):
    row = booked(site, 1)
    told = visit_letters.cancel(studio=site.studio, visit_id=row.pk, actor="member:1", at=NOW)
    assert (told.message.state, told.no_mail) == ("ready", "")


@pytest.mark.parametrize(("number", "who", "state"), [
    (20, "desk", "ready"), (21, "desk", "waiting"), (21, "owner", "ready"),
])  # fmt: skip
def test_more_than_twenty_moved_by_one_press_wait_unless_an_owner_pressed(site, number, who, state):
    done = moved(site, number, by=getattr(people, who)(site.studio))
    assert set(Message.objects.values_list("state", flat=True)) == {state}
    assert Message.objects.count() == number
    assert set(Visit.objects.values_list("on", flat=True)) == {STORM + timedelta(days=1)}, (
        "the calendar waits for nobody"
    )
    said = "Waits for the owner: more than 20 mails in one run." if state == "waiting" else ""
    assert {one.no_mail for one in done} == {said}


def test_it_is_mails_that_count_and_not_visits(site):
    """21 visits moved, 5 customers with an address: 5 mails are not many."""
    rows = [booked(site, n) for n in range(21)]
    Customer.objects.filter(pk__in=[row.customer_id for row in rows[5:]]).update(email="")
    done = move(site, rows, by=people.desk(site.studio))
    assert list(Message.objects.values_list("state", "approval_for", "error")) == [("ready", [], "")] * 5
    assert [one.no_mail for one in done] == [""] * 5 + [asked_for.NO_ADDRESS] * 16


def test_approved_the_moves_are_told_of_in_one_go(site):
    moved(site, 21, by=people.desk(site.studio))
    owner = people.owner(site.studio)
    (run,) = approval.waiting(site.studio)
    ids = [row.id for row in run.rows]
    by = {"studio": site.studio, "member_id": owner.pk, "actor": f"member:{owner.pk}", "at": NOW}
    assert approval.approve(message_ids=ids, **by) == {"approved": 21, "released": 0}
    assert outbox.deliver(at=NOW)["accepted"] == 21


def test_a_customer_who_stops_reminders_is_still_told_of_the_visit_that_was_moved(site):
    moved(site, 21, by=people.desk(site.studio))
    gone = Message.objects.first()
    unsubscribe(token=make_token(customer_id=gone.customer_id, purpose="service"), at=NOW)
    assert set(Message.objects.values_list("state", flat=True)) == {"waiting"}
    Message.objects.update(state="ready")
    assert outbox.deliver(at=NOW)["accepted"] == 21


def test_an_offer_to_a_new_keeper_outlives_the_end_of_reminders(world):
    message = handover_letters.offer(
        customer_ids=[world.keeper.pk], vehicle_id=world.vehicle.pk, email="buyer@example.org", on=TODAY,
        language="en", actor=f"customer:{world.keeper.pk}", at=NOW,
    )  # fmt: skip
    unsubscribe(token=make_token(customer_id=world.keeper.pk, purpose="service"), at=NOW)
    message.refresh_from_db()
    assert message.state == "ready"


def test_what_was_approved_after_the_day_of_the_visit_is_not_sent(site):
    moved(site, 21, by=people.desk(site.studio))
    Message.objects.update(state="ready")
    assert outbox.deliver(at=NOW + timedelta(days=9))["stopped"] == 21
    assert set(Message.objects.values_list("error", flat=True)) == {"The day of the visit is over."}
