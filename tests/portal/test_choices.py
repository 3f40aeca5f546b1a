"""What a customer chooses: language, quiet hours, a pause, erasure. The reminders keep to it."""

from __future__ import annotations

import time as clock
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from allauth.account.internal.flows.login import AUTHENTICATION_METHODS_SESSION_KEY
from django.test import Client
from django.urls import reverse

from lifecycle.models import Customer, JournalEntry, Keeper, Reminder, User
from lifecycle.reminders.planner import plan
from lifecycle.reminders.quiet import is_quiet, out_of_quiet_hours
from lifecycle.reminders.rules import ReminderFacts, Send, Wait, decide
from tests import factories as f
from tests import people
from tests.portal.doors import as_user

BERLIN = ZoneInfo("Europe/Berlin")
NOW = datetime(2026, 5, 12, 10, 0, tzinfo=UTC)  # noon in Berlin
FACTS = ReminderFacts(
    step="first", purpose="service", now=NOW, zone=BERLIN, earliest=date(2026, 5, 1), latest=date(2026, 7, 10)
)


class TestRules:
    def test_a_pause_holds_everything_back_and_what_fell_into_it_comes_after_it(self):
        paused = replace(FACTS, paused_until=date(2026, 5, 20))
        assert decide(paused) == Wait("paused_by_person", "This person wants to hear nothing until 2026-05-20.")
        assert decide(replace(paused, owed=True)).reason_code == "paused_by_person"
        after = replace(
            paused, step="follow_up", first="accepted", first_at=NOW - timedelta(days=30),
            earliest=date(2026, 4, 1), latest=date(2026, 6, 1),
        )  # fmt: skip
        # Half-way, 7 May, lay in the pause: without its end it would be too late and dropped.
        out = decide(replace(after, now=datetime(2026, 5, 20, 6, 0, tzinfo=UTC)))
        assert isinstance(out, Send)
        assert (out.reason_code, out.at) == ("after_pause", datetime(2026, 5, 20, 7, 0, tzinfo=UTC))

    @pytest.mark.parametrize(
        ("quiet", "local", "moved"),
        [
            ((time(12), time(18)), "2026-05-12T11:59", "2026-05-12T11:59"),
            ((time(12), time(18)), "2026-05-12T12:00", "2026-05-12T18:00"),
            ((time(22), time(6)), "2026-05-12T23:30", "2026-05-13T06:00"),
            ((time(22), time(6)), "2026-05-13T05:59", "2026-05-13T06:00"),
            ((time(22), time(6)), "2026-05-12T21:00", "2026-05-12T21:00"),
            (None, "2026-05-12T21:00", "2026-05-13T09:00"),
            # Directive 2000/84/EC: 29 March 2026, the clock goes from 02:00 to 03:00; 02:30 does not exist.
            ((time(23), time(2, 30)), "2026-03-28T23:30", "2026-03-29T03:30"),
        ],
    )
    def test_own_quiet_hours(self, quiet, local, moved):
        at = datetime.fromisoformat(local).replace(tzinfo=BERLIN)
        out = out_of_quiet_hours(at, BERLIN, quiet)
        assert out.astimezone(BERLIN).replace(tzinfo=None) == datetime.fromisoformat(moved)
        assert not is_quiet(out, BERLIN, quiet)

    def test_the_second_half_past_two_of_october_is_quiet_until_its_own_end(self):
        """Directive 2000/84/EC: 25 October 2026, 03:00 summer time becomes 02:00; 02:10 comes twice."""
        second = datetime(2026, 10, 25, 2, 10, tzinfo=BERLIN, fold=1)
        out = out_of_quiet_hours(second, BERLIN, (time(23), time(2, 45)))
        assert out == datetime(2026, 10, 25, 1, 45, tzinfo=UTC)


def fields(person: Customer, **changed: str) -> dict[str, str]:
    said = {"customer": str(person.pk), "language": "en", "quiet_from": "", "quiet_to": "", "paused_until": ""}
    return said | changed


