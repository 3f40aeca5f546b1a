"""The customer's pages: whose they are, what they say, what they weigh, and that a choice is kept with its words."""

from __future__ import annotations

from datetime import timedelta
from html.parser import HTMLParser
from typing import Any

import pytest
import time_machine
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lifecycle import models
from lifecycle.care.register import transfer
from portal.customer.forms import WORDINGS
from portal.customer.words import cost_words, wait_words, window_words
from tests import factories as f
from tests import people
from tests.portal.doors import as_user
from tests.portal.test_drawings import points

pytestmark = pytest.mark.django_db

VEHICLE = "customer:vehicle"


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with time_machine.travel(f.NOW, tick=False):
        yield


class Outline(HTMLParser):
    """What a page is made of."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def all(self, tag: str) -> list[dict[str, str | None]]:
        return [attributes for name, attributes in self.tags if name == tag]


def forecast(layer: models.Layer, assessment: models.Assessment, stage: str = "tired") -> models.Forecast:
    """A stored forecast of one layer, as the condition step writes it."""
    row: models.Forecast = models.Forecast.objects.create(
        studio=layer.studio, assessment=assessment, surface=layer.surface, layer=layer, stage=stage,
        function_p10=0.31, function_p50=0.48, function_p90=0.66,
        tired_p10=f.TODAY - timedelta(days=90), tired_p50=f.TODAY, tired_p90=f.TODAY + timedelta(days=200),
        end_p10=f.TODAY + timedelta(days=60), end_p50=f.TODAY + timedelta(days=160),
        end_p90=f.TODAY + timedelta(days=400), evidence_says="Two readings made the range narrower.",
        reasons=[{"mechanism": "wash_contact", "share": 0.7, "says": "about 30 bristle-tunnel washes a year"},
                 {"mechanism": "road", "share": 0.3, "says": "heavy salt"}],
        marks=["common practice", "judgement"],
        course=[{"on": p.on.isoformat(), "p10": p.p10, "p50": p.p50, "p90": p.p90} for p in points()],
    )  # fmt: skip
    return row


def vehicle_of(customer: models.Customer, *, surfaces: int = 1, **fields: Any) -> models.Vehicle:
    """An assessed vehicle that this customer keeps, with layers, washes and one thing due."""
    site = f.SiteFactory(studio=customer.studio)
    vehicle: models.Vehicle = f.VehicleFactory(site=site, keeper=customer, **fields)
    assessment = models.Assessment.objects.create(
        studio=vehicle.studio, vehicle=vehicle, as_of=f.TODAY, at=f.NOW, input_hash="x", model_version="1",
        climate={"detail": "Oceanic, from the class table."},
    )  # fmt: skip
    for number in range(surfaces):
        surface = f.SurfaceFactory(vehicle=vehicle, code=("bonnet", "roof", "boot")[number % 3] + "x" * (number // 3))
        forecast(f.LayerFactory(surface=surface), assessment)
        models.CareEvent.objects.create(
            studio=vehicle.studio, vehicle=vehicle, surface=surface, kind="wash", on=f.TODAY - timedelta(days=number)
        )
        inspection = models.Inspection.objects.create(
            studio=vehicle.studio, vehicle=vehicle, on=f.TODAY - timedelta(days=100 + number), clean_state="washed"
        )
        models.Reading.objects.create(
            studio=vehicle.studio, inspection=inspection, surface=surface, kind="contact_angle_deg", value=95
        )
    f.CareDueFactory(vehicle=vehicle)
    return vehicle


def text_of(client: Client, vehicle: models.Vehicle) -> str:
    answer = client.get(reverse(VEHICLE, args=[vehicle.pk]))
    assert answer.status_code == 200
    return answer.content.decode()


class TestWhoseItIs:
    def test_a_foreign_vehicle_is_not_found(self) -> None:
        mine, other = people.customer(), people.customer()
        vehicle = vehicle_of(other)
        assert as_user(mine).get(reverse(VEHICLE, args=[vehicle.pk])).status_code == 404
        assert as_user(other).get(reverse(VEHICLE, args=[vehicle.pk])).status_code == 200
        assert as_user(mine).get(reverse(VEHICLE, args=[10**9])).status_code == 404

    def test_after_a_sale_the_page_belongs_to_the_new_keeper_alone(self) -> None:
        seller = people.customer()
        buyer = people.customer(seller.studio)
        vehicle = vehicle_of(seller)
        f.HabitsFactory(vehicle=vehicle)
        models.CareEvent.objects.create(
            studio=vehicle.studio, vehicle=vehicle, kind="sap", on=f.TODAY - timedelta(days=30), note="beside my house",
            by="customer",
        )  # fmt: skip
        assert "beside my house" in text_of(as_user(seller), vehicle)
        transfer(
            studio=vehicle.studio,
            vehicle_id=vehicle.pk,
            to_customer_id=buyer.pk,
            on=f.TODAY,
            actor="member:1",
            at=f.NOW,
        )
        assert as_user(seller).get(reverse(VEHICLE, args=[vehicle.pk])).status_code == 404
        page = text_of(as_user(buyer), vehicle)
        assert "tree sap" in page
        assert "beside my house" not in page
        assert "15 000 km" not in page
        assert "Nobody has told us how it is used" in page

    def test_a_retired_vehicle_is_gone(self) -> None:
        customer = people.customer()
        vehicle = vehicle_of(customer, retired_on=f.TODAY)
        assert as_user(customer).get(reverse(VEHICLE, args=[vehicle.pk])).status_code == 404


class TestHome:
    def test_one_vehicle_opens_at_once(self) -> None:
        customer = people.customer()
        vehicle = vehicle_of(customer)
        answer = as_user(customer).get(reverse("customer:home"))
        assert answer["Location"] == reverse(VEHICLE, args=[vehicle.pk])

    def test_none_is_said_kindly(self) -> None:
        answer = as_user(people.customer()).get(reverse("customer:home"))
        assert "No vehicle is on record for you now." in answer.content.decode()

    def test_many_are_listed_each_with_its_sentence_in_as_many_queries_as_two(self) -> None:
        few, many = people.customer(), people.customer()
        counts = []
        for customer, number in ((few, 2), (many, 30)):
            for _index in range(number):
                vehicle_of(customer, surfaces=2)
            client = as_user(customer)
            with CaptureQueriesContext(connection) as queries:
                answer = client.get(reverse("customer:home"))
            counts.append(len(queries))
            assert (
                answer.content.decode().count("surfaces is tired. Nothing is urgent; a decontamination wash") == number
            )
        assert counts[0] == counts[1]


class TestVehiclePage:
    def test_the_sentence_comes_first_and_there_is_one_heading_of_the_first_rank(self) -> None:
        customer = people.customer()
        page = text_of(as_user(customer), vehicle_of(customer))
        outline = Outline(page)
        assert len(outline.all("h1")) == 1
        assert outline.all("html") == [{"lang": "en"}]
        sentence = (
            "The mid ceramic coat on the bonnet is tired. "
            "Nothing is urgent; a decontamination wash between 2 March and 1 May 2026 would do most good."
        )
        assert sentence in page
        assert page.index(sentence) < page.index("<h2")

    def test_what_is_due_says_why_what_if_it_waits_and_what_it_costs(self) -> None:
        customer = people.customer()
        vehicle = vehicle_of(customer)
        models.Price.objects.create(studio=vehicle.studio, task="decontamination_wash", size="M", low=120, high=180)
        page = text_of(as_user(customer), vehicle)
        for words in (
            "The bonnet has gathered grime", "Grime that hides how the coating really is.", "washing gets harder",
            "Pour a cup of water", "€ 120 to 180",
            '<span class="nowrap">About € 120 to 180.</span>', "Or do nothing until 1 May 2026.",
        ):  # fmt: skip
            assert words in page

    def test_every_layer_says_how_it_is_known(self) -> None:
        customer = people.customer()
        page = text_of(as_user(customer), vehicle_of(customer))
        for words in (
            "31 to 66 %", "Two readings made the range narrower.", "Rubbing while washing",
            "bristle-tunnel washes a year", "common practice, judgement", "An estimate, not seen since",
            "The forecast rests on</dt><dd>",
        ):  # fmt: skip
            assert words in page

    def test_a_caution_stands_beside_the_engine_bay_of_an_electric_vehicle(self) -> None:
        customer = people.customer()
        electric, petrol = vehicle_of(customer, powertrain="electric"), vehicle_of(customer)
        for vehicle in (electric, petrol):
            f.CareDueFactory(vehicle=vehicle, task="engine_bay", surfaces=["engine_bay"])
        client = as_user(customer)
        assert "Orange cables carry high voltage" in text_of(client, electric)
        assert "Orange cables carry high voltage" not in text_of(client, petrol)
        assert "Engine cool, ignition off" in text_of(client, petrol)

    def test_an_unassessed_vehicle_has_a_page_too(self) -> None:
        customer = people.customer()
        vehicle = f.VehicleFactory(site=f.SiteFactory(studio=customer.studio), keeper=customer)
        f.LayerFactory(surface=f.SurfaceFactory(vehicle=vehicle, code="roof"))
        page = text_of(as_user(customer), vehicle)
        assert "How the protection is doing is not known yet. Nothing needs doing now." in page

    def test_no_inline_style_or_script(self) -> None:
        customer = people.customer()
        outline = Outline(text_of(as_user(customer), vehicle_of(customer)))
        assert not [tag for tag, attributes in outline.tags if "style" in attributes]
        assert len(outline.all("style")) == 1  # the one that the policy names by its hash: test_folds
        assert not [name for _tag, attributes in outline.tags for name in attributes if name.startswith("on")]
        assert all(attributes.get("src") for attributes in outline.all("script"))

    def test_links_within_the_page_have_their_target_and_ids_are_unique(self) -> None:
        customer = people.customer()
        outline = Outline(text_of(as_user(customer), vehicle_of(customer, surfaces=3)))
        ids = [str(attributes["id"]) for _tag, attributes in outline.tags if "id" in attributes]
        assert len(ids) == len(set(ids))
        within = {str(a["href"])[1:] for a in outline.all("a") if str(a.get("href")).startswith("#")}
        assert within
        assert within <= set(ids)

    def test_the_number_of_queries_does_not_grow_with_the_surfaces(self) -> None:
        customer = people.customer()
        small, large = vehicle_of(customer, surfaces=1), vehicle_of(customer, surfaces=30)
        client = as_user(customer)
        counts = []
        for vehicle in (small, large):
            with CaptureQueriesContext(connection) as queries:
                text_of(client, vehicle)
            counts.append(len(queries))
        assert counts[0] == counts[1]


class TestChoices:
    def test_a_choice_is_kept_with_its_words_and_followed_by_the_next(self) -> None:
        customer = people.customer()
        client = as_user(customer)
        page = client.get(reverse("customer:choices")).content.decode()
        assert page.count("You have not been asked, so nothing is sent.") == 2
        for answer, given in (("yes", True), ("no", False)):
            done = client.post(
                reverse("customer:choices"),
                {"customer": customer.pk, "purpose": "promotion", "answer": answer},
                follow=True,
            )
            row = models.Consent.objects.filter(customer=customer).latest("id")
            assert (row.purpose, row.given, row.how, row.at) == ("promotion", given, "own page", f.NOW)
            assert row.wording == str(WORDINGS["promotion"])
            assert ("Offers: yes, from now on." if given else "Offers: no more, from now on.") in done.content.decode()
        assert models.Consent.objects.filter(customer=customer).count() == 2
        assert models.JournalEntry.objects.filter(subject_id=customer.pk, actor=f"customer:{customer.pk}").count() == 2

    def test_nobody_chooses_for_another(self) -> None:
        mine, other = people.customer(), people.customer()
        answer = as_user(mine).post(
            reverse("customer:choices"), {"customer": other.pk, "purpose": "service", "answer": "no"}
        )
        assert answer.status_code == 404
        assert not models.Consent.objects.exists()

    @pytest.mark.parametrize("broken", [{"purpose": "everything"}, {"answer": "maybe"}, {"customer": "x"}, {}])
    def test_what_cannot_be_read_changes_nothing(self, broken: dict[str, str]) -> None:
        customer = people.customer()
        good = {"customer": str(customer.pk), "purpose": "service", "answer": "yes"} if broken else {}
        answer = as_user(customer).post(reverse("customer:choices"), good | broken, follow=True)
        assert "That choice could not be read; nothing was changed." in answer.content.decode()
        assert not models.Consent.objects.exists()


class TestWords:
    def test_money(self) -> None:
        assert cost_words(None, "EUR") == "not in the price list; ask the studio"
        assert cost_words((90, 130), "EUR") == "€ 90 to 130"  # type: ignore[arg-type]
        assert cost_words((90, 90), "SEK") == "SEK 90"  # type: ignore[arg-type]
        assert cost_words((0, 0), "EUR") == "nothing"  # type: ignore[arg-type]

    def test_windows_say_what_a_booking_and_a_contract_change(self) -> None:
        customer = people.customer()
        vehicle = vehicle_of(customer)
        term = f.CareDueFactory(
            vehicle=vehicle, task="inspection", reason_code="contract", contract_on=f.TODAY + timedelta(days=40)
        )
        models.Visit.objects.create(
            studio=vehicle.studio, vehicle=vehicle, site=vehicle.site, on=f.TODAY + timedelta(days=3),
            tasks=["decontamination_wash"], booked_at=f.NOW,
        )  # fmt: skip
        from lifecycle.care.vehicle_reads import vehicle_for_studio

        view = vehicle_for_studio(studio=vehicle.studio, vehicle_id=vehicle.pk, today=f.TODAY)
        wash, inspection = sorted(view.dues, key=lambda due: due.task)
        assert window_words(wash, f.TODAY) == "Booked for 5 March 2026."
        assert wait_words(wash, f.TODAY) == ""
        assert window_words(inspection, f.TODAY) == (
            "From now until 1 May 2026, best around 22 March. The contract names 11 April 2026."
        )
        assert inspection.id == term.pk
