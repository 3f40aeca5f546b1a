"""Pages of a vehicle's life, and what a new keeper sees of the one before: nothing."""

from __future__ import annotations

from datetime import timedelta

import pytest
import time_machine
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lifecycle import condition
from lifecycle.care import contracts, register, wheels
from lifecycle.care.parts import repaint
from lifecycle.care.photos import add_photo
from lifecycle.care.record import FindingEntry, record_event, record_habits, record_inspection, record_storage
from lifecycle.care.reports.signature import Signature
from lifecycle.models import (
    CareEvent,
    ContractRule,
    ContractTerm,
    Customer,
    Habits,
    JournalEntry,
    Layer,
    Message,
    Mounted,
    Photo,
    Reminder,
    Storage,
    Surface,
    Vehicle,
    Visit,
    VisitProposal,
)
from lifecycle.reminders import planner
from lifecycle.wear.types import Place
from tests import people
from tests.factories import NOW, TODAY, CareDueFactory, LayerFactory, MessageFactory, SurfaceFactory, VehicleFactory
from tests.lifecycle.care.report_world import seal
from tests.meta.test_urls import ALL
from tests.pictures import picture
from tests.portal.doors import as_user
from tests.portal.studio_world import text

pytestmark = pytest.mark.django_db
BY = {"actor": "member:1", "at": NOW}
BEFORE = TODAY - timedelta(days=90)


@pytest.fixture(autouse=True)
def _clock():
    with time_machine.travel(NOW, tick=False):
        yield


def page(browser, name, *ids):
    return text(browser.get(reverse(f"studio:{name}", args=ids)))


def post(browser, name, *ids, query="", **fields):
    return browser.post(reverse(f"studio:{name}", args=ids) + query, fields)


class TestParts:
    def test_a_repaint_with_its_day_and_the_painters_note(self, car, owner):
        vehicle, bonnet, _roof = car
        said = page(owner, "part", vehicle.pk, "repaint")
        assert "isocyanates" in said
        fields = {"surface": bonnet.pk, "on": TODAY, "note": "two coats, baked"}
        refused = post(owner, "part", vehicle.pk, "repaint", **fields)
        assert refused.status_code == 200
        assert "two coats, baked" in refused.content.decode()  # nothing typed is lost
        assert post(owner, "part", vehicle.pk, "repaint", extent="whole", **fields).status_code == 302
        assert Layer.objects.get(surface=bonnet).ended == TODAY
        life = page(owner, "life", vehicle.pk)
        assert "repaint, bonnet two coats, baked" in life

    def test_glass_says_who_calibrates_and_part_off_and_on_again(self, car, owner):
        vehicle, _bonnet, roof = car
        pane = SurfaceFactory(vehicle=vehicle, code="windscreen", orientation="screen", substrate="glass")
        LayerFactory(surface=pane, kind="windscreen_coat", applied=BEFORE)
        assert "calibrated by a licensed practice" in page(owner, "part", vehicle.pk, "glass")
        assert post(owner, "part", vehicle.pk, "glass", surface=pane.pk, on=TODAY).status_code == 302
        assert Layer.objects.get(surface=pane).ended == TODAY
        assert post(owner, "part", vehicle.pk, "removed", surface=roof.pk, on=TODAY).status_code == 302
        assert "No longer on it, and not forecast: roof" in page(owner, "life", vehicle.pk)
        assert "roof" not in page(owner, "part", vehicle.pk, "repaint")
        swap = {"surface": roof.pk, "on": TODAY, "finish": "refinish"}
        assert post(owner, "part", vehicle.pk, "swap", **swap).status_code == 302
        assert Surface.objects.get(pk=roof.pk).removed_on is None
        assert post(owner, "part", vehicle.pk, "gilding", surface=roof.pk).status_code == 404

    def test_unknown_layers_on_many_surfaces_are_never_bare_and_ask_for_an_inspection(self, site, owner):
        vehicle = VehicleFactory(site=site)
        ids = [SurfaceFactory(vehicle=vehicle, code=code).pk for code in ("bonnet", "roof")]
        assert "only an inspection can tell more" in page(owner, "part", vehicle.pk, "unknown")
        answer = post(owner, "part", vehicle.pk, "unknown", surfaces=ids, there_on=vehicle.first_seen)
        assert answer.status_code == 302
        said = page(owner, "vehicle", vehicle.pk)
        assert "nothing on it" not in said
        assert "A layer of unknown kind: nothing is forecast for it, an inspection tells more." in said


