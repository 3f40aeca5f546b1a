"""When advice rests, and what counts as a word on it."""

from __future__ import annotations

from datetime import date

import pytest

from lifecycle.care import resting
from lifecycle.care.resting import Word


def test_refused_twice_rests_for_twelve_months():
    # House rule: refused twice, not offered for twelve months (judgement).
    decisions = [(date(2025, 2, 1), "declined"), (date(2025, 9, 10), "declined")]
    found = resting.rest(decisions, today=date(2026, 3, 2))
    assert found is not None
    assert found.until == date(2026, 9, 10)
    assert "2025-02-01" in found.why
    assert "2026-09-10" in found.why
    assert resting.rest(decisions, today=date(2026, 9, 9)) is not None
    assert resting.rest(decisions, today=date(2026, 9, 10)) is None


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
    assert resting.rest(decisions, today=date(2026, 3, 2)) is None


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
    assert resting.months_later(day, months) == expected


NO = [Word(1, "booster", 7, date(2025, 2, 1), "declined"), Word(1, "booster", 8, date(2025, 9, 10), "declined")]
TODAY = date(2026, 3, 2)


@pytest.mark.parametrize(
    ("words", "since", "rests"),
    [
        (NO, {1: date(2024, 1, 1)}, True),
        (NO, {1: date(2025, 6, 1)}, False),  # the first no was an earlier keeper's
        (NO, {}, False),  # nobody keeps it
        ([*NO, Word(1, "booster", 8, date(2025, 9, 20), "accepted")], {1: date(2024, 1, 1)}, False),
        ([*NO, Word(1, "booster", 9, date(2025, 12, 1), "offered")], {1: date(2024, 1, 1)}, True),
        ([NO[0], Word(2, "booster", 8, date(2025, 9, 10), "declined")], dict.fromkeys((1, 2), date(2024, 1, 1)), False),
        ([NO[0], Word(1, "recoat", 8, date(2025, 9, 10), "declined")], {1: date(2024, 1, 1)}, False),
    ],
)
def test_two_words_of_one_keeper_on_one_task_of_one_vehicle_count(words, since, rests):
    assert (resting.resting(words, since=since, today=TODAY).keys() == {(1, "booster")}) is rests
