"""Each rule with its reason; the ladder; quiet hours across clock changes; properties.

The rules are the house's own (no outside source); what is checked against the outside is the clock: the transition
dates come from the IANA time zone database through `zoneinfo`, and are written out here from the EU's summer-time
directive 2000/84/EC (last Sunday of March and of October, 01:00 UTC) and Australia's rule for New South Wales (first
Sunday of April 03:00 and of October 02:00 local).
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.reminders.quiet import is_quiet, out_of_quiet_hours
from lifecycle.reminders.rules import (
    ReminderFacts,
    Send,
    Skip,
    Wait,
    decide,
)

BERLIN = ZoneInfo("Europe/Berlin")
SYDNEY = ZoneInfo("Australia/Sydney")
NOW = datetime(2026, 5, 12, 10, 0, tzinfo=UTC)  # Tuesday noon in Berlin
FACTS = ReminderFacts(
    step="first",
    purpose="service",
    now=NOW,
    zone=BERLIN,
    earliest=date(2026, 5, 1),
    latest=date(2026, 7, 10),
)
OFFER = replace(FACTS, purpose="promotion")


def ago(days: float) -> datetime:
    return NOW - timedelta(days=days)


HELD = [
    ("booked", replace(FACTS, booked_on=date(2026, 5, 20))),
    ("booked", replace(FACTS, due_state="booked")),
    ("refused", replace(FACTS, refused="over the clear-coat budget")),
    ("just_done", replace(FACTS, done_on=date(2026, 3, 13), awaited="the new layer")),
    ("just_done", replace(FACTS, done_on=date(2026, 5, 12))),
    ("declined", replace(FACTS, declined=date(2026, 5, 2))),
    ("declined", replace(FACTS, declined=date(2026, 5, 2), owed=True)),
    ("deferred", replace(FACTS, deferred_until=date(2026, 5, 13))),
    ("resting", replace(FACTS, resting_until=date(2026, 5, 13))),
    ("resting", replace(OFFER, resting_until=date(2026, 5, 13))),
    ("vehicle_stored", replace(FACTS, stored=True)),
    ("studio_paused", replace(FACTS, studio_paused=True)),
    ("window_over", replace(FACTS, latest=date(2026, 5, 11))),
    ("previous_keeper", replace(FACTS, keeper_now=False)),
    ("no_address", replace(FACTS, has_address=False)),
    ("suppressed", replace(FACTS, suppressed="bounced")),
    ("consent_unknown", replace(FACTS, consent=None)),
    ("consent_withdrawn", replace(FACTS, consent=False)),
    ("complaint_open", replace(OFFER, complaint_open=True)),
    ("complaint_open", replace(FACTS, complaint_open=True)),
    ("visit_recent", replace(OFFER, last_visit=date(2026, 4, 22))),
    ("visit_soon", replace(OFFER, next_visit=date(2026, 6, 1))),
    ("another_first", replace(FACTS, sent=(ago(2),), latest=date(2026, 5, 14))),
    ("another_first", replace(OFFER, sent=(ago(10),), latest=date(2026, 5, 20))),
    ("no_contract_date", replace(FACTS, step="last")),
    ("first_comes_first", replace(FACTS, step="follow_up", first="none")),
    ("first_comes_first", replace(FACTS, step="follow_up", first="on_way")),
    ("first_comes_first", replace(FACTS, step="last", contract_on=date(2026, 6, 1), first="none")),
]
NEVER = [
    ("due_done", replace(FACTS, due_state="done")),
    ("due_withdrawn", replace(FACTS, due_state="withdrawn")),
    ("vehicle_retired", replace(FACTS, retired=True)),
]


@pytest.mark.parametrize(("code", "facts"), HELD, ids=[f"{n}-{code}" for n, (code, _) in enumerate(HELD)])
def test_it_is_held_back_for_now_with_the_reason(code, facts):
    decision = decide(facts)
    assert isinstance(decision, Wait)
    assert (decision.reason_code, decision.final) == (code, False)
    assert decision.reason.endswith(".") or code == "refused"
    assert len(decision.reason) <= 300


@pytest.mark.parametrize(("code", "facts"), NEVER, ids=[code for code, _ in NEVER])
def test_it_is_never_sent_with_the_reason(code, facts):
    decision = decide(facts)
    assert isinstance(decision, Skip)
    assert (decision.reason_code, decision.final) == (code, True)


def test_an_open_window_is_written_about_now():
    assert decide(FACTS) == Send(NOW, "window_open", "The window has been open since 2026-05-01.")


def test_a_window_that_opened_before_the_customer_came_is_written_about():
    """Late enrolment is no reason to stay silent; only follow-ups and last notices can come too late."""
    assert isinstance(decide(replace(FACTS, earliest=date(2024, 1, 1))), Send)


def test_a_window_that_opens_later_is_planned_for_nine_in_the_morning_there():
    decision = decide(replace(FACTS, earliest=date(2026, 6, 3)))
    assert decision == Send(datetime(2026, 6, 3, 7, 0, tzinfo=UTC), "window_opens", "The window opens on 2026-06-03.")


def test_a_visit_holds_no_care_reminder_back():
    facts = replace(FACTS, last_visit=date(2026, 5, 11), next_visit=date(2026, 5, 14))
    assert isinstance(decide(facts), Send)


def test_a_complaint_holds_no_notice_of_what_the_studio_owes():
    assert isinstance(decide(replace(FACTS, complaint_open=True, owed=True)), Send)


@pytest.mark.parametrize(("days", "kind"), [(20, Wait), (21, Send)])
def test_an_offer_waits_21_days_after_a_visit(days, kind):
    assert isinstance(decide(replace(OFFER, last_visit=NOW.date() - timedelta(days=days))), kind)


def test_a_care_reminder_keeps_a_week_from_the_one_before():
    decision = decide(replace(FACTS, sent=(ago(2),)))
    assert isinstance(decision, Send)
    assert (decision.reason_code, decision.at) == ("another_first", ago(2) + timedelta(days=7))
    assert decide(replace(FACTS, sent=(ago(7),))).reason_code == "window_open"


def test_an_offer_keeps_thirty_days_from_the_one_before():
    decision = decide(replace(OFFER, sent=(ago(29),)))
    assert isinstance(decision, Send)
    assert decision.at == ago(29) + timedelta(days=30)
    assert decide(replace(OFFER, sent=(ago(30),))).reason_code == "window_open"


def test_the_seventh_offer_waits_until_a_year_after_the_first():
    six = tuple(ago(days) for days in (350, 300, 250, 200, 150, 100))
    decision = decide(replace(OFFER, sent=six))
    assert isinstance(decision, Send)
    assert decision.at == ago(350) + timedelta(days=365)
    assert decide(replace(OFFER, sent=six[1:])).reason_code == "window_open"


def test_the_follow_up_comes_half_way_between_the_first_notice_and_the_end():
    facts = replace(FACTS, step="follow_up", first="accepted", first_at=datetime(2026, 5, 2, 8, 0, tzinfo=UTC))
    decision = decide(replace(facts, sent=(facts.first_at,)))
    assert isinstance(decision, Send)
    assert decision.at == datetime(2026, 6, 5, 7, 0, tzinfo=UTC)  # 2 May + (69 days // 2 = 34)


def test_the_follow_up_never_comes_within_fourteen_days_of_the_first():
    facts = replace(FACTS, step="follow_up", first="accepted", first_at=NOW, latest=date(2026, 5, 30))
    decision = decide(facts)
    assert isinstance(decision, Send)
    assert decision.at == datetime(2026, 5, 26, 7, 0, tzinfo=UTC)
    assert decide(replace(facts, latest=date(2026, 5, 25))).reason_code == "window_too_short"


def test_a_follow_up_whose_time_has_passed_is_not_sent():
    facts = replace(FACTS, step="follow_up", first="unsent", earliest=date(2026, 3, 1), latest=date(2026, 6, 1))
    half_way = datetime(2026, 4, 16, 7, 0, tzinfo=UTC)
    late = decide(replace(facts, now=half_way + timedelta(days=3, minutes=1)))
    assert isinstance(late, Skip)
    assert late.reason_code == "time_passed"
    assert "2026-04-16" in late.reason
    assert isinstance(decide(replace(facts, now=half_way + timedelta(days=2))), Send)


LATE = [
    # half-way between 1 May and 10 July is 5 June; fourteen days before 20 June is 6 June
    replace(FACTS, step="follow_up", first="unsent", now=datetime(2026, 6, 6, 10, 0, tzinfo=UTC)),
    replace(FACTS, step="last", first="unsent", contract_on=date(2026, 6, 20), now=datetime(2026, 6, 7, 9, tzinfo=UTC)),
]


@pytest.mark.parametrize(("facts", "its_day"), [*zip(LATE, (date(2026, 6, 5), date(2026, 6, 6)), strict=True)])
def test_a_later_notice_whose_time_was_before_they_came_is_skipped_with_the_reason(facts, its_day):
    """House plan: a plan row is valid only if made before its time; else it is skipped, visibly, with the reason."""
    came_after = decide(replace(facts, enrolled_on=its_day + timedelta(days=1)))
    assert isinstance(came_after, Skip)
    assert came_after.reason_code == "enrolled_later"
    assert str(its_day) in came_after.reason
    assert str(its_day + timedelta(days=1)) in came_after.reason
    assert isinstance(decide(replace(facts, enrolled_on=its_day)), Send)
    assert isinstance(decide(replace(facts, enrolled_on=None)), Send)


def test_a_first_notice_is_written_however_late_they_came():
    assert decide(replace(FACTS, enrolled_on=date(2026, 5, 11))).reason_code == "window_open"


def test_a_follow_up_that_waited_for_its_turn_is_not_late():
    """Its time is the later of half-way and the end of the distance that the other notice asks for."""
    facts = replace(OFFER, step="follow_up", first="unsent", earliest=date(2026, 3, 1), latest=date(2026, 6, 1))
    decision = decide(replace(facts, sent=(ago(29),)))
    assert isinstance(decision, Send)
    assert decision.reason_code == "another_first"
    turn = replace(facts, now=ago(29) + timedelta(days=30, hours=1), sent=(ago(29),))
    assert isinstance(decide(turn), Send)


def test_the_last_notice_comes_fourteen_days_before_the_contract_date():
    facts = replace(
        FACTS, step="last", contract_on=date(2026, 6, 30), first="accepted", first_at=ago(5), sent=(ago(5),)
    )
    decision = decide(facts)
    assert isinstance(decision, Send)
    assert decision.at == datetime(2026, 6, 16, 7, 0, tzinfo=UTC)
    assert "2026-06-30" in decision.reason


def test_a_last_notice_is_not_sent_after_the_contract_date():
    facts = replace(FACTS, step="last", first="accepted", first_at=ago(30), contract_on=date(2026, 5, 24))
    blocked = replace(facts, sent=(ago(1),), contract_on=date(2026, 5, 15), now=NOW)
    assert not isinstance(decide(blocked), Send)


# ---- what was just done, and what the person said


def test_work_just_done_is_not_written_about_and_says_what_is_missing():
    done = replace(FACTS, done_on=date(2026, 5, 5), awaited="the new layer")
    assert decide(done).reason == "Done on 2026-05-05; the new layer is not on record yet."
    assert isinstance(decide(replace(done, done_on=NOW.date() - timedelta(days=61))), Send)
    assert isinstance(decide(replace(done, done_on=NOW.date() - timedelta(days=60))), Wait)


def test_what_was_put_off_comes_on_the_day_that_was_said():
    facts = replace(FACTS, deferred_until=date(2026, 5, 20))
    assert isinstance(decide(replace(facts, now=datetime(2026, 5, 19, 21, 59, tzinfo=UTC))), Wait)
    morning = decide(replace(facts, now=datetime(2026, 5, 19, 22, 1, tzinfo=UTC)))  # past midnight in Berlin
    assert morning == Send(
        datetime(2026, 5, 20, 7, 0, tzinfo=UTC), "put_off", "The person put it off until 2026-05-20."
    )
    assert decide(replace(facts, now=datetime(2026, 5, 21, 10, 0, tzinfo=UTC))).reason_code == "window_open"


def test_a_follow_up_that_was_put_off_past_its_own_time_is_not_lost():
    facts = replace(
        FACTS, step="follow_up", first="accepted", first_at=ago(10), deferred_until=date(2026, 6, 20),
        now=datetime(2026, 6, 20, 10, 0, tzinfo=UTC),
    )  # fmt: skip
    assert isinstance(decide(replace(facts, deferred_until=None)), Skip)
    assert decide(facts) == Send(facts.now, "put_off", "The person put it off until 2026-06-20.")


def test_a_last_notice_that_was_put_off_comes_then_or_not_after_the_contract_date():
    facts = replace(
        FACTS, step="last", first="accepted", first_at=ago(20), contract_on=date(2026, 6, 10), owed=True,
        deferred_until=date(2026, 6, 1), now=datetime(2026, 6, 1, 10, 0, tzinfo=UTC),
    )  # fmt: skip
    assert isinstance(decide(facts), Send)
    late = replace(facts, deferred_until=date(2026, 6, 11), now=datetime(2026, 6, 11, 10, 0, tzinfo=UTC))
    assert not isinstance(decide(late), Send)


def test_rest_is_over_on_its_day_and_holds_back_nothing_that_is_owed():
    assert isinstance(decide(replace(FACTS, resting_until=NOW.date())), Send)
    assert isinstance(decide(replace(FACTS, resting_until=date(2027, 1, 1), owed=True)), Send)


# ---- quiet hours

CLOCKS = [
    # the night in which Berlin's clocks go forward: 29 March 2026, 02:00 -> 03:00
    (BERLIN, "2026-03-28T20:00", 0, "2026-03-29T07:00Z"),
    (BERLIN, "2026-03-29T01:30", 0, "2026-03-29T07:00Z"),
    (BERLIN, "2026-03-27T23:00", 0, "2026-03-28T08:00Z"),
    # and back: 25 October 2026, 03:00 -> 02:00
    (BERLIN, "2026-10-24T23:59", 0, "2026-10-25T08:00Z"),
    (BERLIN, "2026-10-25T02:30", 0, "2026-10-25T08:00Z"),
    (BERLIN, "2026-10-25T02:30", 1, "2026-10-25T08:00Z"),
    # Sydney: back on 5 April 2026, forward on 4 October 2026
    (SYDNEY, "2026-04-04T21:00", 0, "2026-04-04T23:00Z"),
    (SYDNEY, "2026-10-03T21:00", 0, "2026-10-03T22:00Z"),
    (SYDNEY, "2026-10-04T07:59", 0, "2026-10-03T22:00Z"),
]


@pytest.mark.parametrize(("zone", "local", "fold", "expected"), CLOCKS)
def test_quiet_hours_end_at_nine_on_the_clock_across_both_changes(zone, local, fold, expected):
    moved = out_of_quiet_hours(datetime.fromisoformat(local).replace(tzinfo=zone, fold=fold), zone)
    assert moved == datetime.fromisoformat(expected)
    assert moved.astimezone(zone).strftime("%H:%M") == "09:00"


@pytest.mark.parametrize(
    ("clock", "quiet"), [("07:59", True), ("08:00", False), ("19:59", False), ("20:00", True), ("00:00", True)]
)
def test_the_edges_of_the_quiet_hours(clock, quiet):
    at = datetime.fromisoformat(f"2026-05-12T{clock}:00").replace(tzinfo=BERLIN)
    assert is_quiet(at, BERLIN) is quiet


def test_the_recipients_clock_counts_not_the_studios():
    at = datetime(2026, 5, 12, 10, 0, tzinfo=UTC)  # noon in Berlin, 20:00 in Sydney
    assert decide(replace(FACTS, now=at)).at == at
    assert decide(replace(FACTS, now=at, zone=SYDNEY)).at == datetime(2026, 5, 12, 23, 0, tzinfo=UTC)


# ---- bad input

BAD = [
    (replace(FACTS, now=NOW.replace(tzinfo=None)), "time zone"),
    (replace(FACTS, step="second"), "step"),
    (replace(FACTS, purpose="advert"), "purpose"),
    (replace(FACTS, latest=date(2026, 4, 1)), "before it begins"),
]


@pytest.mark.parametrize(("facts", "says"), BAD)
def test_bad_facts_get_a_clear_error(facts, says):
    with pytest.raises(ValueError, match=says):
        decide(facts)


# ---- properties

ZONES = st.sampled_from(
    [ZoneInfo(name) for name in ("Europe/Berlin", "Australia/Sydney", "America/St_Johns", "Pacific/Kiritimati", "UTC")]
)
MOMENTS = st.integers(0, 3 * 365 * 1440).map(lambda n: datetime(2025, 1, 1, tzinfo=UTC) + timedelta(minutes=n))


@st.composite
def any_facts(draw):
    now = draw(MOMENTS)
    earliest = now.date() + timedelta(days=draw(st.integers(-200, 200)))
    days = st.integers(0, 300)
    firsts = draw(st.sampled_from(["none", "on_way", "accepted", "unsent"]))
    return ReminderFacts(
        step=draw(st.sampled_from(["first", "follow_up", "last"])),
        purpose=draw(st.sampled_from(["service", "promotion"])),
        now=now,
        zone=draw(ZONES),
        earliest=earliest,
        latest=earliest + timedelta(days=draw(days)),
        contract_on=draw(st.none() | days.map(lambda n: earliest + timedelta(days=n))),
        due_state=draw(st.sampled_from(["open", "open", "open", "booked", "done"])),
        stored=draw(st.booleans()),
        consent=draw(st.sampled_from([True, True, None, False])),
        complaint_open=draw(st.booleans()),
        owed=draw(st.booleans()),
        last_visit=draw(st.none() | days.map(lambda n: now.date() - timedelta(days=n))),
        sent=tuple(now - timedelta(hours=draw(st.integers(0, 9000))) for _ in range(draw(st.integers(0, 8)))),
        done_on=draw(st.none() | days.map(lambda n: now.date() - timedelta(days=n))),
        declined=draw(st.none() | st.none() | st.just(now.date())),
        deferred_until=draw(st.none() | days.map(lambda n: now.date() + timedelta(days=n - 150))),
        resting_until=draw(st.none() | days.map(lambda n: now.date() + timedelta(days=n - 150))),
        first=firsts,
        first_at=now - timedelta(days=draw(st.integers(0, 100))) if firsts == "accepted" else None,
    )


@settings(max_examples=300, deadline=None)
@given(any_facts())
def test_what_is_sent_is_never_in_the_past_at_night_too_close_or_against_the_person(facts):
    decision = decide(facts)
    assert decision.reason
    assert len(decision.reason) <= 300
    assert len(decision.reason_code) <= 30
    if not isinstance(decision, Send):
        return
    assert decision.at >= facts.now
    assert decision.at.utcoffset() == timedelta(0)
    clock = decision.at.astimezone(facts.zone)
    assert 8 <= clock.hour < 20
    assert clock.date() <= facts.latest
    assert facts.consent is True
    assert facts.due_state == "open"
    assert not facts.stored
    gap = timedelta(days=7 if facts.purpose == "service" else 30)
    assert all(decision.at - one >= gap for one in facts.sent)
    assert facts.owed or not facts.complaint_open
    assert facts.declined is None
    assert facts.deferred_until is None or clock.date() >= facts.deferred_until
    today = facts.now.astimezone(facts.zone).date()
    assert facts.owed or facts.resting_until is None or today >= facts.resting_until
    assert facts.done_on is None or (today - facts.done_on).days > 60
    if facts.purpose == "promotion":
        assert sum(decision.at - one < timedelta(days=365) for one in facts.sent) < 6


@settings(max_examples=100, deadline=None)
@given(MOMENTS, ZONES)
def test_leaving_the_quiet_hours_is_short_and_is_done_once(at, zone):
    moved = out_of_quiet_hours(at, zone)
    assert timedelta(0) <= moved - at <= timedelta(hours=14)  # 13 hours and a clock that goes back
    assert not is_quiet(moved, zone)
    assert out_of_quiet_hours(moved, zone) == moved
