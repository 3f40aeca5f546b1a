"""What is read or asked anew after a time: film readings, and how a vehicle is used. Common practice, no source.

Nothing is refused by it: an old reading and an old answer are still the best that is known, and the pages say their
age.
"""

from __future__ import annotations

from datetime import date

from lifecycle.care.months import add_months
from lifecycle.care.tasks_table import interval


def _older(than_months: float, day: date, on: date) -> bool:
    return on > add_months(day, round(than_months))


def film_says(read_on: date | None, *, on: date) -> str:
    """What to say on a day of film readings of an earlier one; "" where they still hold, or where there are none."""
    months = interval("film.recheck_months")
    if read_on is None or not _older(months, read_on, on):
        return ""
    return f"Read more than {months:.0f} months ago: read the film again before anything is polished."


def usage_says(told_on: date | None, *, on: date) -> str:
    """What to say on a day of habits that were told on an earlier one; "" where they are young, or where there are
    none."""
    months = interval("usage.ask_months")
    if told_on is None or not _older(months, told_on, on):
        return ""
    return f"Told more than {months:.0f} months ago: ask whether it is still used like this."