class TestWheels:
    def test_a_second_set_its_season_and_a_swap(self, car, owner):
        vehicle, _bonnet, _roof = car
        first = SurfaceFactory(vehicle=vehicle, code="wheels", orientation="wheel", substrate="aluminium")
        for surface in (first,):
            LayerFactory(surface=surface, kind="wheel_coat", applied=BEFORE)
        assert post(owner, "wheel_sets", vehicle.pk, record="add", season="winter").status_code == 302
        assert (
            post(owner, "wheel_sets", vehicle.pk, record="name", surface_id=first.pk, season="summer").status_code
            == 302
        )
        winter = Surface.objects.get(vehicle=vehicle, season="winter")
        said = page(owner, "wheel_sets", vehicle.pk)
        assert f"Winter set Stored since {vehicle.first_seen:%-d %B %Y}" in said
        assert "renewal likely sensible" in said
        assert post(owner, "wheel_sets", vehicle.pk, record="swap", surface_id=winter.pk, on=TODAY).status_code == 302
        said = page(owner, "wheel_sets", vehicle.pk)
        assert f"Winter set On the vehicle since {TODAY:%-d %B %Y}" in said
        assert f"Summer set Stored since {TODAY:%-d %B %Y}" in said
        again = post(owner, "wheel_sets", vehicle.pk, record="add", season="winter")
        assert "is on record already" in text(again)
        foreign = SurfaceFactory(code="wheels", orientation="wheel")
        post(owner, "wheel_sets", vehicle.pk, record="swap", surface_id=foreign.pk, on=TODAY)
        assert not Mounted.objects.filter(surface=foreign).exists()


class TestEntries:
    def test_each_kind_of_entry_has_its_way_back_and_stays_listed(self, car, owner):
        vehicle, bonnet, _roof = car
        ids = {"studio": vehicle.studio, "vehicle_id": vehicle.pk}
        event = record_event(
            **ids, kind="bird_dropping", on=BEFORE, surface_id=bonnet.pk, dwell_h=6, air_c=31, note="by the lime", **BY
        )
        storage = record_storage(**ids, start=BEFORE, **BY)
        SurfaceFactory(vehicle=vehicle, code="wheels", orientation="wheel")
        wheels.add_set(**ids, season="winter", on_since=BEFORE, **BY)
        term = register.add_contract_term(**ids, title="yearly look", due=TODAY, tolerance_days=30, **BY)
        said = page(owner, "entries", vehicle.pk)
        assert "Bird dropping, bonnet, 6 hours on it, air at 31 °C" in said
        habits = Habits.objects.get(vehicle=vehicle)
        swap = Mounted.objects.get(end=None)
        for kind, row in (("event", event), ("storage", storage), ("habits", habits), ("swap", swap), ("term", term)):
            assert post(owner, "take_back", vehicle.pk, kind, row.pk).status_code == 200  # a reason is asked for
            answer = post(owner, "take_back", vehicle.pk, kind, row.pk, why=f"wrong {kind}")
            assert answer.status_code == 302, kind
            assert owner.get(reverse("studio:take_back", args=[vehicle.pk, kind, row.pk])).status_code == 404
        assert not CareEvent.objects.filter(pk=event.pk) | Storage.objects.none()
        said = page(owner, "entries", vehicle.pk)
        assert all(f"wrong {kind}" in said for kind in ("event", "storage", "habits", "swap", "term"))
        assert JournalEntry.objects.filter(verb__endswith=" withdrawn").count() == 5

    def test_an_entry_of_another_vehicle_is_not_there(self, car, owner):
        other = CareEvent.objects.create(
            studio=car[0].studio, vehicle=VehicleFactory(site=car[0].site), kind="sap", on=TODAY
        )
        assert owner.get(reverse("studio:take_back", args=[car[0].pk, "event", other.pk])).status_code == 404


class TestContract:
    def test_a_rule_its_days_an_inspection_and_its_end(self, car, owner):
        vehicle, _bonnet, _roof = car
        fields = {"title": "yearly look", "starts_on": "2024-01-31", "every_months": 12, "tolerance_days": 30,
                  "ends_on": "2028-02-01"}  # fmt: skip
        refused = post(owner, "contract_rule", vehicle.pk, **fields, written_in="")
        assert not ContractRule.objects.exists()
        assert 'value="yearly look"' in refused.content.decode()
        assert post(owner, "contract_rule", vehicle.pk, **fields, written_in="booklet, 4.2").status_code == 302
        said = page(owner, "life", vehicle.pk)
        assert "Whether anything is covered is not judged" in said
        assert "every 12 months from 31 January 2024" in said
        assert "booklet, 4.2" in said
        assert "31 January 2027" in said
        looked = record_inspection(
            studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, clean_state="washed", note="fine", **BY
        )
        term = ContractTerm.objects.get(due="2026-01-31")
        assert "not judged" in page(owner, "term_done", vehicle.pk, term.pk)
        assert post(owner, "term_done", vehicle.pk, term.pk, inspection_id=looked.pk).status_code == 302
        assert f"31 January 2026: yearly look, inspected {TODAY:%-d %B %Y}" in page(owner, "life", vehicle.pk)
        rule = ContractRule.objects.get()
        assert post(owner, "stop_rule", vehicle.pk, rule.pk, why="sold").status_code == 302
        said = page(owner, "life", vehicle.pk)
        assert "It no longer holds." in said
        assert "31 January 2027" not in said


