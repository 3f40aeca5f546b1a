"""Writes the studio and its people."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Any

from django.contrib.auth.hashers import make_password

from lifecycle.care import asking, register
from lifecycle.care.packages import ItemEntry, save_package
from lifecycle.management.demo.plans import Book, CustomerPlan, read_rows
from lifecycle.management.demo.when import at
from lifecycle.models import Bay, Customer, Member, Price, Product, Site, Studio, User

ACTOR = "demo"


@dataclass(frozen=True, slots=True)
class House:
    """The studio as loaded: sites by key, products by code, members by role's first word."""

    book: Book
    studio: Studio
    sites: Mapping[str, Site]
    products: Mapping[str, Product]
    members: Sequence[Member]

    @property
    def technicians(self) -> list[Member]:
        return [member for member in self.members if member.role == "technician"]


def _user(name: str, email: str) -> User:
    """A user who signs in by code or through the demo's own door: the password is unusable."""
    return User(email=email, name=name, password=make_password(None))


def build_house(book: Book) -> House:
    """The studio with sites, bays, members, products and prices."""
    studio = Studio.objects.create(**book.studio["studio"])
    sites = {}
    for key, row in book.studio["sites"].items():
        sites[key] = Site.objects.create(studio=studio, **row)
        for bay in book.studio["bays"]:
            Bay.objects.create(studio=studio, site=sites[key], name=bay)
    members = []
    for row in book.studio["members"]:
        user = _user(row["name"], row["email"])
        user.save()
        members.append(Member.objects.create(studio=studio, user=user, role=row["role"]))
    products = {
        row["code"]: Product.objects.create(
            studio=studio, caution=book.studio["caution"], **{name: row[name] for name in row if name != "coats"}
        )
        for row in book.studio["products"]
    }
    _packages(book, studio, products)
    Price.objects.bulk_create(
        Price(studio=studio, task=row["task"], size=size, low=row[f"{size}_low"], high=row[f"{size}_high"])
        for row in read_rows("prices.csv")
        for size in ("S", "M", "L", "XL")
    )
    return House(book=book, studio=studio, sites=sites, products=products, members=members)


def _packages(book: Book, studio: Studio, products: Mapping[str, Product]) -> None:
    for row in book.studio["packages"]:
        items = [
            ItemEntry(products[item["product"]].pk, item["coats"], item["where"]) for item in row["items"]
        ]  # fmt: skip
        save_package(studio=studio, name=row["name"], note=row["note"], items=items, actor=ACTOR, at=at(book.today))


def register_customer(house: House, plan: CustomerPlan) -> Customer:
    """One customer with consents as they were given or withdrawn, a complaint if there is one."""
    customer = _registered(
        house, name=plan.name, email=plan.email, site=plan.site, since=plan.since, phone=plan.phone, fleet=plan.fleet
    )
    _consents(house, customer, plan.consents, plan.since)
    return customer


def open_complaint(house: House, plan: CustomerPlan, customer: Customer, vehicle_id: int) -> None:
    """The complaint of a story, about a vehicle."""
    if plan.complaint is not None:
        register.open_complaint(
            studio=house.studio, customer_id=customer.pk, vehicle_id=vehicle_id, about=plan.complaint["about"],
            actor=ACTOR, at=at(house.book.when(plan.complaint["on"])),
        )  # fmt: skip


def sell(house: House, plan: CustomerPlan, vehicle_id: int) -> None:
    """The vehicle goes to somebody else, who is asked for consent afresh."""
    if plan.sold_to is None:
        return
    on = house.book.when(plan.sold_to["on"])
    buyer = _registered(house, name=plan.sold_to["name"], email=plan.sold_to["email"], site=plan.site, since=on)
    _consents(house, buyer, [(purpose, True) for purpose in plan.sold_to["consents"]], on)
    register.transfer(
        studio=house.studio, vehicle_id=vehicle_id, to_customer_id=buyer.pk, on=on, actor=ACTOR, at=at(on)
    )


def ask_for_visit(house: House, plan: CustomerPlan, customer: Customer, vehicles: Mapping[str, int]) -> None:
    """The visit that a story's customer has asked for, and that the studio has not answered yet.

    Args:
        vehicles: plate -> id.
    """
    if plan.asks is not None:
        asking.ask(
            studio=house.studio, vehicle_id=vehicles[plan.asks["plate"]], customer_id=customer.pk,
            on=house.book.when(plan.asks["on"]), part=plan.asks["part"], tasks=plan.asks["tasks"],
            wish=plan.asks["wish"], actor=f"customer:{customer.pk}", at=at(house.book.today, 9),
        )  # fmt: skip


def _registered(house: House, *, name: str, email: str, site: str, since: date, **words: Any) -> Customer:
    return register.register_customer(
        studio=house.studio, name=name, email=email, zone=house.sites[site].zone, since=since, actor=ACTOR,
        at=at(since), **words,
    )  # fmt: skip


def _consents(house: House, customer: Customer, said: Sequence[tuple[str, bool]], since: date) -> None:
    wordings: Mapping[str, Any] = house.book.studio["wordings"]
    # Withdrawn after about a third of the time that has gone by.
    later = min(since + (house.book.today - since) / 3, house.book.today - timedelta(days=1))
    for purpose, given in said:
        register.set_consent(
            studio=house.studio, customer_id=customer.pk, purpose=purpose, given=given, wording=wordings[purpose],
            how="paper form" if given else "e-mail", actor=ACTOR, at=at(since if given else max(since, later), 11),
        )  # fmt: skip


def add_users(house: House) -> None:
    """A user for every customer with an address, so that a code by e-mail opens the door."""
    customers = list(Customer.objects.filter(studio=house.studio).exclude(email=""))
    users = User.objects.bulk_create(_user(customer.name, customer.email) for customer in customers)
    for customer, user in zip(customers, users, strict=True):
        customer.user = user
    Customer.objects.bulk_update(customers, ["user"])
