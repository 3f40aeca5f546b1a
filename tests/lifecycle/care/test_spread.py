"""Proposals to days: inside the window, no week too full beside an empty one, nothing that stands is moved."""

from __future__ import annotations

from collections import defaultdict
from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.care.site_board import monday
from lifecycle.care.site_days import BayRule, ClosedDays, HandsRule, SiteRules, days_between
from lifecycle.care.spread_visits import Held, Wish, spread
from lifecycle.care.visits import propose
from lifecycle.models import Bay, Closure, Visit, VisitProposal
from tests.factories import NOW, TODAY, CareDueFactory, SiteFactory, VehicleFactory

SUNDAY = date(2026, 5, 3)  # tomorrow is the Monday of week 0
ONE = SiteRules(zone="Europe/Oslo", bays=(BayRule(1, "Bay 1"),))  # 40 h a week, so the target is 32 h


def day(week: int, weekday: int = 0) -> date:
    return SUNDAY + timedelta(days=1 + 7 * week + weekday)


def hours_by_week(wishes, plan):
    used = defaultdict(float)
    for wish, planned in zip(wishes, plan.visits, strict=True):
        if planned.on is not None:
            used[monday(planned.on)] += wish.labour_h
    return used


def test_a_full_week_is_relieved_through_its_neighbour():
    """Sixteen visits of 4 h want week 0 and may go to week 1; eight want week 1 and may go to week 2. No visit of the
    first kind reaches the empty week 2: only if the second kind makes room do all weeks keep to 32 of 40 h."""
    first = [Wish(key, day(0), day(0, 2), day(1, 4), 4.0) for key in range(16)]
    second = [Wish(100 + key, day(1), day(1, 2), day(2, 4), 4.0) for key in range(8)]
    plan = spread(ONE, [*first, *second], today=SUNDAY)
    used = hours_by_week([*first, *second], plan)
    assert [used[day(week)] for week in range(3)] == [32.0, 32.0, 32.0]
    moved = [one.why for one in plan.visits if "the target is 80 %" in one.why]
    assert moved, "who is moved reads why"
    # 16 of 24 fill weeks 0 and 1 to their targets; the third week was empty before.
    assert all("%; the week of" in why for why in moved)


def test_where_nothing_presses_everybody_gets_the_ideal_day_and_keeps_it():
    wish = Wish(1, day(0), day(1, 3), day(4, 4), 3.0)
    planned = spread(ONE, [wish], today=SUNDAY).visits[0]
    assert (planned.on, planned.bay_id, planned.why) == (day(1, 3), 1, "Its ideal day.")
    stays = Wish(1, day(0), day(1, 5), day(4, 4), 3.0, standing=day(1, 4))
    assert spread(ONE, [stays], today=SUNDAY).visits[0].on == day(1, 4)


def test_closed_days_are_passed_over_and_named():
    rules = SiteRules(zone="Europe/Oslo", country="NO", closed=(ClosedDays(day(1), day(1, 4), "storm damage"),))
    wishes = [
        # 17 May is the national day of Norway (act of 26 April 1947 no. 1); in 2026 it is a Sunday, 14 May Ascension.
        Wish(1, date(2026, 5, 13), date(2026, 5, 14), date(2026, 5, 15), 2.0),
        Wish(2, date(2026, 5, 23), date(2026, 5, 25), date(2026, 5, 26), 2.0),
    ]
    plan = spread(rules, wishes, today=SUNDAY)
    assert plan.visits[0].on is None
    assert "closed on every day" in plan.visits[0].why
    assert plan.visits[1].on == date(2026, 5, 26)
    assert "Pentecost Monday" in plan.visits[1].why


def test_a_visit_left_on_a_closed_day_takes_no_other_day():
    rules = SiteRules(zone="Europe/Oslo", bays=(BayRule(1, "Bay 1"),), closed=(ClosedDays(day(0), day(0), "storm"),))
    plan = spread(rules, [Wish(1, day(0, 1), day(0, 1), day(0, 1), 6.0)], [Held(day(0), 8.0)], today=SUNDAY)
    assert plan.visits[0].on == day(0, 1)
    assert plan.weeks[0].used_h == 6.0


def test_a_coat_in_cure_blocks_the_warm_still_bay():
    """24 h after closing at 16:00 end at 16:00 of the next day: a second such car cannot come in between, work that
    leaves nothing in cure goes to the other bay."""
    rules = SiteRules(zone="Europe/Oslo", bays=(BayRule(1, "Bay 1"), BayRule(2, "Bay 2", warm_still=True)))
    wishes = [Wish(key, day(0), day(0), day(0, 4), 3.0, 24.0) for key in range(3)]
    wishes.append(Wish(9, day(0, 1), day(0, 1), day(0, 1), 3.0))
    plan = spread(rules, wishes, today=SUNDAY)
    cured = sorted(one.on for one in plan.visits[:3])
    assert cured == [day(0), day(0, 2), day(0, 4)]
    assert {one.bay_id for one in plan.visits[:3]} == {2}
    assert "warm and still" in plan.visits[0].why
    assert (plan.visits[3].on, plan.visits[3].bay_id) == (day(0, 1), 1)