class TestLeaving:
    def test_it_leaves_is_found_again_and_comes_back(self, car, owner):
        vehicle, _bonnet, _roof = car
        post(owner, "retire", vehicle.pk, why="sold", on=TODAY)
        assert "TST 777" in page(owner, "left")
        assert "TST 777" not in page(owner, "vehicles")
        assert "It comes back" in page(owner, "life", vehicle.pk)
        keeper = people.customer(vehicle.studio, name="Jory Tamm")
        assert "Jory Tamm" in page(owner, "readmit", vehicle.pk)
        fields = {"on": TODAY, "plate": "TST 778"}
        assert post(owner, "readmit", vehicle.pk, query=f"?to={keeper.pk}", **fields).status_code == 302
        said = page(owner, "vehicle", vehicle.pk)
        assert "Jory Tamm" in said
        assert "earlier keeper" in said
        assert owner.get(reverse("studio:readmit", args=[vehicle.pk])).status_code == 404

    def test_a_person_is_erased_after_the_name_was_typed(self, car, owner):
        vehicle, _bonnet, _roof = car
        keeper = Customer.objects.get(keeps__vehicle=vehicle)
        said = page(owner, "erase", keeper.pk)
        assert "What they keep now leaves (TST 777)" in said
        refused = post(owner, "erase", keeper.pk, typed="somebody")
        assert "Type the name as it stands here" in text(refused)
        answer = owner.post(reverse("studio:erase", args=[keeper.pk]), {"typed": keeper.name}, follow=True)
        assert "The person is erased" in text(answer)
        assert keeper.name not in text(answer)
        assert owner.get(reverse("studio:customer", args=[keeper.pk])).status_code == 404
        assert "TST 777" not in page(owner, "left")
        assert "earlier keeper" in page(owner, "life", vehicle.pk)


@pytest.mark.parametrize("name", ["life", "entries", "wheel_sets", "left"])
def test_a_page_asks_no_more_for_thirty_rows_than_for_one(car, owner, name):
    vehicle, bonnet, _roof = car

    def fill(count):
        for number in range(count):
            ids = {"studio": vehicle.studio, "vehicle": vehicle}
            CareEvent.objects.create(**ids, kind="repaint", on=BEFORE, surface=bonnet)
            Storage.objects.create(**ids, start=BEFORE, end=TODAY)
            ContractTerm.objects.create(**ids, title="look", due=TODAY)
            VehicleFactory(site=vehicle.site, retired_on=TODAY, keeper=False)
            wheel = SurfaceFactory(vehicle=vehicle, code=f"set {name} {number} {count}", orientation="wheel")
            LayerFactory(surface=wheel, kind="wheel_coat")
            Mounted.objects.create(studio=vehicle.studio, surface=wheel, start=BEFORE)

    def count():
        with CaptureQueriesContext(
            connection,
        ) as seen:
            args = [] if name == "left" else [vehicle.pk]
            assert owner.get(reverse(f"studio:{name}", args=args)).status_code == 200
        return len(seen)

    fill(1)
    one = count()
    fill(30)
    assert count() == one


# ---- the new keeper -------------------------------------------------------------------------------------------------

FORMER = {"name": "Sunniva Reckmoor", "email": "sunniva.reckmoor@example.org", "phone": "+47 912 55 667"}
WORDS = ("sunniva", "reckmoor", "912 55 667", "91255667", "beside my house", "my boat", "waited with her dog",
         "a cross word", "4711", "58.123", "Dear keeper of before")  # fmt: skip


