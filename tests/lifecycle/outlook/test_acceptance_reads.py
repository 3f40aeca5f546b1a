"""Take-up per care, site and reason on rows, and the decisions behind each figure."""

from __future__ import annotations

from datetime import timedelta
from importlib import import_module

import pytest
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle.models import Offer, OfferStep
from lifecycle.outlook import acceptance_reads
from tests.factories import NOW, CareDueFactory, SiteFactory, StudioFactory, VehicleFactory

pytestmark = pytest.mark.django_db


def advice(vehicle, *kinds, task="booster", reason="wear", days=100, **fields):
    at = NOW - timedelta(days=days)
    offer = Offer.objects.create(
        studio=vehicle.studio, vehicle=vehicle, task=task, price_low=80, price_high=120, made_at=at,
        reason_code=reason, **{"site": vehicle.site, **fields},
    )  # fmt: skip
    for number, kind in enumerate(("recommended", *kinds)):
        OfferStep.objects.create(studio=vehicle.studio, offer=offer, kind=kind, at=at + timedelta(days=number))
    return offer


@pytest.fixture
def sites():
    one = SiteFactory(name="Skarholt Sound")
    return one, SiteFactory(studio=one.studio, name="Tarn Bellow")


def test_counts_by_care_site_and_reason(sites):
    here, there = (VehicleFactory(site=site) for site in sites)
    advice(here, "offered", "accepted")
    advice(here, "offered", "declined", reason="interval")
    advice(there, "offered", "expired")
    advice(there)  # nobody was asked
    advice(there, "offered", "withdrawn")
    advice(there, "offered", "accepted", "done", task="recoat")
    view = acceptance_reads.by_care(sites[0].studio)
    assert view.asked == 4
    booster, recoat = view.tasks
    assert (booster.row.title, recoat.row.title) == ("booster top-up", "re-coat")
    assert [(row.title, row.rate.decisions.asked) for row in booster.sites] == [
        ("Skarholt Sound", 2), ("Tarn Bellow", 1)]  # fmt: skip
    assert [(row.title, row.rate.decisions.asked) for row in booster.reasons] == [
        ("Regular interval", 1), ("Worn by use", 2)]  # fmt: skip
    assert booster.row.rate.leans
    assert recoat.sites[0].rate.decisions.accepted == 1


def test_every_figure_opens_to_its_decisions(sites):
    here, there = (VehicleFactory(site=site) for site in sites)
    yes = advice(here, "offered", "accepted", days=50)
    no = advice(here, "offered", "declined", reason="interval")
    advice(there, "offered", "expired")
    advice(there)
    view = acceptance_reads.by_care(sites[0].studio)
    for care in view.tasks:
        for row in (care.row, *care.sites, *care.reasons):
            page = acceptance_reads.decisions(sites[0].studio, task=row.task, site_id=row.site_id, reason=row.reason)
            assert page.total == len(page.rows) == row.rate.decisions.asked
    page = acceptance_reads.decisions(sites[0].studio, site_id=sites[0].pk)
    assert [row.offer_id for row in page.rows] == [yes.pk, no.pk]
    assert [row.outcome for row in page.rows] == ["taken up", "not taken up"]
    assert acceptance_reads.decisions(sites[0].studio, reason="interval").rows[0].reason == "Regular interval"


def test_an_outcome_seen_later_is_no_answer_and_changes_no_count(sites):
    offer = advice(VehicleFactory(site=sites[0]), "offered", "accepted", "done")
    OfferStep.objects.create(studio=offer.studio, offer=offer, kind="outcome", verdict="not_right", at=NOW)
    view = acceptance_reads.by_care(offer.studio)
    assert (view.asked, view.tasks[0].row.rate.decisions.accepted) == (1, 1)
    assert acceptance_reads.decisions(offer.studio).rows[0].outcome == "taken up"


def test_advice_from_before_the_site_and_reason_were_kept(sites):
    due = CareDueFactory(vehicle=VehicleFactory(site=sites[1]), task="booster", reason_code="interval")
    advice(due.vehicle, "offered", "accepted", reason="", site=None, due=due)
    advice(due.vehicle, "offered", "accepted", reason="", site=None)
    (care,) = acceptance_reads.by_care(due.studio).tasks
    assert [row.title for row in care.sites] == ["Tarn Bellow"]
    assert [row.title for row in care.reasons] == ["no reason on record", "Regular interval"]


