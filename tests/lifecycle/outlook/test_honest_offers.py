"""Honest sales: what bars an offer and with which words, what is named beside it, to whom and at what price."""

from __future__ import annotations

from datetime import date, timedelta
from decimal import Decimal

import pytest

from lifecycle.care.erasure import erase_customer
from lifecycle.care.resting import Rest
from lifecycle.errors import DomainError
from lifecycle.models import (
    Complaint,
    Inspection,
    JournalEntry,
    Keeper,
    Offer,
    OfferStep,
    Price,
    Refusal,
    Visit,
)
from lifecycle.models.offer import OfferTold
from lifecycle.outlook import history, offer_rules, offers
from lifecycle.outlook.offer_rules import NOTHING, OfferFacts
from tests.factories import NOW, TODAY, CareDueFactory, LayerFactory, StudioFactory, SurfaceFactory

LATER = NOW + timedelta(hours=1)
DAY = timedelta(days=1)
REST = Rest(date(2027, 1, 1), "Declined on 2025-12-01 and again on 2026-01-01: not offered before 2027-01-01.")


def facts(task="recoat", *, promotion=True, **fields):
    return OfferFacts(task=task, promotion=promotion, today=TODAY, **{"retested_on": TODAY - DAY, **fields})


@pytest.mark.parametrize(
    ("fields", "code"),
    [
        ({"refused": "No re-coat on the bonnet: the budget is used up."}, "refused_by_the_paint"),
        ({"retested_on": None}, "retest_first"),
        ({"retested_on": TODAY - 400 * DAY}, "retest_first"),
        ({"rest": REST}, "refused_twice"),
        ({"complaint_open": True}, "complaint_open"),
        ({"last_visit": TODAY - 20 * DAY}, "visit_recent"),
        ({"next_visit": TODAY + 20 * DAY}, "visit_soon"),
    ],
)  # fmt: skip
def test_each_rule_bars_with_its_reason(fields, code):
    (bar,) = offer_rules.bars(facts(**fields))
    assert bar.code == code
    assert len(bar.why) > 30
    assert bar.hard is (code == "refused_by_the_paint")


def test_what_bars_a_promotion_does_not_bar_care():
    fields = {"complaint_open": True, "last_visit": TODAY, "next_visit": TODAY}
    assert offer_rules.bars(facts("booster", promotion=False, retested_on=None, **fields)) == ()
    assert {bar.code for bar in offer_rules.bars(facts(**fields))} == {"complaint_open", "visit_recent", "visit_soon"}


def test_the_twenty_first_day_is_free_and_bare_paint_needs_no_retest():
    assert offer_rules.bars(facts(last_visit=TODAY - 21 * DAY, next_visit=TODAY + 21 * DAY)) == ()
    assert offer_rules.bars(facts(retested_on=None, bare=True)) == ()


def test_nothing_now_and_the_cheapest_adequate_way_are_always_named():
    prices = {"sealant_renewal": (Decimal(90), Decimal(120)), "wax_renewal": (Decimal(60), Decimal(80))}
    ways = offer_rules.options("recoat", (Decimal(600), Decimal(900)), prices)
    assert [way.task for way in ways] == [NOTHING, "wax_renewal", "recoat"]
    assert ways[0].high == 0
    # Nothing cheaper is adequate: two ways are left, never one.
    assert [way.task for way in offer_rules.options("booster", (Decimal(80), Decimal(120)), prices)] == [
        NOTHING, "booster"]  # fmt: skip
    dear = {"wax_renewal": (Decimal(700), Decimal(800))}
    assert [way.task for way in offer_rules.options("recoat", (Decimal(600), Decimal(900)), dear)] == [
        NOTHING,
        "recoat",
    ]


pytest_db = pytest.mark.django_db


