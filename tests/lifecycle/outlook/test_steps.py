"""What may follow what, and when advice rests."""

from __future__ import annotations

from datetime import date

import pytest

from lifecycle.models import OfferStepKind
from lifecycle.outlook import steps


def test_every_kind_of_step_has_its_followers():
    assert set(steps.FOLLOWS) == set(OfferStepKind.values)
    assert {follower for row in steps.FOLLOWS.values() for follower in row} <= set(OfferStepKind.values)


def test_what_is_over_stays_so():
    for kind in (steps.DONE, steps.EXPIRED, steps.WITHDRAWN):
        assert steps.FOLLOWS[kind] == ()
        assert steps.answers_open_to(kind) == ()


def test_refused_twice_rests_for_twelve_months():
    # House rule: refused twice, not offered for twelve months (judgement).
    decisions = [(date(2025, 2, 1), "declined"), (date(2025, 9, 10), "declined")]
    found = steps.rest(decisions, today=date(2026, 3, 2))
    assert found is not None
    assert found.until == date(2026, 9, 10)
    assert "2025-02-01" in found.why
    assert "2026-09-10" in found.why
    assert steps.rest(decisions, today=date(2026, 9, 9)) is not None
    assert steps.rest(decisions, today=date(2026, 9, 10)) is None


@pytest.mark.parametrize(
    "decisions",
    [
        [],
        [(date(2025, 9, 10), "declined")],
        [(date(2025, 2, 1), "declined"), (date(2025, 9, 10), "accepted")],
        [(date(2025, 2, 1), "declined"), (date(2025, 5, 1), "accepted"), (date(2025, 9, 10), "declined")],
    ],
)
def test_less_than_two_refusals_in_a_row_does_not_rest(decisions):
    assert steps.rest(decisions, today=date(2026, 3, 2)) is None


@pytest.mark.parametrize(
    ("day", "months", "expected"),
    [
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2025, 12, 31), 2, date(2026, 2, 28)),
        (date(2025, 1, 31), 11, date(2025, 12, 31)),
        (date(2025, 11, 1), 1, date(2025, 12, 1)),
    ],
)
def test_months_later_keeps_to_the_calendar(day, months, expected):
    assert steps.months_later(day, months) == expected
