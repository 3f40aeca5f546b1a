"""Every list of the studio asks as many queries for thirty rows as for one; a page that is new is a list or is none."""

from __future__ import annotations

from datetime import timedelta
from uuid import uuid4

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from lifecycle.care.documents import add_document
from lifecycle.care.packages import MOST_ITEMS, ItemEntry, save_package
from lifecycle.care.tasks_table import load_tasks
from lifecycle.condition.run import assess_one
from lifecycle.models import (
    Bay,
    CareEvent,
    Closure,
    Complaint,
    ContractTerm,
    Correction,
    Finding,
    Inspection,
    Keeper,
    Photo,
    Price,
    Product,
    Refusal,
    Storage,
    Visit,
)
from tests import people
from tests.factories import (
    CareDueFactory,
    GaugeFactory,
    HabitsFactory,
    LayerFactory,
    ProductFactory,
    SiteFactory,
    VehicleFactory,
)
from tests.lifecycle.care.paint_world import THICK, film, panel
from tests.lifecycle.outlook.test_acceptance_reads import advice
from tests.lifecycle.outlook.test_return_reads import came
from tests.pictures import pdf
from tests.portal.access_table import WHO
from tests.portal.studio_world import fill, today

pytestmark = pytest.mark.django_db

# Lists by what their address names; the other studio pages show one thing, take one form, or are no pages.
PLAIN = (
    "work", "vehicles", "left", "customers", "bookings", "requests", "calendars", "reminders", "outbox", "approvals",
    "offers", "slipping", "acceptance", "decisions", "sites", "team", "products", "packages", "documents", "prices",
    "imports", "words", "gauges", "outlook_answers", "right", "right_rows", "right_reminders", "tokens", "hooks",
    "new_package", "new_vehicle", "house", "letter", "comes_back", "out",
)  # fmt: skip
OF_VEHICLE = (
    "vehicle", "surfaces", "life", "entries", "wheel_sets", "photos", "reports", "findings", "advice", "readings",
    "paste_readings", "record_layer", "record_event", "record_inspection", "record_storage",
    "record_habits", "record_correction", "record_contract", "contract_rule", "transfer", "retire", "change_vehicle",
    "intake", "book",
)  # fmt: skip
OTHERS = {
    "recall": "?batch=B-1", "customer": "", "site": "", "site_calendar": "", "closures": "", "bays": "",
    "apply_package": "", "package": "", "register_vehicle": "", "member": "", "hands": "", "product": "",
    "report_draft": "", "erase": "",
}  # fmt: skip
# Held in worlds of their own: test_panel_and_search, test_correction_pages, test_outlook_pages, test_figures.
ELSEWHERE = {"panel", "search", "correction_plan", "kept_plan", "plan_done", "outlook", "outlook_rows", "figures"}
NO_LISTS = {
    "told", "withdraw_offer", "intake_finding", "intake_worker", "document", "photo", "change_surface",
    "plan_consent", "register_customer", "change_customer", "part", "take_back", "stop_rule", "term_done", "readmit",
    "close_complaint", "settle", "request", "calendar_address", "preview", "pause", "phoned", "message",
    "message_page", "tend", "answer", "outlook_prepare", "outlook_spread", "outlook_spreading", "letter_pdf",
    "letter_choice", "site_place", "opening", "closure", "figure", "new_site", "new_product", "import_file",
    "import_errors", "wording", "wording_page", "check_readings", "new_gauge", "gauge", "figure_group",
    "product_windows", "report", "report_pdf", "report_addendum", "end_token", "api_reference", "hook",
    "resend_hook", "out_list", "out_studio",
}  # fmt: skip