def recommended(task="recoat", reason="wear", **fields):
    row = CareDueFactory(task=task, surfaces=["bonnet", "roof"], reason_code=reason, **fields)
    Price.objects.get_or_create(studio=row.studio, task=task, size="M", defaults={"low": 600, "high": 900})
    Price.objects.get_or_create(studio=row.studio, task="wax_renewal", size="M", defaults={"low": 60, "high": 80})
    offers.recommend(at=NOW)
    return Offer.objects.get(due=row)


def retested(offer, days=30):
    look = Inspection.objects.create(
        studio=offer.studio, vehicle=offer.vehicle, on=TODAY - days * DAY, clean_state="decontaminated", by="studio"
    )
    surface = SurfaceFactory(vehicle=offer.vehicle)
    look.readings.create(studio=offer.studio, surface=surface, kind="beading_score", value=3)
    return look


def make(offer, **fields):
    words = {"channel": "telephone", "actor": "member:1", "at": LATER, **fields}
    return offers.offer_made(studio=offer.studio, offer_id=offer.pk, **words)


@pytest_db
def test_a_recommendation_keeps_where_why_and_what_was_forecast():
    offer = recommended(task="decontamination_wash", reason="clogging")
    assert (offer.site, offer.surfaces, offer.reason_code) == (offer.vehicle.site, ["bonnet", "roof"], "clogging")
    assert offer.recommended_by == "cycle"
    assert offer.basis == {}  # nothing was assessed yet


@pytest_db
def test_an_offer_keeps_price_ways_and_to_whom():
    offer = recommended()
    retested(offer)
    Price.objects.filter(studio=offer.studio, task="recoat").update(low=650, high=950)  # dearer since
    step = make(offer)
    assert (step.price_low, step.price_high, offer.price_low) == (650, 950, 600)
    assert [way["task"] for way in step.options] == [NOTHING, "wax_renewal", "recoat"]
    keeper = Keeper.objects.get(vehicle=offer.vehicle)
    assert OfferTold.objects.get(step=step).customer == keeper.customer


@pytest_db
def test_erasure_unlinks_to_whom_it_was_said_and_leaves_the_step():
    offer = recommended()
    retested(offer)
    keeper = Keeper.objects.get(vehicle=offer.vehicle).customer
    step = make(offer)
    offers.answer(
        studio=offer.studio,
        offer_id=offer.pk,
        kind="declined",
        why=f"{keeper.name} says no",
        actor="member:1",
        at=LATER,
    )
    erase_customer(studio=offer.studio, customer_id=keeper.pk, typed=keeper.name, actor="member:1", at=LATER)
    assert list(OfferTold.objects.values_list("customer", flat=True)) == [None, None]
    assert OfferStep.objects.get(pk=step.pk).channel == "telephone"
    assert not OfferStep.objects.filter(why__contains=keeper.name).exists()


@pytest_db
def test_a_recoat_is_not_offered_before_decontamination_and_retest():
    offer = recommended()
    with pytest.raises(DomainError, match="Decontaminate and retest before a re-coat"):
        make(offer)
    retested(offer, days=30)
    assert make(offer).kind == "offered"


@pytest_db
def test_the_paints_refusal_is_heard_even_in_a_yes_and_only_for_its_surfaces():
    offer = recommended("correction")
    why = "No correction on the bonnet: the low end of the clear-coat budget is used up."
    row = Refusal.objects.create(
        studio=offer.studio, vehicle=offer.vehicle, task="correction", surfaces=["bonnet"], why=why, at=NOW
    )
    for verb in (lambda: make(offer), lambda: offers.answer(
        studio=offer.studio, offer_id=offer.pk, kind="accepted", actor="member:1", at=LATER)):  # fmt: skip
        with pytest.raises(DomainError, match="budget is used up"):
            verb()
    assert OfferStep.objects.filter(offer=offer).count() == 1
    row.surfaces = ["left_door"]
    row.save()
    assert make(offer).kind == "offered"


