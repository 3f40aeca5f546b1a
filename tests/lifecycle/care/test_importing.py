"""Lists of customers and vehicles on their way to the record: shown first, recorded in one piece, taken back."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from lifecycle.care import importing
from lifecycle.care.keeping import change_customer
from lifecycle.care.register import set_consent
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import (
    Consent,
    Customer,
    ImportFile,
    ImportKey,
    ImportMade,
    ImportMapping,
    ImportRow,
    JournalEntry,
    Keeper,
    Vehicle,
)
from lifecycle.reminders.facts import gather
from lifecycle.reminders.rules import Send, decide
from tests.factories import NOW, CareDueFactory, CustomerFactory, SiteFactory, StudioFactory, VehicleFactory
from tests.lifecycle.care.import_world import (
    WHO,
    bring,
    csv_of,
    errors,
    fresh,
    receive,
    record,
    stored,
    take_back,
    work,
    workbook,
)

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stored")]
__all__ = ["stored"]

HEAD = ("Number", "Name", "E-mail", "Phone", "Customer since")
PEOPLE = csv_of(
    HEAD,
    ("K1", "Tove Halvarsen", "tove@example.org", "+47 00 00 00 01", "2024-03-13"),
    ("K2", "Osric Pell", "osric@example.org", "", ""),
)
CARS = csv_of(
    ("vehicle number", "plate", "customer number", "description", "body", "size", "colour", "first seen"),
    ("V1", "tst  101", "K1", "black large SUV", "SUV", "XL", "black", "2024-03-13"),
    ("V2", "TST 102", "K2", "grey estate", "wagon", "M", "grey", "2024-05-02"),
)


@pytest.fixture
def studio():
    return StudioFactory(zone="Europe/Oslo")


@pytest.fixture
def site(studio):
    return SiteFactory(studio=studio, name="Skarholt Sound")


def test_the_dry_run_shows_each_row_and_changes_nothing(studio):
    CustomerFactory(studio=studio, name="O. Pell", email="osric@example.org", zone="Europe/Oslo")
    file = receive(studio, "customers", PEOPLE)
    assert (file.state, file.rows, file.new, file.changed, file.same, file.wrong) == ("checked", 2, 1, 1, 0, 0)
    new, changed = file.dry_run.all()
    assert ["customer since", "", "2024-03-13"] in new.changes
    assert ["name", "O. Pell", "Osric Pell"] in changed.changes
    assert ["customer number", "nothing", "K2"] in changed.changes
    assert Customer.objects.get().name == "O. Pell"
    assert not ImportKey.objects.exists()


def test_recorded_in_one_piece_with_one_entry_in_the_journal_and_no_bytes_left(studio, stored):
    file = bring(studio, "customers", PEOPLE)
    tove = Customer.objects.get(email="tove@example.org")
    assert (tove.name, tove.since, tove.zone) == ("Tove Halvarsen", date(2024, 3, 13), "Europe/Oslo")
    assert (file.state, file.file.name) == ("done", "")
    assert not ImportRow.objects.exists()
    entry = JournalEntry.objects.get(verb="import recorded")
    assert (entry.data["new"], entry.data["changed"]) == (2, 0)
    assert "tove" not in str(list(JournalEntry.objects.values_list("data", flat=True))).lower()


def test_bytes_are_deleted_after_the_transaction(studio, stored, django_capture_on_commit_callbacks):
    file = receive(studio, "customers", PEOPLE)
    assert [path for path in stored.rglob("*") if path.is_file()]
    with django_capture_on_commit_callbacks(execute=True):
        record(file)
    assert [path for path in stored.rglob("*") if path.is_file()] == []


@pytest.mark.parametrize(("kind", "data"), [("customers", PEOPLE), ("vehicles", CARS)])
def test_the_same_file_twice_changes_nothing(studio, site, kind, data):
    if kind == "vehicles":
        bring(studio, "customers", PEOPLE)
    bring(studio, kind, data)
    before = (list(Customer.objects.values()), list(Vehicle.objects.values()), ImportKey.objects.count())
    again = receive(studio, kind, data)
    assert (again.new, again.changed, again.same) == (0, 0, 2)
    with pytest.raises(DomainError, match="on record already"):
        importing.apply_import(studio=studio, import_id=again.pk, **WHO)
    assert (list(Customer.objects.values()), list(Vehicle.objects.values()), ImportKey.objects.count()) == before


def test_found_by_number_a_new_address_is_a_change_and_closes_the_old_door(studio):
    bring(studio, "customers", PEOPLE)
    from tests.people import customer

    login = customer(studio).user
    Customer.objects.filter(user=login).update(user=None)
    Customer.objects.filter(email="tove@example.org").update(user=login)
    file = bring(studio, "customers", csv_of(HEAD, ("K1", "Tove Halvarsen", "new@example.org", "", "")))
    tove = Customer.objects.get(name="Tove Halvarsen")
    assert (tove.email, tove.user, tove.phone) == ("new@example.org", None, "+47 00 00 00 01")
    assert take_back(file).state == "undone"
    tove.refresh_from_db()
    assert (tove.email, tove.user) == ("tove@example.org", login)


def test_an_error_anywhere_and_nothing_is_recorded(studio):
    data = csv_of(HEAD, ("K1", "Tove", "tove@example.org", "", "2025-02-31"), ("K1", "Osric", "no address", "=1+1", ""))
    file = receive(studio, "customers", data)
    assert file.wrong == 2
    found = errors(file)
    assert found[0][:3] == (2, "Customer since", "“2025-02-31”")
    assert "there is no 31 February 2025" in found[0][3]
    assert {cell[1] for cell in found[1:]} == {"E-mail", "Phone", "Number"}
    assert "row 2 of this file has the same customer number" in " ".join(cell[3] for cell in found)
    with pytest.raises(DomainError, match="2 rows cannot be read"):
        importing.apply_import(studio=studio, import_id=file.pk, **WHO)
    assert not Customer.objects.exists()


def test_what_changed_since_the_dry_run_is_shown_anew_instead_of_recorded(studio):
    file = receive(studio, "customers", PEOPLE)
    CustomerFactory(studio=studio, email="tove@example.org", name="Somebody")
    file = record(file)
    assert file.state == "checked"
    assert "has changed since" in file.note
    assert (file.new, file.changed) == (1, 1)
    assert Customer.objects.count() == 1
    assert record(file).state == "done"


def test_a_failure_in_the_middle_of_writing_leaves_nothing(studio, monkeypatch):
    file = receive(studio, "customers", PEOPLE)

    def fail(*args, **kwargs):
        raise RuntimeError("the disk is full")

    monkeypatch.setattr("lifecycle.care.import_kinds.customers.new_keys", fail)
    for tries in range(3):
        if tries == 0:
            importing.apply_import(studio=studio, import_id=file.pk, **WHO)
        assert work()["failed"] == 1
    file = fresh(file)
    assert (file.state, Customer.objects.count(), ImportMade.objects.count()) == ("checked", 0, 0)
    assert "failed three times" in file.note


class TestConsent:
    """A list never says yes for anybody."""

    LIST = csv_of(("name", "email", "Newsletter opt-in"), ("Kelda Marsh", "kelda@example.org", "yes"))

    def test_a_column_of_consent_is_left_out_and_refused_when_it_is_asked_for(self, studio):
        file = importing.receive_file(studio=studio, kind="customers", upload=self.LIST, **WHO)
        assert 3 not in importing.columns_of(file)
        with pytest.raises(DomainError, match="never imported"):
            importing.choose_columns(
                studio=studio, import_id=file.pk, columns={1: "name", 2: "email", 3: "fleet"}, **WHO
            )

    def test_nobody_new_is_written_to_until_they_agree(self, studio, site):
        bring(studio, "customers", self.LIST)
        assert not Consent.objects.exists()
        kelda = Customer.objects.get()
        due = CareDueFactory(vehicle=VehicleFactory(site=site, keeper=kelda))

        def decision():
            facts = gather([due], at=NOW + timedelta(days=7))
            return decide(facts.of(due, "first", kelda))

        held_back = decision()
        assert not isinstance(held_back, Send)
        assert "consent" in held_back.reason_code
        set_consent(
            studio=studio, customer_id=kelda.pk, purpose="service", given=True, how="paper form", wording="Yes.", **WHO
        )
        assert isinstance(decision(), Send)


class TestVehicles:
    def test_with_their_keepers(self, studio, site):
        bring(studio, "customers", PEOPLE)
        bring(studio, "vehicles", CARS)
        suv = Vehicle.objects.get(plate="TST 101")
        assert (suv.body, suv.size, suv.colour, suv.site, suv.first_seen) == (
            "suv", "XL", "black", site, date(2024, 3, 13),
        )  # fmt: skip
        keeper = Keeper.objects.get(vehicle=suv)
        assert (keeper.customer.name, keeper.start, keeper.end) == ("Tove Halvarsen", date(2024, 3, 13), None)
        assert Vehicle.objects.get(plate="TST 102").colour == "mid"

    def test_what_a_new_vehicle_needs_is_named(self, studio, site):
        SiteFactory(studio=studio)
        file = receive(studio, "vehicles", csv_of(("plate", "customer number", "size"), ("TST 1", "K9", "XXL")))
        said = " ".join(cell[3] for cell in errors(file))
        assert "no customer is on record by that" in said
        assert "use one of s, m, l, xl" in said

    def test_a_vehicle_is_not_passed_on_by_a_list(self, studio, site):
        bring(studio, "customers", PEOPLE)
        bring(studio, "vehicles", CARS)
        file = receive(studio, "vehicles", csv_of(("plate", "customer number"), ("TST 101", "K2")))
        assert "somebody else keeps this vehicle" in errors(file)[0][3]

    def test_a_plate_may_change_where_the_number_is_known(self, studio, site):
        bring(studio, "customers", PEOPLE)
        bring(studio, "vehicles", CARS)
        file = bring(studio, "vehicles", csv_of(("vehicle number", "plate"), ("V1", "NEW 1")))
        assert (file.new, file.changed) == (0, 1)
        assert Vehicle.objects.filter(plate="NEW 1").count() == 1
        assert Vehicle.objects.count() == 2

    def test_the_vin_has_the_form_of_iso_3779(self, studio, site):
        """Seventeen characters, never I, O or Q (ISO 3779; from memory). The example is the one of Wikipedia's article
        on the number, 1M8GDM9AXKP042788 (from memory)."""
        bring(studio, "customers", PEOPLE)
        head = ("vin", "plate", "customer number", "description", "body", "size", "colour")
        row = ("TST 7", "K1", "a van", "van", "L", "white")
        file = receive(studio, "vehicles", csv_of(head, ("1M8GDM9AXKP04278O", *row)))
        assert "17 characters, never I, O or Q" in errors(file)[0][3]
        bring(studio, "vehicles", csv_of(head, ("1m8gdm9axkp042788", *row)))
        assert ImportKey.objects.get(scheme="vin").number == "1M8GDM9AXKP042788"


class TestTakingBack:
    def test_all_of_it_goes_and_what_changed_is_as_before(self, studio, site):
        CustomerFactory(studio=studio, name="O. Pell", email="osric@example.org")
        before = list(Customer.objects.values())
        people = bring(studio, "customers", PEOPLE)
        cars = bring(studio, "vehicles", CARS)
        assert take_back(cars).state == "undone"
        assert take_back(people).state == "undone"
        assert list(Customer.objects.values()) == before
        assert (Vehicle.objects.count(), Keeper.objects.count(), ImportKey.objects.count()) == (0, 0, 0)
        assert JournalEntry.objects.filter(verb="import taken back").count() == 2
        again = bring(studio, "customers", PEOPLE)
        assert (again.state, again.new, again.changed) == ("done", 1, 1)

    def test_what_was_built_on_it_is_said_row_by_row(self, studio, site):
        people = bring(studio, "customers", PEOPLE)
        bring(studio, "vehicles", CARS)
        osric = Customer.objects.get(name="Osric Pell")
        set_consent(
            studio=studio, customer_id=osric.pk, purpose="service", given=True, how="form", wording="Yes.", **WHO
        )
        change_customer(studio=studio, customer_id=osric.pk, phone="+47 00 00 00 99", **WHO)
        file = take_back(people)
        assert file.state == "done"
        said = {(line, cell) for line, _, _, cell in errors(file)}
        assert (2, "A keeper refers to the customer that it made.") in said
        assert (3, "A statement of consent refers to the customer that it made.") in said
        assert (3, "A customer that it made or changed was changed since.") in said
        assert Customer.objects.count() == 2

    def test_what_the_cycle_reckons_is_not_in_the_way(self, studio, site):
        bring(studio, "customers", PEOPLE)
        file = bring(studio, "vehicles", CARS)
        CareDueFactory(vehicle=Vehicle.objects.get(plate="TST 101"))
        assert take_back(file).state == "undone"
        assert not Vehicle.objects.exists()

    def test_only_for_thirty_days(self, studio):
        file = bring(studio, "customers", PEOPLE)
        work(NOW + timedelta(days=29))
        assert ImportMade.objects.exists()
        work(NOW + timedelta(days=31))
        assert not ImportMade.objects.exists()
        with pytest.raises(DomainError, match="is over"):
            importing.take_import_back(studio=studio, import_id=file.pk, **WHO)


def test_a_file_that_nobody_answers_is_deleted_after_a_week(studio):
    file = importing.receive_file(studio=studio, kind="customers", upload=PEOPLE, **WHO)
    assert work(NOW + timedelta(days=6))["put away"] == 0
    assert work(NOW + timedelta(days=8))["put away"] == 1
    assert (fresh(file).state, fresh(file).file.name) == ("dropped", "")


def test_erasing_a_person_reaches_waiting_files_numbers_and_kept_values(studio, site):
    from lifecycle.care.erasure import erase_customer

    bring(studio, "customers", PEOPLE)
    bring(studio, "vehicles", CARS)
    bring(studio, "customers", csv_of(HEAD, ("K1", "Tove Halvarsen", "", "+47 00 00 00 77", "")))
    waiting = receive(studio, "customers", csv_of(HEAD, ("K1", "Tove Halvarsen", "", "+47 00 00 00 88", "")))
    tove = Customer.objects.get(name="Tove Halvarsen")
    erase_customer(studio=studio, customer_id=tove.pk, typed="Tove Halvarsen", **WHO)
    assert fresh(waiting).state == "dropped"
    assert not ImportRow.objects.exists()
    assert set(ImportKey.objects.values_list("number", flat=True)) == {"K2", "V2"}
    kept = str(list(ImportMade.objects.values_list("before", flat=True)))
    assert "00 00 00 01" not in kept
    assert "tove" not in str(list(ImportFile.objects.values())).lower()


def test_columns_are_kept_for_the_next_list_with_these_headings(studio):
    odd = csv_of(("A", "B"), ("Tove", "tove@example.org"))
    file = importing.receive_file(studio=studio, kind="customers", upload=odd, **WHO)
    importing.answer(studio=studio, import_id=file.pk, answers={"header": "1"}, **WHO)
    importing.choose_columns(studio=studio, import_id=file.pk, columns={1: "name", 2: "email"}, **WHO)
    assert ImportMapping.objects.get().columns == {"1": "name", "2": "email"}
    other = csv_of(("a", " B "), ("Osric", "osric@example.org"))
    second = importing.receive_file(studio=studio, kind="customers", upload=other, **WHO)
    importing.answer(studio=studio, import_id=second.pk, answers={"header": "1"}, **WHO)
    assert importing.columns_of(fresh(second)) == {1: "name", 2: "email"}
    assert importing.columns_of(
        importing.receive_file(studio=StudioFactory(), kind="customers", upload=odd, **WHO)
    ) != {1: "name", 2: "email"}


def test_a_question_open_and_nothing_is_looked_through(studio):
    data = csv_of(HEAD, ("K1", "Tove", "tove@example.org", "", "03/04/2025"))
    file = importing.receive_file(studio=studio, kind="customers", upload=data, **WHO)
    with pytest.raises(DomainError, match="order"):
        importing.look_through(studio=studio, import_id=file.pk, **WHO)
    with pytest.raises(DomainError, match="choose one"):
        importing.answer(studio=studio, import_id=file.pk, answers={"dates": "ymd"}, **WHO)
    for order, day in (("dmy", date(2025, 4, 3)), ("mdy", date(2025, 3, 4))):
        file = receive(studio, "customers", data, dates=order)
        assert ["customer since", "", day.isoformat()] in file.dry_run.get().changes
        importing.ask_again(studio=studio, import_id=file.pk, **WHO)


def test_a_workbook_comes_the_same_way(studio):
    data = workbook(HEAD, ("K1", "Tove Halvarsen", "tove@example.org", 4700000001, date(2024, 3, 13)))
    bring(studio, "customers", data)
    tove = Customer.objects.get()
    assert (tove.phone, tove.since) == ("4700000001", date(2024, 3, 13))


def test_a_file_of_another_studio_is_not_here(studio):
    file = receive(studio, "customers", PEOPLE)
    for verb in (importing.look_through, importing.apply_import, importing.take_import_back, importing.put_away):
        with pytest.raises(NotFoundHere):
            verb(studio=StudioFactory(), import_id=file.pk, **WHO)


def test_two_workers_do_not_work_on_one_file(studio):
    file = importing.receive_file(studio=studio, kind="customers", upload=PEOPLE, **WHO)
    importing.look_through(studio=studio, import_id=file.pk, **WHO)
    from django.utils import timezone

    ImportFile.objects.filter(pk=file.pk).update(lease_until=timezone.now() + timedelta(minutes=5))
    assert work(timezone.now())["looked through"] == 0
    assert work(timezone.now() + timedelta(minutes=6))["looked through"] == 1