def test_pages_and_another_studio(sites):
    vehicle = VehicleFactory(site=sites[0])
    for number in range(41):
        advice(vehicle, "offered", "declined", days=100 + number)
    advice(VehicleFactory(), "offered", "declined")
    studio = sites[0].studio
    first, second = (acceptance_reads.decisions(studio, page=number) for number in (1, 2))
    assert (first.total, len(first.rows), len(second.rows), first.pages) == (41, 40, 1, 2)
    assert first.rows[0].on > first.rows[-1].on > second.rows[0].on
    assert acceptance_reads.by_care(StudioFactory()).tasks == ()


def test_as_many_questions_for_one_as_for_thirty(sites):
    def ask():
        acceptance_reads.by_care(sites[0].studio)
        acceptance_reads.decisions(sites[0].studio)

    advice(VehicleFactory(site=sites[0]), "offered", "declined")
    with CaptureQueriesContext(connection) as one:
        ask()
    for number in range(29):
        advice(VehicleFactory(site=sites[number % 2]), "offered", "accepted", task="recoat")
    with CaptureQueriesContext(connection) as thirty:
        ask()
    assert len(thirty) == len(one)


class TestTheLatestWordKeptByTheDatabase:
    """Against the steps themselves: whatever comes in, one by one or in bulk, stands at the offer."""

    def agrees(self):
        for offer in Offer.objects.all():
            said = [step for step in offer.steps.order_by("at", "id") if step.kind != "outcome"]
            kinds = {step.kind for step in said}
            assert (offer.latest_kind, offer.latest_at) == ((said[-1].kind, said[-1].at) if said else ("", None))
            assert (offer.asked, offer.said_yes) == ("offered" in kinds, "accepted" in kinds)

    def test_step_by_step_in_bulk_out_of_order_and_with_an_outcome(self):
        vehicle = VehicleFactory()
        advice(vehicle, "offered", "accepted", "done")
        advice(vehicle)
        advice(vehicle, "withdrawn")
        late = advice(vehicle, "offered", "deferred")
        self.agrees()
        at = late.made_at
        OfferStep.objects.bulk_create(
            OfferStep(studio=vehicle.studio, offer=late, kind=kind, at=at + timedelta(days=days), verdict=verdict)
            for kind, days, verdict in (
                ("accepted", 3, ""), ("declined", 3, ""), ("offered", 1, ""), ("outcome", 9, "right"),
            )
        )  # fmt: skip
        self.agrees()
        late.refresh_from_db()
        assert (late.latest_kind, late.said_yes) == ("declined", True)

    def test_a_migration_fills_in_what_was_said_before(self):
        fill_in = import_module("lifecycle.migrations.0031_latest_step").fill_in
        vehicle = VehicleFactory()
        advice(vehicle, "offered", "accepted")
        advice(vehicle, "offered", "expired")
        advice(vehicle)
        Offer.objects.create(
            studio=vehicle.studio, vehicle=vehicle, task="recoat", price_low=1, price_high=2, made_at=NOW
        )
        Offer.objects.update(latest_kind="", latest_at=None, asked=False, said_yes=False)
        fill_in(apps, None)
        self.agrees()


def test_advice_from_before_site_and_reason_were_kept_counts_by_those_of_vehicle_and_window(sites):
    vehicle = VehicleFactory(site=sites[1])
    window = CareDueFactory(vehicle=vehicle, task="booster", reason_code="interval")
    advice(vehicle, "offered", "declined", reason="", site=None, due=window)
    advice(vehicle, "offered", "accepted", reason="", site=None)
    (booster,) = acceptance_reads.by_care(vehicle.studio).tasks
    assert [(row.title, row.rate.decisions.asked) for row in booster.sites] == [("Tarn Bellow", 2)]
    assert {row.reason: row.rate.decisions.declined for row in booster.reasons} == {"interval": 1, "": 0}
    found = acceptance_reads.decisions(vehicle.studio, site_id=sites[1].pk, reason="interval")
    assert [(row.reason, row.site, row.outcome) for row in found.rows] == [
        ("Regular interval", "Tarn Bellow", "not taken up")]  # fmt: skip
    assert acceptance_reads.decisions(vehicle.studio, reason="").total == 1