@pytest_db
def test_no_promotion_beside_a_complaint_or_a_visit_of_the_same_person():
    offer = recommended()
    retested(offer, days=40)
    keeper = Keeper.objects.get(vehicle=offer.vehicle).customer
    complaint = Complaint.objects.create(studio=offer.studio, customer=keeper, about="a mark", opened_at=NOW)
    with pytest.raises(DomainError, match="complaint"):
        make(offer)
    Complaint.objects.filter(pk=complaint.pk).update(closed_at=LATER)
    visit = Visit.objects.create(
        studio=offer.studio, vehicle=offer.vehicle, site=offer.vehicle.site, on=TODAY - 20 * DAY, tasks=["booster"],
        state="done", booked_at=NOW - 30 * DAY,
    )  # fmt: skip
    with pytest.raises(DomainError, match="21 days"):
        make(offer)
    # Who asks of their own accord is heard: a no stays a no, and a yes a yes.
    offers.answer(studio=offer.studio, offer_id=offer.pk, kind="declined", actor="member:1", at=LATER)
    Visit.objects.filter(pk=visit.pk).delete()


@pytest_db
def test_accepted_in_part_keeps_what_is_left():
    offer = recommended("booster", "interval")
    say = {"studio": offer.studio, "offer_id": offer.pk, "actor": "member:1", "at": LATER}
    for kind, left, words in (
        ("accepted", ["door"], "not part of this offer"),
        ("accepted", ["bonnet", "roof"], "nothing would be done"),
        ("declined", ["roof"], "only an offer that is accepted"),
    ):
        with pytest.raises(DomainError, match=words) as refused:
            offers.answer(kind=kind, left=left, **say)
        assert refused.value.field == "left"
    step = offers.answer(kind="accepted", left=["roof"], **say)
    assert (step.taken, step.left) == (["bonnet"], ["roof"])
    assert history.decisions(offer.studio)["booster"].accepted == 1


@pytest_db
def test_withdrawn_names_the_new_evidence():
    offer = recommended()
    look = retested(offer, days=-0)
    say = {"studio": offer.studio, "offer_id": offer.pk, "actor": "member:1", "at": LATER}
    with pytest.raises(DomainError, match="seen since") as refused:
        offers.withdraw(why="it beads again", evidence="inspection:999999", **say)
    assert refused.value.field == "evidence"
    step = offers.withdraw(why="it beads again", evidence=f"inspection:{look.pk}", **say)
    assert (step.kind, step.about, step.about_id) == ("withdrawn", "inspection", look.pk)
    assert JournalEntry.objects.filter(verb="offer withdrawn", subject_id=offer.pk).count() == 1


@pytest_db
@pytest.mark.parametrize("shown", ["visit", "layer", "nothing"])
def test_done_is_linked_to_what_shows_it(shown):
    offer = recommended("windscreen_retreat", "wear")
    row = {}
    if shown == "visit":
        row["visit"] = Visit.objects.create(
            studio=offer.studio, vehicle=offer.vehicle, site=offer.vehicle.site, on=TODAY, state="done", booked_at=NOW,
            tasks=["windscreen_retreat"],
        )  # fmt: skip
    if shown in ("visit", "layer"):
        row["layer"] = LayerFactory(
            surface=SurfaceFactory(vehicle=offer.vehicle), kind="windscreen_coat", applied=TODAY
        )
    offer.due.state, offer.due.closed_at, offer.due.closed_why = "done", LATER, "Done."
    offer.due.save()
    assert offers.recommend(at=LATER) == {"done": 1}
    step = OfferStep.objects.get(kind="done")
    expected = ("", None) if shown == "nothing" else (shown, row[shown].pk)
    assert (step.about, step.about_id) == expected


@pytest_db
def test_a_foreign_offer_is_not_barred_nor_made():
    from lifecycle.errors import NotFoundHere

    offer = recommended()
    with pytest.raises(NotFoundHere):
        offers.offer_made(studio=StudioFactory(), offer_id=offer.pk, actor="member:1", at=LATER)