class Crowd:
    """One vehicle with many of everything, in a studio with many of everything."""

    def __init__(self, site) -> None:
        self.site, self.studio, self.rows = site, site.studio, 0
        self.by = {"studio": self.studio, "actor": "member:1", "at": timezone.now()}
        self.keeper = people.customer(self.studio, name="Tove Halvarsen")
        self.vehicle = VehicleFactory(site=site, keeper=self.keeper, plate="TST MANY", first_seen=today())
        HabitsFactory(vehicle=self.vehicle)
        self.technician = people.technician(self.studio)
        self.bonnet = panel(self.vehicle, "bonnet", THICK)
        self.product = ProductFactory(studio=self.studio, code="C0")
        self.package = save_package(name="Full", items=[ItemEntry(self.product.pk)], **self.by)
        self.tasks = sorted(load_tasks())

    def more(self, count: int) -> None:
        fill(self.site, count)
        for _ in range(count):
            self.rows += 1
            self._house(self.rows)
            self._people(self.rows)
            self._vehicle(self.rows)
        items = [ItemEntry(one.pk) for one in Product.objects.filter(studio=self.studio)[:MOST_ITEMS]]
        save_package(package_id=self.package.pk, name="Full", items=items, **self.by)
        assess_one(studio=self.studio, vehicle_id=self.vehicle.pk, at=timezone.now())

    def _house(self, number: int) -> None:
        product = ProductFactory(studio=self.studio, code=f"C{number}")
        add_document(
            product_id=product.pk, kind="sds", revised_on=today(), language="en", upload=pdf(f"sheet {number}"),
            **self.by,
        )  # fmt: skip
        save_package(name=f"Package {number}", items=[ItemEntry(product.pk)], **self.by)
        GaugeFactory(studio=self.studio)
        SiteFactory(studio=self.studio)
        people.technician(self.studio)
        Bay.objects.create(studio=self.studio, site=self.site, name=f"Bay {number}")
        Closure.objects.create(
            studio=self.studio, site=self.site, first=today() + timedelta(number), last=today() + timedelta(number),
            reason="stocktaking", made_at=timezone.now(),
        )  # fmt: skip
        if number <= len(self.tasks):
            Price.objects.create(studio=self.studio, task=self.tasks[number - 1], size="M", low=90, high=110)

    def _people(self, number: int) -> None:
        other = VehicleFactory(site=self.site, keeper=False, plate=f"TST {number} B")
        Keeper.objects.create(studio=self.studio, vehicle=other, customer=self.keeper, start=today())
        Complaint.objects.create(studio=self.studio, customer=self.keeper, about="a mark", opened_at=timezone.now())
        VehicleFactory(site=self.site, retired_on=today(), keeper=False)
        advice(other, "offered", "accepted")
        advice(other, "offered", "declined", task="recoat")
        came(other, 700, 500, 300)
        Visit.objects.create(
            studio=self.studio, site=self.site, vehicle=other, customer=self.keeper, on=today() + timedelta(9),
            tasks=["inspection"], state="asked", booked_at=timezone.now(),
        )  # fmt: skip

    def _vehicle(self, number: int) -> None:
        mine = {"studio": self.studio, "vehicle": self.vehicle}
        surface = panel(self.vehicle, f"panel {number}", THICK)
        product = Product.objects.get(studio=self.studio, code=f"C{number}")
        LayerFactory(surface=surface, product=product, batch="B-1", applied=today() - timedelta(300))
        LayerFactory(surface=self.bonnet, kind="wax", batch="B-1", ended=today())
        wheel = panel(self.vehicle, f"wheels {number}", orientation="wheel")
        LayerFactory(surface=wheel, kind="wheel_coat", product=product)
        seen = Inspection.objects.create(
            **mine, on=today() - timedelta(number), clean_state="washed", kind="pre_detail", key=uuid4()
        )
        film(surface, inspection=seen)
        film(self.bonnet, inspection=self.seen)
        for inspection in (seen, self.seen):
            finding = Finding.objects.create(
                studio=self.studio, inspection=inspection, surface=self.bonnet, kind="chip"
            )
            Photo.objects.create(
                **mine, inspection=inspection, finding=finding, surface=self.bonnet, file="a.jpg", thumbnail="b.jpg",
                width=9, height=9, sha256="0" * 64, added_at=timezone.now(),
            )  # fmt: skip
        CareEvent.objects.create(**mine, kind="sap", on=today() - timedelta(number), surface=self.bonnet)
        Storage.objects.create(**mine, start=today() - timedelta(900), end=today() - timedelta(880))
        ContractTerm.objects.create(**mine, title=f"look {number}", due=today() + timedelta(300))
        Correction.objects.create(studio=self.studio, surface=surface, on=today(), stage="finishing")
        if number <= len(self.tasks):
            task = self.tasks[number - 1]
            CareDueFactory(vehicle=self.vehicle, task=task)
            Refusal.objects.create(**mine, task=task, surfaces=["bonnet"], why="not yet", at=timezone.now())
        advice(self.vehicle, "offered", "declined", task="booster", reason=f"r{number}")
        came(self.vehicle, 100 + number)

    @property
    def seen(self) -> Inspection:
        """The inspection that gathers everything."""
        return Inspection.objects.get_or_create(
            studio=self.studio, vehicle=self.vehicle, on=today(), clean_state="decontaminated", kind="walk_around"
        )[0]

    def address(self, name: str) -> str:
        ids = {
            "customer": [self.keeper.pk], "erase": [self.keeper.pk], "register_vehicle": [self.keeper.pk],
            "apply_package": [self.vehicle.pk, self.package.pk],
            "package": [self.package.pk], "product": [self.product.pk], "member": [self.technician.pk],
            "hands": [self.site.pk, self.technician.pk], "report_draft": [self.seen.pk],
            "recall": [],
        }  # fmt: skip
        args = [self.vehicle.pk] if name in OF_VEHICLE else ids.get(name, [self.site.pk] if name in OTHERS else [])
        return reverse(f"studio:{name}", args=args) + OTHERS.get(name, "")


def counts(crowd: Crowd, browser) -> dict[str, int]:
    """Queries of each list."""
    found = {}
    for name in (*PLAIN, *OF_VEHICLE, *OTHERS):
        url = crowd.address(name)
        with CaptureQueriesContext(connection) as queries:
            answer = browser.get(url)
        assert answer.status_code == 200, (name, answer.status_code)
        found[name] = len(queries)
    return found


def test_as_many_queries_for_thirty_rows_as_for_one_on_every_list(site, owner):
    crowd = Crowd(site)
    crowd.more(1)
    counts(crowd, owner)  # what is kept between requests is kept now
    one = counts(crowd, owner)
    crowd.more(29)
    thirty = counts(crowd, owner)
    grown = {name: (one[name], thirty[name]) for name in one if thirty[name] != one[name]}
    assert grown == {}


def test_every_page_of_the_studio_is_a_list_or_none():
    known = {*PLAIN, *OF_VEHICLE, *OTHERS, *ELSEWHERE, *NO_LISTS}
    assert {name.removeprefix("studio:") for name in WHO if name.startswith("studio:")} == known
