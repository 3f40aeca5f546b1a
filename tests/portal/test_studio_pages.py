"""The studio's pages: what they say, what they keep, and that a long list costs no more queries than a short one."""

from __future__ import annotations

import re
from datetime import date, timedelta

import pytest
from django.urls import reverse
from django.utils import timezone

from lifecycle.care import worklist
from lifecycle.models import (
    Complaint,
    Consent,
    JournalEntry,
    Offer,
    OfferStep,
    Visit,
)
from tests import people
from tests.factories import (
    HabitsFactory,
    MessageFactory,
    ReminderFactory,
    SiteFactory,
    VehicleFactory,
)
from tests.portal.doors import as_member
from tests.portal.studio_world import due, fill, text, today

pytestmark = pytest.mark.django_db


class TestWorkList:
    def test_groups_by_reason_in_a_fixed_order(self, site, owner):
        due(site, reason_code="clogging")
        due(site, reason_code="contract", task="inspection")
        due(site, reason_code="wear", task="recoat")
        page = owner.get(reverse("studio:work")).content.decode()
        places = [page.index(f'id="reason-{code}"') for code in ("contract", "wear", "clogging")]
        assert places == sorted(places)

    def test_every_reason_code_of_the_rules_has_a_heading(self):
        # The codes that the rules may give: lifecycle.care.due.Due, attribute reason_code.
        from lifecycle.care.due import Due

        said = re.search(r"reason_code: (.*?)\.\n", Due.__doc__, re.DOTALL)[1]
        codes = set(re.findall(r"[a-z_]+", said)) - {"or"}
        assert len(codes) == 12
        assert codes == {code for code, _, _ in worklist.REASONS}

    def test_a_row_says_window_why_keeper_and_reminder(self, site, owner):
        window = due(site)
        ReminderFactory(due=window, state="skipped", reason_code="no_consent", reason="Never asked.", final=False)
        said = text(owner.get(reverse("studio:work")))
        assert "Decontamination wash" in said
        assert "The bonnet has gathered grime" in said
        assert "Open now, best by" in said
        assert window.why in said
        assert window.vehicle.keepers.get().customer.name in said
        assert "first notice held back: Never asked." in said

    def test_filters_by_site_and_by_when(self, studio, site, owner):
        other = SiteFactory(studio=studio, name="Tarn Bellow")
        here, there = due(site), due(other)
        later = due(site, opens=50, ideal=60, closes=90)

        def plates(**query) -> set[str]:
            page = owner.get(reverse("studio:work"), query).content.decode()
            return {row.vehicle.plate for row in (here, there, later) if row.vehicle.plate in page}

        assert plates() == {here.vehicle.plate, there.vehicle.plate}
        assert plates(site=other.pk) == {there.vehicle.plate}
        assert plates(when="all") == {here.vehicle.plate, there.vehicle.plate, later.vehicle.plate}
        assert plates(when="now") == {here.vehicle.plate, there.vehicle.plate}

    @pytest.mark.parametrize("page", ["-3", "0", "99999999999999999999", "x", "1e9"])
    def test_paging_is_bounded(self, page, site, owner):
        due(site)
        assert owner.get(reverse("studio:work"), {"page": page, "site": page}).status_code == 200
        assert owner.get(reverse("studio:vehicles"), {"page": page}).status_code == 200
        assert owner.get(reverse("studio:outlook_answers"), {"from": page}).status_code == 200

    def test_pages_hold_all_rows_once(self, studio, site):
        rows = {due(site).pk for _ in range(7)}
        seen = []
        for number in (1, 2, 3):
            listed = worklist.work_list(studio, today=today(), page=number, per_page=3)
            assert (listed.total, listed.pages, listed.page) == (7, 3, number)
            seen += [row.due_id for group in listed.groups for row in group.rows]
        assert sorted(seen) == sorted(rows)

    def test_another_studios_work_is_not_here(self, owner):
        foreign = due(SiteFactory())
        assert foreign.vehicle.plate not in text(owner.get(reverse("studio:work"), {"when": "all"}))

    def test_nothing_due_says_so(self, owner):
        assert "Nothing is due here." in text(owner.get(reverse("studio:work")))


