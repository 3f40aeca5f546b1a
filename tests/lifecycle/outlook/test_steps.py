"""What may follow what, and when an offer expires."""

from __future__ import annotations

from datetime import date, timedelta

import pytest

from lifecycle.models import OfferStepKind
from lifecycle.outlook import steps


def test_every_kind_of_step_has_its_followers():
    # What a later look says of advice is no answer to it: nothing follows it and it follows what is over.
    assert set(steps.FOLLOWS) == set(OfferStepKind.values) - {steps.OUTCOME}
    assert {follower for row in steps.FOLLOWS.values() for follower in row} <= set(OfferStepKind.values)


def test_what_is_over_stays_so():
    for kind in (steps.DONE, steps.EXPIRED, steps.WITHDRAWN):
        assert steps.FOLLOWS[kind] == ()
        assert steps.answers_open_to(kind) == ()


@pytest.mark.parametrize(
    ("kind", "since", "until", "over"),
    [
        ("offered", 119, None, False),
        ("offered", 120, None, True),
        ("deferred", 200, 119, False),
        ("deferred", 200, 120, True),
        ("deferred", 120, 130, True),
        ("recommended", 500, None, False),
        ("accepted", 500, None, False),
        ("declined", 500, None, False),
    ],
)
def test_an_offer_without_a_word_expires_after_120_days(kind, since, until, over):
    """House rule (judgement). `since` and `until` are days before today; what was put off waits from that day on."""
    today = date(2026, 3, 2)
    begun = today - timedelta(days=since)
    put_off = None if until is None else today - timedelta(days=until)
    assert steps.unanswered(kind, since=begun, until=put_off, today=today) is over