@pytest.fixture
def sold():
    """A vehicle that somebody kept, who left words and pictures; since yesterday it is somebody else's."""
    former = people.customer()
    for field, value in FORMER.items():
        setattr(former, field, value)
    former.save()
    former.user.name, former.user.email = FORMER["name"], FORMER["email"]
    former.user.save()
    studio = former.studio
    vehicle = VehicleFactory(site__studio=studio, keeper=former)
    surface = SurfaceFactory(vehicle=vehicle, code="bonnet")
    LayerFactory(surface=surface)
    ids = {"studio": studio, "vehicle_id": vehicle.pk}
    record_habits(
        **ids, start=BEFORE, parking="street", km_per_year=4711, wash_method="two_bucket", washes_per_year=9,
        place=Place(58.123, 6.4), **BY,
    )  # fmt: skip
    record_event(**ids, kind="sap", on=BEFORE, by="customer", note="beside my house", **BY)
    repaint(studio=studio, surface_id=surface.pk, on=BEFORE, whole=True, note="for Sunniva, waited with her dog", **BY)
    look = record_inspection(
        **ids, on=BEFORE, clean_state="washed", note="waited with her dog",
        findings=[FindingEntry(kind="chip", surface_id=surface.pk, note="from my boat")], **BY,
    )  # fmt: skip
    seal(look, by=Signature("typed", FORMER["name"], []))
    vehicle.description = "SUV of Sunniva Reckmoor"
    vehicle.save()
    add_photo(**ids, upload=picture(), by="customer", caption="my boat", actor="customer:1", at=NOW - timedelta(days=9))
    contracts.add_rule(
        **ids, title="Reckmoor's yearly look", starts_on=BEFORE, every_months=12, tolerance_days=30, written_in="p. 4",
        **BY,
    )  # fmt: skip
    Visit.objects.create(
        studio=studio, site=vehicle.site, vehicle=vehicle, on=BEFORE, tasks=["inspection"], booked_at=NOW, state="done",
        paid="4711.00", customer=former, wish="after I waited with her dog",
    )  # fmt: skip
    VisitProposal.objects.create(
        studio=studio, site=vehicle.site, vehicle=vehicle, key="k", earliest=TODAY, ideal=TODAY, latest=TODAY,
        tasks=["inspection"], labour_h=1, made_at=NOW,
    )  # fmt: skip
    register.open_complaint(studio=studio, customer_id=former.pk, vehicle_id=vehicle.pk, about="a cross word", **BY)
    MessageFactory(customer=former, subject="Dear keeper of before", text="Dear keeper of before")
    due = CareDueFactory(vehicle=vehicle)
    buyer = people.customer(studio, name="Jory Tamm")
    register.transfer(**ids, to_customer_id=buyer.pk, on=TODAY - timedelta(days=1), **BY)
    condition.assess_one(studio=studio, vehicle_id=vehicle.pk, at=NOW)
    return former, buyer, vehicle, due


def test_no_customer_page_has_a_personal_word_of_the_former_keeper(sold):
    """Every address of the customer's pages, fetched by the new keeper; an address with a new part fails here until
    the world above holds one."""
    former, buyer, vehicle, _due = sold
    photo = Photo.objects.get()
    report = vehicle.reports.get()
    ids = {"vehicle_id": [vehicle.pk], "uid": [photo.uid], "size": ["full", "small"], "report_id": [report.pk],
           "token": [report.token], "visit_id": [vehicle.visits.get().pk], "customer_id": [former.pk],
           "proposal_id": [vehicle.proposals.get().pk],
           "surface_id": [vehicle.surfaces.order_by("pk").first().pk]}  # fmt: skip
    browser = as_user(buyer)
    pages = 0
    for name, pattern in ALL:
        if not name.startswith("customer:") and name != "report_check":
            continue
        kwargs = {key: ids[key][0] for key in pattern.pattern.converters}
        answer = browser.get(reverse(name, kwargs=kwargs))
        if name == "customer:photo":
            assert answer.status_code == 404, "the former keeper's own picture"
            continue
        if {"visit_id", "customer_id"} & kwargs.keys():
            assert answer.status_code in (404, 405), f"{name}: the former keeper's own visits and calendar"
            continue
        if answer.status_code == 200 and "html" in answer["Content-Type"]:
            pages += 1
            said = answer.content.decode().lower()
            assert [word for word in WORDS if word.lower() in said] == [], name
    assert pages >= 2
    own = text(browser.get(reverse("customer:vehicle", args=[vehicle.pk])))
    assert "repaint" in own  # the care record stays
    assert "as an earlier keeper told" in own
    assert "as you told us" not in own
    assert as_user(former).get(reverse("customer:vehicle", args=[vehicle.pk])).status_code == 404


def test_nobody_is_written_to_after_a_sale_without_an_own_consent(sold):
    former, buyer, _vehicle, due = sold
    for purpose in ("service", "promotion"):
        register.set_consent(
            studio=former.studio, customer_id=former.pk, purpose=purpose, given=True, how="form", wording="Yes.", **BY
        )
    sent = Message.objects.count()
    planner.plan(at=NOW)
    reminder = Reminder.objects.get(due=due, step="first")
    assert reminder.customer_id == buyer.pk
    assert reminder.state == "skipped"
    assert "consent" in reminder.reason_code
    assert Message.objects.count() == sent
    assert Vehicle.objects.get(pk=due.vehicle_id).description == "SUV of (name left out)"