@pytest.mark.parametrize(
    ("earliest", "ideal", "latest", "words"),
    [
        (-5, 20, 60, "open now, best by 22 March, latest 1 May"),
        (-5, 0, 60, "open now, best by today, latest 1 May"),
        (-5, 20, 20, "open now, latest 22 March"),
        (-30, -2, 1, "open now, past its best day (28 February), latest tomorrow"),
        (10, 20, 320, "opens 12 March, best around 22 March, latest 16 January 2027"),
        (-30, -20, -1, "window closed on 1 March"),
    ],
)
def test_window_words(earliest, ideal, latest, words):
    day = date(2026, 3, 2)
    at = [day + timedelta(shift) for shift in (earliest, ideal, latest)]
    assert worklist.window_words(earliest=at[0], ideal=at[1], latest=at[2], today=day) == words


LISTS = ["work", "vehicles", "customers", "bookings", "reminders", "outbox", "offers", "outlook_answers"]


@pytest.mark.parametrize("name", LISTS)
def test_as_many_queries_for_thirty_rows_as_for_one(name, site, owner, django_assert_num_queries):
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    url = reverse(f"studio:{name}")
    fill(site, 1)
    owner.get(url)
    with CaptureQueriesContext(
        connection,
    ) as few:
        assert owner.get(url).status_code == 200
    fill(site, 29)
    with django_assert_num_queries(len(few)):
        page = owner.get(url)
    assert len(page.content) < 100_000


class TestBooking:
    def test_from_the_list(self, site, owner):
        window = due(site)
        url = reverse("studio:book", args=[window.vehicle_id])
        day = today() + timedelta(9)
        answer = owner.post(url, {"on": day.isoformat(), "tasks": window.task}, follow=True)
        assert "Booked for" in text(answer)
        visit = Visit.objects.get()
        assert (visit.on, visit.tasks, visit.vehicle_id) == (day, [window.task], window.vehicle_id)
        window.refresh_from_db()
        assert window.state == "booked"
        assert JournalEntry.objects.filter(verb__contains="booked", actor__startswith="member:").exists()
        said = text(owner.get(reverse("studio:work")))
        assert f"Booked for {day.day} {day:%B %Y}" in said

    def test_a_past_day_is_refused_and_nothing_is_lost(self, site, owner):
        window = due(site)
        url = reverse("studio:book", args=[window.vehicle_id])
        answer = owner.post(url, {"on": "2020-01-01", "tasks": window.task, "hours": "2.5"})
        page = answer.content.decode()
        assert "lies in the past" in page
        assert 'value="2020-01-01"' in page
        assert 'value="2.5"' in page
        assert not Visit.objects.exists()

    def test_a_task_that_is_not_due_is_refused(self, site, owner):
        window = due(site)
        answer = owner.post(
            reverse("studio:book", args=[window.vehicle_id]), {"on": today().isoformat(), "tasks": "recoat"}
        )
        assert answer.status_code == 200
        assert not Visit.objects.exists()

    def test_settling(self, site, owner):
        window = due(site)
        owner.post(reverse("studio:book", args=[window.vehicle_id]), {"on": today().isoformat(), "tasks": window.task})
        visit = Visit.objects.get()
        HabitsFactory(vehicle=window.vehicle)
        answer = owner.post(reverse("studio:settle", args=[visit.pk]), {"state": "done", "paid": "149.50"}, follow=True)
        assert "on record as done" in text(answer)
        visit.refresh_from_db()
        assert (visit.state, str(visit.paid)) == ("done", "149.50")
        answer = owner.post(reverse("studio:settle", args=[visit.pk]), {"state": "done"}, follow=True)
        assert "Not kept:" in text(answer)


