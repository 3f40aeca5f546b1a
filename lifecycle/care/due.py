"""What the care rules say: a due, a refusal, and the report that holds both.

Frozen dataclasses without Django. Dates are calendar days at the place of the vehicle.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

WHERE = "{where}"  # stands for the surfaces in the words of a refusal until all of one reason are put together


@dataclass(frozen=True, slots=True)
class Due:
    """One care task that is due, the window in which it fits, and the reasons in plain words.

    `earliest <= ideal <= latest`, and `latest` is never before the day of the assessment: a task whose window has
    closed gets a new one and says in `why` since when it is overdue. `earliest` may lie in the past.

    Attributes:
        task: machine word, a key of `lifecycle.care.rules.TASKS`.
        surfaces: codes of the surfaces, hardest first; empty means the whole vehicle.
        contract: the date that a contract names; a clock of its own, never moved by wear.
        reason_code: wear, clogging, contract, season, event, first_check, storage, yearly, interval, wash, unknown or
            bare.
        why: one sentence that names surface, task and a range.
        known, changed, expected, prevents, if_postponed: what we know, what changed, what we expect (a range), what the
            task prevents, what happens if it waits.  self_check: something free that the owner can do.
        layer_keys: the layers that the task is about.
        cause: the part of `why` that says what the matter is, as a sentence, without the window's own days.
        overdue_since: when the first window closed, if it did.
        hours: labour hours that take the place of the table's, where they depend on what has happened.
        answer_h: hours from the report within which the studio answers an urgent event (see `urgent.answer_by`).
    """

    task: str
    surfaces: tuple[str, ...]
    earliest: date
    ideal: date
    latest: date
    contract: date | None
    reason_code: str
    why: str
    known: str
    changed: str
    expected: str
    prevents: str
    if_postponed: str
    self_check: str
    layer_keys: tuple[str, ...]
    cause: str = ""
    overdue_since: date | None = None
    hours: float | None = None
    answer_h: float | None = None


@dataclass(frozen=True, slots=True)
class Refused:
    """A task that is not offered on these surfaces, and why."""

    task: str
    surfaces: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class DueReport:
    """All dues of one vehicle, soonest end of window first, and all refusals. Both may be empty: "nothing now" is an
    answer."""

    dues: tuple[Due, ...]
    refused: tuple[Refused, ...]

    def open_on(self, day: date) -> tuple[Due, ...]:
        """Return the dues whose window contains `day`; empty means: nothing now."""
        return tuple(due for due in self.dues if due.earliest <= day <= due.latest)
