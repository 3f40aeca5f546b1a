"""Old film readings and old answers say their age. Film is read again within 24 months and the use of a vehicle asked
again every year: common practice, no source."""

from __future__ import annotations

from datetime import date

import pytest

from lifecycle.care.rechecks import film_says, usage_says

READ = date(2024, 2, 29)


@pytest.mark.parametrize(
    ("on", "old"), [(READ, False), (date(2026, 2, 28), False), (date(2026, 3, 1), True), (date(2030, 1, 1), True)]
)
def test_film_readings_hold_for_two_years(on: date, old: bool) -> None:
    says = film_says(READ, on=on)
    assert bool(says) is old
    assert not old or "more than 24 months ago: read the film again before anything is polished" in says


@pytest.mark.parametrize(("on", "old"), [(date(2025, 2, 28), False), (date(2025, 3, 1), True)])
def test_use_is_asked_again_every_year(on: date, old: bool) -> None:
    says = usage_says(READ, on=on)
    assert bool(says) is old
    assert not old or "more than 12 months ago: ask whether" in says


def test_what_was_never_read_or_told_is_not_old() -> None:
    assert film_says(None, on=READ) == usage_says(None, on=READ) == ""