class TestVehiclePage:
    def test_before_the_first_assessment(self, car, owner):
        vehicle, _bonnet, _roof = car
        said = text(owner.get(reverse("studio:vehicle", args=[vehicle.pk])))
        assert "Not assessed yet" in said

    def test_after_an_assessment_numbers_ranges_and_reasons(self, car, owner):
        from lifecycle import condition

        vehicle, _bonnet, _roof = car
        condition.assess_one(studio=vehicle.studio, vehicle_id=vehicle.pk, at=timezone.now())
        window = due(vehicle.site, vehicle=vehicle)
        page = owner.get(reverse("studio:vehicle", args=[vehicle.pk])).content.decode()
        assert re.search(r"\d+–\d+", page)  # never a bare point
        assert "What wears it" in page
        assert window.words["self_check"] in page
        assert "<svg" in page
        assert len(page) < 100_000

    def test_who_may_do_what(self, studio, car):
        vehicle, _bonnet, _roof = car
        url = reverse("studio:vehicle", args=[vehicle.pk])
        technician = as_member(people.technician(studio)).get(url).content.decode()
        assert reverse("studio:record_layer", args=[vehicle.pk]) in technician
        assert reverse("studio:book", args=[vehicle.pk]) not in technician
        desk = as_member(people.desk(studio)).get(url).content.decode()
        assert reverse("studio:record_layer", args=[vehicle.pk]) not in desk
        assert reverse("studio:book", args=[vehicle.pk]) in desk


class TestVehiclesAndCustomers:
    @pytest.mark.parametrize(("search", "found"), [("777", True), ("large suv", True), ("TOVE", True), ("zzz", False)])
    def test_search(self, search, found, site, owner):
        keeper = people.customer(site.studio, name="Tove Halvarsen")
        VehicleFactory(site=site, plate="TST 777", description="black large SUV", keeper=keeper)
        page = owner.get(reverse("studio:vehicles"), {"q": search}).content.decode()
        assert ("TST 777" in page) is found

    def test_what_was_searched_for_is_shown_as_text(self, owner):
        page = owner.get(reverse("studio:vehicles"), {"q": "<script>alert(1)</script>"}).content.decode()
        assert "<script>alert" not in page

    def test_consent_is_recorded_in_the_words_used(self, studio, owner):
        customer = people.customer(studio)
        url = reverse("studio:customer", args=[customer.pk])
        data = {"record": "consent", "purpose": "service", "given": "yes", "how": "by phone", "wording": "Write to me."}
        assert "Write to me." in text(owner.post(url, data, follow=True))
        assert Consent.objects.get().given is True
        owner.post(url, data | {"given": "no"})
        assert [row.given for row in Consent.objects.all()] == [True, False]
        page = owner.post(url, data | {"wording": ""}).content.decode()
        assert "This field is required." in page
        assert 'value="by phone"' in page

    def test_complaint_opened_and_closed(self, studio, owner):
        customer = people.customer(studio)
        url = reverse("studio:customer", args=[customer.pk])
        owner.post(url, {"record": "complaint", "about": "Haze on the door."})
        complaint = Complaint.objects.get()
        owner.post(reverse("studio:close_complaint", args=[customer.pk, complaint.pk]))
        complaint.refresh_from_db()
        assert complaint.closed_at is not None