@pytest.mark.django_db
class TestPage:
    @time_machine.travel(f.NOW, tick=False)
    def test_wishes_are_kept_and_the_planner_follows_them(self):
        customer = people.customer(f.StudioFactory(zone="UTC"), zone="UTC")
        vehicle = f.VehicleFactory(site__studio=customer.studio, keeper=customer)
        f.CareDueFactory(vehicle=vehicle)
        f.ConsentFactory(customer=customer)
        until = f.TODAY + timedelta(days=30)
        client = as_user(customer)
        page = reverse("customer:choices")
        answer = client.post(page, fields(customer, language="de", quiet_from="22:00", quiet_to="06:30",
                                          paused_until=until.isoformat()))  # fmt: skip
        assert answer.status_code == 302
        customer.refresh_from_db()
        assert (customer.language, customer.quiet_from, customer.quiet_to) == ("de", time(22), time(6, 30))
        assert customer.paused_until == until
        entry = JournalEntry.objects.get(verb="wishes changed")
        assert set(entry.data) == {"language", "quiet_from", "quiet_to", "paused_until"}
        assert 'value="06:30"' in client.get(page).content.decode()
        plan(at=f.NOW)
        reminder = Reminder.objects.get(step="first")
        assert (reminder.state, reminder.reason_code) == ("skipped", "paused_by_person")
        Customer.objects.update(paused_until=None)
        plan(at=f.NOW)
        reminder.refresh_from_db()
        assert reminder.state == "planned"

    @pytest.mark.parametrize(
        ("said", "what"),
        [
            ({"quiet_from": "22:00"}, "Give both ends"),
            ({"quiet_from": "22:00", "quiet_to": "22:00"}, "end when they begin"),
            ({"quiet_from": "06:00", "quiet_to": "04:00"}, "at least four hours"),
            ({"quiet_from": "soon", "quiet_to": "04:00"}, "valid time"),
            ({"paused_until": "2020-01-01"}, "is not ahead"),
            ({"paused_until": "2090-01-01"}, "Two years at most"),
            ({"language": "tlh"}, "Select a valid choice"),
        ],
    )
    def test_what_cannot_be_is_said_and_nothing_typed_is_lost(self, said, what):
        customer = people.customer()
        answer = as_user(customer).post(reverse("customer:choices"), fields(customer, **said))
        page = answer.content.decode()
        assert answer.status_code == 422
        assert what in page
        for value in said.values():
            assert value in page or value == "tlh"
        assert not JournalEntry.objects.filter(verb="wishes changed").exists()

    def test_nobody_wishes_for_somebody_else(self):
        mine, other = people.customer(), people.customer()
        client = as_user(mine)
        for customer in (str(other.pk), "x", ""):
            answer = client.post(reverse("customer:choices"), fields(mine, customer=customer, language="de"))
            assert answer.status_code == 404
        assert client.get(reverse("customer:erase", args=[other.pk])).status_code == 404


def freshly(customer: Customer) -> Client:
    """Signed in just now, by a code."""
    client = as_user(customer)
    session = client.session
    session[AUTHENTICATION_METHODS_SESSION_KEY] = [{"method": "code", "at": clock.time()}]
    session["account_authentication_methods_user"] = str(customer.user.pk)
    session.save()
    return client


@pytest.mark.django_db
class TestErasure:
    def test_it_needs_a_fresh_sign_in_and_the_name_and_says_what_stays(self):
        customer = people.customer(name="Tess Alder")
        vehicle = f.VehicleFactory(site__studio=customer.studio, keeper=customer, plate="TST 41")
        url = reverse("customer:erase", args=[customer.pk])
        stale = as_user(customer)
        for answer in (stale.get(url), stale.post(url, {"typed": "Tess Alder"})):
            assert answer["Location"].startswith(reverse("account_request_login_code"))
        assert Customer.objects.get(pk=customer.pk).erased_at is None
        client = freshly(customer)
        page = client.get(url).content.decode()
        for said in ("What goes", "What stays", "TST 41", "linked to nobody"):
            assert said in page
        wrong = client.post(url, {"typed": "Tess"})
        assert wrong.status_code == 422
        assert 'value="Tess"' in wrong.content.decode()
        done = client.post(url, {"typed": "Tess Alder"}, follow=True)
        assert "You are erased." in done.content.decode()
        customer.refresh_from_db()
        assert customer.erased_at is not None
        assert customer.name == "erased person"
        assert not User.objects.filter(pk=customer.user_id).exists()
        assert Keeper.objects.get(vehicle=vehicle).customer_id == customer.pk
        assert client.get(reverse("customer:choices")).status_code == 302
        entry = JournalEntry.objects.get(verb="person erased")
        assert entry.actor == f"customer:{customer.pk}"
