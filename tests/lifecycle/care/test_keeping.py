"""Verbs that keep the record true: what changes with them, what they end, and how they refuse."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from lifecycle import condition
from lifecycle.care import keeping, signin
from lifecycle.care.keeping_reads import kept, retired_on
from lifecycle.care.surface_presets import BODIES, presets_of
from lifecycle.care.visits import book, settle
from lifecycle.care.windows import open_windows
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import (
    CareDue,
    Consent,
    JournalEntry,
    Keeper,
    Storage,
    Surface,
    Vehicle,
    Visit,
)
from lifecycle.wear.choices import ORIENTATIONS, SUBSTRATES
from portal.drawings.outline import BODIES as DRAWN
from portal.drawings.outline import body_of, regions
from portal.drawings.plan import regions_of
from tests import people
from tests.factories import (
    NOW,
    TODAY,
    CareDueFactory,
    ConsentFactory,
    CustomerFactory,
    HabitsFactory,
    LayerFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)

pytestmark = pytest.mark.django_db
BY = {"actor": "member:1", "at": NOW}


class TestChangeCustomer:
    def test_a_new_address_takes_the_door_from_the_old_one_and_leaves_consent(self):
        customer = people.customer()
        ConsentFactory(customer=customer)
        old = customer.user
        old_address = customer.email
        keeping.change_customer(studio=customer.studio, customer_id=customer.pk, email="New@Example.org ", **BY)
        customer.refresh_from_db()
        assert (customer.email, customer.user) == ("new@example.org", None)
        assert signin.customer_ids_of(old.pk) == ()
        assert signin.user_for_address(old_address, at=NOW) is None
        assert Consent.objects.get(customer=customer).given is True
        user = signin.user_for_address("new@example.org", at=NOW)
        assert user.pk != old.pk
        assert signin.customer_ids_of(user.pk) == (customer.pk,)

    def test_the_same_address_in_other_letters_is_no_change(self):
        customer = people.customer()
        same = keeping.change_customer(
            studio=customer.studio, customer_id=customer.pk, email=customer.email.upper(), phone="+47 1", **BY
        )
        assert same.user == customer.user
        assert JournalEntry.objects.get(verb="customer changed").data["fields"] == ["phone"]

    def test_the_journal_names_fields_and_no_personal_data(self):
        customer = CustomerFactory()
        keeping.change_customer(studio=customer.studio, customer_id=customer.pk, email="a@example.org", name="B", **BY)
        entry = JournalEntry.objects.get(verb="customer changed")
        assert entry.data == {"fields": ["name", "email"]}

    def test_nothing_changed_is_nothing_journalled(self):
        customer = CustomerFactory()
        keeping.change_customer(studio=customer.studio, customer_id=customer.pk, name=customer.name, **BY)
        assert not JournalEntry.objects.exists()

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"name": "  "}, "name"),
            ({"zone": "Europe/Nowhere"}, "zone"),
            ({"zone": "../../etc"}, "zone"),
            ({"language": "xx"}, "language"),
            ({"email": "taken@example.org"}, "email"),
        ],
    )
    def test_refusals_name_the_field_and_change_nothing(self, change, field):
        customer = people.customer()
        CustomerFactory(studio=customer.studio, email="taken@example.org")
        with pytest.raises(DomainError) as refused:
            keeping.change_customer(studio=customer.studio, customer_id=customer.pk, **change, **BY)
        assert refused.value.field == field
        before = customer.email, customer.user, customer.zone
        customer.refresh_from_db()
        assert (customer.email, customer.user, customer.zone) == before

    def test_another_studios_customer_is_not_here(self):
        customer = CustomerFactory()
        with pytest.raises(NotFoundHere):
            keeping.change_customer(studio=StudioFactory(), customer_id=customer.pk, phone="1", **BY)


class TestVehicle:
    def test_change_asks_for_a_forecast(self):
        vehicle = VehicleFactory()
        Vehicle.objects.update(assess_again=False)
        keeping.change_vehicle(studio=vehicle.studio, vehicle_id=vehicle.pk, plate=" new 1 ", colour="black", **BY)
        vehicle.refresh_from_db()
        assert (vehicle.plate, vehicle.colour, vehicle.assess_again) == ("NEW 1", "black", True)
        assert JournalEntry.objects.get().data["fields"] == ["plate", "colour"]

    @pytest.mark.parametrize(
        ("change", "field"),
        [({"plate": "TST TAKEN"}, "plate"), ({"plate": " "}, "plate"), ({"colour": "pink"}, "colour"),
         ({"body": "boat"}, "body")],
    )  # fmt: skip
    def test_change_refuses_in_words(self, change, field):
        vehicle = VehicleFactory()
        VehicleFactory(site=vehicle.site, plate="TST TAKEN")
        with pytest.raises(DomainError) as refused:
            keeping.change_vehicle(studio=vehicle.studio, vehicle_id=vehicle.pk, **change, **BY)
        assert refused.value.field == field

    def test_a_site_of_another_studio_is_not_here(self):
        vehicle = VehicleFactory()
        with pytest.raises(NotFoundHere):
            keeping.change_vehicle(studio=vehicle.studio, vehicle_id=vehicle.pk, site_id=SiteFactory().pk, **BY)


class TestRetire:
    def test_dues_keeper_and_later_visits_end_and_the_record_stays(self):
        vehicle = VehicleFactory()
        LayerFactory(surface=SurfaceFactory(vehicle=vehicle))
        soon, later = CareDueFactory(vehicle=vehicle), CareDueFactory(vehicle=vehicle, task="inspection")
        done = CareDueFactory(vehicle=vehicle, task="recoat", state="done", closed_at=NOW, closed_why="Done.")
        past = book(studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, tasks=["wax_renewal"], **BY)
        ahead = book(studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY + timedelta(9), tasks=["inspection"], **BY)
        keeping.retire_vehicle(studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, why="sold", **BY)
        vehicle.refresh_from_db()
        assert vehicle.retired_on == TODAY == retired_on(vehicle.studio, vehicle.pk)
        assert Keeper.objects.get(vehicle=vehicle).end == TODAY
        for due in (soon, later):
            due.refresh_from_db()
            assert (due.state, due.closed_at, due.closed_why) == ("withdrawn", NOW, "The vehicle was sold outside.")
        done.refresh_from_db()
        assert (done.state, done.closed_why) == ("done", "Done.")
        assert [Visit.objects.get(pk=visit.pk).state for visit in (past, ahead)] == ["booked", "cancelled"]
        assert Surface.objects.filter(vehicle=vehicle).count() == 1
        entry = JournalEntry.objects.get(verb="vehicle retired")
        assert (entry.data["why"], entry.data["dues_withdrawn"]) == ("sold", 2)
        assert JournalEntry.objects.filter(verb="care due withdrawn", actor="member:1").count() == 2

    def test_a_forecast_that_waits_opens_no_window_any_more(self):
        vehicle = VehicleFactory()
        HabitsFactory(vehicle=vehicle)
        LayerFactory(surface=SurfaceFactory(vehicle=vehicle), kind="wax", applied=TODAY - timedelta(days=200))
        condition.assess_one(studio=vehicle.studio, vehicle_id=vehicle.pk, at=NOW)
        keeping.retire_vehicle(studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, why="scrapped", **BY)
        open_windows(at=NOW)
        condition.assess(at=NOW + timedelta(days=8))
        open_windows(at=NOW + timedelta(days=8))
        assert not CareDue.objects.exists()

    def test_the_same_forecast_would_open_windows_for_a_vehicle_that_stays(self):
        vehicle = VehicleFactory()
        HabitsFactory(vehicle=vehicle)
        LayerFactory(surface=SurfaceFactory(vehicle=vehicle), kind="wax", applied=TODAY - timedelta(days=200))
        condition.assess_one(studio=vehicle.studio, vehicle_id=vehicle.pk, at=NOW)
        open_windows(at=NOW)
        assert CareDue.objects.exists()

    def test_its_plate_is_free_again(self):
        vehicle = VehicleFactory(plate="TST 1")
        keeping.retire_vehicle(studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, why="sold", **BY)
        assert VehicleFactory(site=vehicle.site, plate="TST 1").pk != vehicle.pk

    def test_a_visit_of_before_can_still_be_settled(self):
        vehicle = VehicleFactory()
        visit = book(studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, tasks=["inspection"], **BY)
        keeping.retire_vehicle(studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, why="sold", **BY)
        assert settle(studio=vehicle.studio, visit_id=visit.pk, state="done", **BY).state == "done"

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"on": TODAY + timedelta(1)}, "on"),
            ({"on": TODAY - timedelta(days=600)}, "on"),
            ({"why": "tired of it"}, "why"),
        ],
    )
    def test_refusals(self, change, field):
        vehicle = VehicleFactory()
        due = CareDueFactory(vehicle=vehicle)
        with pytest.raises(DomainError) as refused:
            keeping.retire_vehicle(
                **({"studio": vehicle.studio, "vehicle_id": vehicle.pk, "on": TODAY, "why": "sold"} | change | BY)
            )
        assert refused.value.field == field
        due.refresh_from_db()
        assert due.state == "open"

    def test_it_leaves_once(self):
        vehicle = VehicleFactory(retired_on=TODAY)
        with pytest.raises(DomainError, match="left already"):
            keeping.retire_vehicle(studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, why="sold", **BY)

    def test_another_studios_vehicle_is_not_here(self):
        vehicle = VehicleFactory()
        with pytest.raises(NotFoundHere):
            keeping.retire_vehicle(studio=StudioFactory(), vehicle_id=vehicle.pk, on=TODAY, why="sold", **BY)


class TestSurfaces:
    @pytest.mark.parametrize("body", BODIES)
    def test_the_usual_list_uses_known_words_and_has_a_place_in_the_plan(self, body):
        presets = presets_of(body)
        codes = [preset.code for preset in presets]
        assert len(set(codes)) == len(codes) > 15
        assert all(p.orientation in ORIENTATIONS and p.substrate in SUBSTRATES for p in presets)
        drawn = regions(body_of(body))
        placed = [p for p in presets if p.orientation != "inside" and p.code != "trim"]
        assert all(any(region in drawn for region in regions_of(p.code)) for p in placed)
        assert {"bonnet", "windscreen", "wheels"} <= {p.code for p in presets if p.usual}

    def test_every_body_that_can_be_drawn_has_a_list(self):
        assert set(BODIES) == set(DRAWN)

    def test_usual_surfaces_are_added_all_or_none(self):
        vehicle = VehicleFactory(body="roadster")
        BY_HERE = {"studio": vehicle.studio, "vehicle_id": vehicle.pk, **BY}
        added = keeping.add_usual_surfaces(codes=["bonnet", "soft_top"], **BY_HERE)
        assert [(s.code, s.orientation, s.substrate) for s in added] == [
            ("bonnet", "flat", "steel"),
            ("soft_top", "flat", "textile"),
        ]
        for codes in (["boot", "bonnet"], ["boot", "sunroof"]):
            with pytest.raises(DomainError):
                keeping.add_usual_surfaces(codes=codes, **BY_HERE)
        assert Surface.objects.filter(vehicle=vehicle).count() == 2

    def test_change_asks_for_a_forecast(self):
        surface = SurfaceFactory(code="door")
        Vehicle.objects.update(assess_again=False)
        keeping.change_surface(
            studio=surface.studio, surface_id=surface.pk, orientation="side", substrate="aluminium",
            finish="refinish", refinished_on=TODAY, **BY,
        )  # fmt: skip
        surface.refresh_from_db()
        assert (surface.orientation, surface.substrate, surface.finish, surface.refinished_on) == (
            "side", "aluminium", "refinish", TODAY,
        )  # fmt: skip
        assert Vehicle.objects.get().assess_again is True
        assert JournalEntry.objects.get(verb="surface changed").data["code"] == "door"

    @pytest.mark.parametrize(
        ("change", "field"),
        [
            ({"finish": "factory", "refinished_on": TODAY}, "refinished_on"),
            ({"finish": "refinish", "refinished_on": TODAY + timedelta(1)}, "refinished_on"),
            ({"substrate": "wood"}, "substrate"),
        ],
    )
    def test_change_refuses(self, change, field):
        surface = SurfaceFactory()
        words = {"orientation": "flat", "substrate": "steel", "finish": "factory", **change}
        with pytest.raises(DomainError) as refused:
            keeping.change_surface(studio=surface.studio, surface_id=surface.pk, **words, **BY)
        assert refused.value.field == field

    def test_only_an_unused_surface_comes_off(self):
        unused = SurfaceFactory()
        layer = LayerFactory(surface=SurfaceFactory(vehicle=unused.vehicle))
        assert [row.used for row in kept(unused.studio, unused.vehicle_id).surfaces] == [False, True]
        keeping.remove_surface(studio=unused.studio, surface_id=unused.pk, **BY)
        with pytest.raises(DomainError, match="stays"):
            keeping.remove_surface(studio=unused.studio, surface_id=layer.surface_id, **BY)
        assert [row.pk for row in Surface.objects.all()] == [layer.surface_id]


class TestStorage:
    def test_one_storage_at_a_time(self):
        vehicle = VehicleFactory()
        where = {"studio": vehicle.studio, "vehicle_id": vehicle.pk, **BY}
        keeping.lay_up(start=date(2025, 11, 1), end=date(2026, 3, 1), **where)
        for start, end in (
            (date(2026, 2, 1), None),
            (date(2025, 10, 1), date(2025, 11, 2)),
            (date(2025, 12, 1), date(2026, 1, 1)),
            (date(2025, 1, 1), None),
        ):
            with pytest.raises(DomainError, match="already on record") as refused:
                keeping.lay_up(start=start, end=end, **where)
            assert refused.value.field == "start"
        keeping.lay_up(start=date(2025, 10, 1), end=date(2025, 11, 1), **where)
        keeping.lay_up(start=date(2026, 3, 1), **where)
        assert Storage.objects.count() == 3

    def test_an_open_storage_ends_once_and_asks_for_a_forecast(self):
        vehicle = VehicleFactory()
        storage = keeping.lay_up(studio=vehicle.studio, vehicle_id=vehicle.pk, start=date(2025, 11, 1), **BY)
        Vehicle.objects.update(assess_again=False)
        where = {"studio": vehicle.studio, "storage_id": storage.pk, **BY}
        with pytest.raises(DomainError, match="not after the start"):
            keeping.end_storage(end=date(2025, 11, 1), **where)
        keeping.end_storage(end=TODAY, **where)
        storage.refresh_from_db()
        assert storage.end == TODAY
        assert Vehicle.objects.get().assess_again is True
        with pytest.raises(DomainError, match="already ended"):
            keeping.end_storage(end=TODAY, **where)


def test_the_read_has_a_fixed_number_of_queries(django_assert_num_queries):
    vehicle = VehicleFactory()
    HabitsFactory(vehicle=vehicle, lat=58.0, lon=6.0, height_m=4.0)
    for _ in range(6):
        LayerFactory(surface=SurfaceFactory(vehicle=vehicle))
    with django_assert_num_queries(5):
        view = kept(vehicle.studio, vehicle.pk)
    assert view.habits.place.lat == 58.0
    assert view.keeper_since == vehicle.first_seen
    with pytest.raises(NotFoundHere):
        kept(StudioFactory(), vehicle.pk)