class TestLetters:
    def test_pause_and_resume(self, studio, owner):
        assert "Pause all reminders" in text(owner.get(reverse("studio:reminders")))
        said = text(owner.post(reverse("studio:pause"), {"paused": "yes"}, follow=True))
        assert "All reminders of this studio are paused" in said
        studio.refresh_from_db()
        assert studio.paused_at is not None
        assert "All reminders of this studio are paused" in text(owner.get(reverse("studio:work")))
        owner.post(reverse("studio:pause"), {"paused": "no"})
        studio.refresh_from_db()
        assert studio.paused_at is None
        assert JournalEntry.objects.filter(verb__in=("reminders paused", "reminders resumed")).count() == 2

    def test_skipped_reminders_stand_with_their_reason(self, site, owner):
        ReminderFactory(
            due=due(site), state="skipped", reason_code="stored", reason="The vehicle is stored.", final=False
        )
        page = text(owner.get(reverse("studio:reminders"), {"state": "waiting"}))
        assert "The vehicle is stored." in page
        assert "None in this state." in text(owner.get(reverse("studio:reminders"), {"state": "written"}))

    def test_a_message_is_shown_as_sent_and_its_page_can_run_nothing(self, studio, owner):
        message = MessageFactory(
            customer=people.customer(studio), text="Your bonnet is due.", html="<p>Your bonnet is due.</p>"
        )
        assert "Your bonnet is due." in text(owner.get(reverse("studio:message", args=[message.pk])))
        answer = owner.get(reverse("studio:message_page", args=[message.pk]))
        policy = answer["Content-Security-Policy"]
        assert "sandbox" in policy
        assert "default-src 'none'" in policy
        assert "script-src" not in policy

    def test_the_preview_is_the_mail(self, site, owner):
        reminder = ReminderFactory(due=due(site))
        page = text(owner.get(reverse("studio:preview", args=[reminder.pk])))
        assert "preview: not written yet" in page
        assert "List-Unsubscribe" in page


class TestOutlook:
    def test_ranges_and_counts(self, site, owner):
        fill(site, 3)
        assert "Nothing is prepared yet" in text(owner.get(reverse("studio:outlook")))
        page = owner.post(reverse("studio:outlook_prepare"), follow=True).content.decode()
        assert page.count('<th scope="row" class="nowrap">') == 13 + 13 + 13  # months and the year twice, and weeks
        assert 'class="rangechart"' in page
        assert "10 to 90 %" in page

    def test_an_answer_is_recorded(self, studio, site, owner):
        fill(site, 1)
        offer = Offer.objects.get()
        url = reverse("studio:answer", args=[offer.pk])
        assert "Give the day until which" in text(owner.post(url, {"kind": "deferred"}))
        page = owner.post(url, {"kind": "declined", "why": "KEEP-ME", "until": "2199-01-01"}).content.decode()
        assert "Only a later has a day" in page
        assert 'value="KEEP-ME"' in page
        desk = as_member(people.desk(studio))
        answer = desk.post(url, {"kind": "declined", "why": "price"}, follow=True)
        assert "declined" in text(answer)
        step = OfferStep.objects.order_by("id").last()
        assert (step.kind, step.why) == ("declined", "price")

    def test_an_empty_studio_has_an_outlook_too(self, owner):
        assert owner.get(reverse("studio:outlook")).status_code == 200


@pytest.mark.parametrize(("largest", "step"), [(0, 1), (3, 1), (7, 2), (9, 5), (1200, 500), (4000, 1000), (99, 50)])
def test_round_step(largest, step):
    from portal.studio.range_chart import round_step

    assert round_step(largest) == step
    assert largest <= 0 or step * 4 >= largest


def test_the_desk_stops_a_message_and_is_told_why_one_is_not_sent_again(owner, studio):
    from tests import people as who

    message = MessageFactory(customer=who.customer(studio))
    page = reverse("studio:message", args=[message.pk])
    assert "Stop it" in owner.get(page).content.decode()
    said = text(owner.post(reverse("studio:tend", args=[message.pk]), {"do": "stop"}, follow=True))
    assert "It is not sent." in said
    assert "Stopped by hand." in said
    said = text(owner.post(reverse("studio:tend", args=[message.pk]), {"do": "retry"}, follow=True))
    assert "no longer holds" in said or "too old to be true" in said
    message.refresh_from_db()
    assert message.state == "stopped"
    assert "Nothing was asked for" in text(owner.post(reverse("studio:tend", args=[message.pk]), follow=True))
