"""Contract rules: calendar months, the days that they give, and what an inspection does to them."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lifecycle import condition
from lifecycle.care import contracts
from lifecycle.care.months import add_months, every
from lifecycle.care.record import ReadingEntry, record_inspection
from lifecycle.care.visits import settle
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import ContractRule, ContractTerm, JournalEntry, Visit
from tests.factories import NOW, TODAY, LayerFactory, StudioFactory, SurfaceFactory, VehicleFactory

BY = {"actor": "member:1", "at": NOW}

# XML Schema Part 2: Datatypes (W3C), appendix E: the day is pinned to the last of the month. Examples of E.1 and E.2,
# from memory.
W3C = [
    (date(2000, 3, 31), 1, date(2000, 4, 30)),
    (date(2000, 3, 30), 1, date(2000, 4, 30)),
    (date(2000, 1, 1), -3, date(1999, 10, 1)),
]
# Gregorian calendar: a year is a leap year if divisible by 4, not by 100 unless by 400 (ISO 8601).
LEAP = [
    (date(2023, 1, 31), 1, date(2023, 2, 28)),
    (date(2000, 1, 30), 1, date(2000, 2, 29)),
    (date(2024, 1, 31), 1, date(2024, 2, 29)),
    (date(1900, 1, 31), 1, date(1900, 2, 28)),
    (date(2000, 1, 31), 1, date(2000, 2, 29)),
    (date(2024, 2, 29), 12, date(2025, 2, 28)),
    (date(2024, 2, 29), 48, date(2028, 2, 29)),
    (date(2023, 12, 31), 2, date(2024, 2, 29)),
    (date(2024, 12, 15), 1, date(2025, 1, 15)),
]


@pytest.mark.parametrize(("day", "months", "then"), [*W3C, *LEAP])
def test_calendar_months(day, months, then):
    assert add_months(day, months) == then


def test_each_day_is_counted_from_the_start_so_that_february_moves_no_later_one():
    days = list(every(date(2023, 1, 31), 1, until=date(2023, 5, 31)))
    assert days == [date(2023, 2, 28), date(2023, 3, 31), date(2023, 4, 30), date(2023, 5, 31)]
    assert list(every(date(2024, 2, 29), 12, until=date(2028, 3, 1))) == [
        date(2025, 2, 28), date(2026, 2, 28), date(2027, 2, 28), date(2028, 2, 29),
    ]  # fmt: skip
    with pytest.raises(ValueError, match="no step"):
        list(every(date(2024, 1, 1), 0, until=date(2025, 1, 1)))
    with pytest.raises(ValueError, match="calendar"):
        add_months(date(9999, 12, 1), 1)


@given(st.dates(date(1950, 1, 1), date(2090, 1, 1)), st.integers(0, 240))
def test_months_keep_their_order_and_never_leave_their_month(day, months):
    then = add_months(day, months)
    assert (then.year - day.year) * 12 + then.month - day.month == months
    assert then.day <= day.day
    assert then.day == day.day or (then + timedelta(days=1)).day == 1
    assert then < add_months(day, months + 1)


def _rule(vehicle, **fields):
    given_ = {"title": "yearly look", "starts_on": date(2025, 1, 31), "every_months": 12, "tolerance_days": 30,
              "ends_on": date(2030, 1, 31), "written_in": "care booklet, page 4"} | fields  # fmt: skip
    return contracts.add_rule(studio=vehicle.studio, vehicle_id=vehicle.pk, **given_, **BY)


@pytest.mark.django_db
class TestRules:
    def test_the_days_stand_as_dates_up_to_the_end_included(self):
        vehicle = VehicleFactory(assess_again=False)
        rule = _rule(vehicle)
        terms = ContractTerm.objects.filter(rule=rule)
        assert [term.due for term in terms] == [date(year, 1, 31) for year in range(2026, 2031)]
        assert {(term.title, term.tolerance_days) for term in terms} == {("yearly look", 30)}
        vehicle.refresh_from_db()
        assert vehicle.assess_again
        entry = JournalEntry.objects.get(verb="contract rule added")
        assert (entry.subject_id, entry.data["dates"]) == (rule.pk, 5)

    def test_without_an_end_it_goes_on_with_each_inspection(self):
        vehicle = VehicleFactory()
        rule = _rule(vehicle, ends_on=None, every_months=6, starts_on=TODAY)
        had = ContractTerm.objects.filter(rule=rule).count()
        assert had == 10  # 60 months ahead
        inspection = record_inspection(
            studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, clean_state="washed", note="looked", **BY
        )
        term = ContractTerm.objects.filter(rule=rule).first()
        later = {"actor": "member:1", "at": NOW + timedelta(days=370)}
        contracts.mark_done(studio=vehicle.studio, term_id=term.pk, inspection_id=inspection.pk, **later)
        assert ContractTerm.objects.filter(rule=rule).count() == had + 2
        term.refresh_from_db()
        assert (term.done_on, term.inspection) == (TODAY, inspection)

    def test_a_visit_that_was_the_inspection_carries_the_rule_on(self):
        vehicle = VehicleFactory()
        rule = _rule(vehicle, ends_on=None, starts_on=TODAY - timedelta(days=360))
        ContractTerm.objects.filter(rule=rule).last().delete()
        had = ContractTerm.objects.filter(rule=rule).count()
        visit = Visit.objects.create(
            studio=vehicle.studio, site=vehicle.site, vehicle=vehicle, on=TODAY, tasks=["inspection"], booked_at=NOW
        )
        settle(studio=vehicle.studio, visit_id=visit.pk, state="done", **BY)
        assert ContractTerm.objects.get(rule=rule, done_on=TODAY).due - TODAY < timedelta(days=10)
        assert ContractTerm.objects.filter(rule=rule).count() == had + 1

    def test_the_next_day_opens_a_window_with_the_contracts_date(self):
        """A contract's clock is its own (design, section 7: an independent clock)."""
        vehicle = VehicleFactory()
        LayerFactory(surface=SurfaceFactory(vehicle=vehicle, code="bonnet"))
        _rule(vehicle, starts_on=TODAY - timedelta(days=340), ends_on=None)
        row = condition.rows_for([vehicle.pk])[0]
        given_ = condition.vehicle_input(row, as_of=TODAY)
        assert given_.contracts[0].due == add_months(TODAY - timedelta(days=340), 12)

    def test_stopped_its_open_days_are_withdrawn_and_what_was_done_stays(self):
        vehicle = VehicleFactory()
        rule = _rule(vehicle)
        ContractTerm.objects.filter(rule=rule, due=date(2026, 1, 31)).update(done_on=date(2026, 2, 3))
        contracts.stop_rule(studio=vehicle.studio, rule_id=rule.pk, why="sold with the contract ended", **BY)
        assert [term.due for term in ContractTerm.objects.filter(rule=rule)] == [date(2026, 1, 31)]
        assert ContractTerm.every.filter(rule=rule, withdrawn_why="sold with the contract ended").count() == 4
        assert condition.vehicle_input(condition.rows_for([vehicle.pk])[0], as_of=TODAY).contracts == ()
        with pytest.raises(DomainError, match="stopped already"):
            contracts.stop_rule(studio=vehicle.studio, rule_id=rule.pk, why="again", **BY)

    @pytest.mark.parametrize(
        ("fields", "field"),
        [
            ({"title": " "}, "title"),
            ({"written_in": ""}, "written_in"),
            ({"every_months": 0}, "every_months"),
            ({"tolerance_days": 400}, "tolerance_days"),
            ({"ends_on": date(2025, 12, 1)}, "ends_on"),
            ({"starts_on": date(1049, 1, 1)}, "starts_on"),
        ],
    )
    def test_what_does_not_fit_is_refused_by_its_field(self, fields, field):
        with pytest.raises(DomainError) as caught:
            _rule(VehicleFactory(), **fields)
        assert caught.value.field == field
        assert not ContractRule.objects.exists()

    def test_an_inspection_that_cannot_be_it_is_refused(self):
        vehicle, other = VehicleFactory(), VehicleFactory()
        term = ContractTerm.objects.filter(rule=_rule(vehicle)).first()
        surface = SurfaceFactory(vehicle=vehicle)
        foreign = record_inspection(
            studio=other.studio, vehicle_id=other.pk, on=TODAY, clean_state="washed", note="x", **BY
        )
        own_look = record_inspection(
            studio=vehicle.studio, vehicle_id=vehicle.pk, on=TODAY, clean_state="washed", by="customer",
            readings=[ReadingEntry(surface_id=surface.pk, kind="works", value=1)], **BY,
        )  # fmt: skip
        with pytest.raises(NotFoundHere):
            contracts.mark_done(studio=vehicle.studio, term_id=term.pk, inspection_id=foreign.pk, **BY)
        with pytest.raises(DomainError, match="customer's own look"):
            contracts.mark_done(studio=vehicle.studio, term_id=term.pk, inspection_id=own_look.pk, **BY)
        with pytest.raises(NotFoundHere):
            contracts.stop_rule(studio=StudioFactory(), rule_id=term.rule_id, why="x", **BY)