def test_hands_and_their_skills_bound_the_day():
    rules = SiteRules(
        zone="Europe/Oslo", bays=(BayRule(1, "Bay 1"), BayRule(2, "Bay 2")),
        hands=(HandsRule(6, frozenset(range(5))), HandsRule(4, frozenset({1}), frozenset({"polish"}))),
    )  # fmt: skip
    polish = [Wish(key, day(0), day(0), day(0, 4), 4.0, tasks=("correction",)) for key in range(2)]
    film = Wish(7, day(0), day(0), day(0, 4), 1.0, tasks=("film_edge_check",))
    plan = spread(rules, [*polish, film], today=SUNDAY)
    assert sorted((one.on or date.max) for one in plan.visits[:2]) == [day(0, 1), date.max], "polished on Tuesdays only"
    assert "Nobody here has film entered" in plan.visits[2].why


def test_work_of_several_days_runs_over_a_weekend():
    wish = Wish(1, day(0, 4), day(0, 4), day(0, 4), 20.0)
    after = Wish(2, day(1), day(1), day(1, 1), 6.0)
    plan = spread(ONE, [wish, after], today=SUNDAY)
    assert plan.visits[0].on == day(0, 4)
    assert plan.visits[1].on is None, "Monday and half of Tuesday are taken, so 6 h fit on neither"


def test_one_pair_of_hands_takes_days_for_long_work_and_its_bay_stays_taken():
    hands = (HandsRule(6.5, frozenset({0, 1, 3, 4}), frozenset({"polish"})), HandsRule(6.5, frozenset(range(5))))
    rules = SiteRules(zone="Europe/Oslo", bays=(BayRule(1, "Bay 1"),), hands=hands)
    coat = Wish(1, day(0), day(0), day(0), 15.0, tasks=("correction",))
    wash = [Wish(n, day(0, n), day(0, n), day(0, n), 1.0) for n in (1, 2, 3, 4)]
    plan = spread(rules, [coat, *wash], today=SUNDAY)
    # Monday 6.5 h, Tuesday 6.5 h, nobody for it on Wednesday, Thursday 2 h: the bay has room from Thursday on.
    assert [row.on for row in plan.visits] == [day(0), None, None, day(0, 3), day(0, 4)]


@settings(max_examples=40, deadline=None)
@given(
    st.lists(
        st.tuples(st.integers(-10, 60), st.integers(0, 30), st.integers(0, 30), st.sampled_from([1.0, 2.5, 6.0, 12.0]),
                  st.sampled_from([0.0, 12.0, 24.0])),
        max_size=40,
    ),
    st.lists(st.tuples(st.integers(1, 60), st.floats(1, 8)), max_size=6),
    st.integers(0, 2),
)  # fmt: skip
def test_random_sites_never_hold_more_than_they_can(rows, standing, warm):
    rules = SiteRules(
        zone="Europe/Oslo", country="NO", bays=tuple(BayRule(n, f"Bay {n}", n <= warm) for n in (1, 2)),
    )  # fmt: skip
    wishes = [
        Wish(key, *(SUNDAY + timedelta(days=d) for d in (first, first + a, first + a + b)), labour, cure)
        for key, (first, a, b, labour, cure) in enumerate(rows)
    ]
    held = [Held(SUNDAY + timedelta(days=on), hours) for on, hours in standing]
    plan = spread(rules, wishes, held, today=SUNDAY)
    assert plan == spread(rules, wishes, held, today=SUNDAY), "the same question has the same answer"
    days = days_between(rules, SUNDAY, SUNDAY + timedelta(days=200))
    short = defaultdict(float)
    for wish, planned in zip(wishes, plan.visits, strict=True):
        assert planned.why
        if planned.on is None:
            continue
        assert wish.earliest <= planned.on <= wish.latest
        assert planned.on > SUNDAY
        assert days[planned.on].open_h > 0
        if wish.labour_h <= 8:
            short[planned.on] += wish.labour_h
    assert all(hours <= 16 + 1e-6 for hours in short.values()), "two bays of eight hours"


@pytest.mark.django_db
def test_the_cycle_plans_proposals_and_moves_no_booked_visit():
    site = SiteFactory(country="NO")
    bay = Bay.objects.create(studio=site.studio, site=site, name="Bay 1")
    ideal = TODAY + timedelta(days=20)
    booked = Visit.objects.create(
        studio=site.studio, site=site, vehicle=VehicleFactory(site=site), on=ideal, hours=8, tasks=["inspection"],
        bay=bay, booked_at=NOW,
    )  # fmt: skip
    due = CareDueFactory(vehicle=VehicleFactory(site=site), earliest=ideal - timedelta(days=1), ideal=ideal,
                         latest=ideal + timedelta(days=30))  # fmt: skip
    assert propose(at=NOW)["planned"] == 1
    proposal = VisitProposal.objects.get()
    assert proposal.planned_on is not None
    assert due.earliest <= proposal.planned_on <= due.latest
    assert proposal.planned_on != ideal, "the only bay is full on that day"
    assert proposal.planned_bay_id == bay.pk
    assert "its ideal day" in proposal.planned_why
    was = proposal.planned_on
    assert propose(at=NOW)["moved"] == 0
    Closure.objects.create(studio=site.studio, site=site, first=was, last=was, reason="flood", made_at=NOW)
    assert propose(at=datetime(2026, 3, 2, 12, tzinfo=UTC))["moved"] == 1
    proposal.refresh_from_db()
    booked.refresh_from_db()
    assert proposal.planned_on != was
    assert booked.on == ideal
