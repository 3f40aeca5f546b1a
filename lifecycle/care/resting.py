"""When advice rests: refused twice, it is left alone for a year, in offers and in reminders alike. No Django here."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Final

ACCEPTED: Final = "accepted"
DECLINED: Final = "declined"
REST_MONTHS: Final = 12  # judgement

VehicleTask = tuple[int, str]


@dataclass(frozen=True, slots=True)
class Rest:
    """Advice that is not offered until `until`, and why."""

    until: date
    why: str


@dataclass(frozen=True, slots=True)
class Word:
    """What somebody said to one offer on one day. `kind` is any kind of step; only a yes or a no decides."""

    vehicle_id: int
    task: str
    offer_id: int
    day: date
    kind: str


def months_later(day: date, months: int) -> date:
    """The same day of the month `months` later, or the last day of that month."""
    year, month = divmod(day.year * 12 + day.month - 1 + months, 12)
    first_after = date(year + (month == 11), (month + 1) % 12 + 1, 1)
    last = (first_after - date(year, month + 1, 1)).days
    return date(year, month + 1, min(day.day, last))


def rest(decisions: Sequence[tuple[date, str]], *, today: date) -> Rest | None:
    """Whether advice rests: refused twice in a row, it is not offered for twelve months from the second refusal.

    Args:
        decisions: (day, "accepted" or "declined") of one task on one vehicle, in any order.
        today: the day of the question.

    Returns:
        Until when it rests and why; None where it may be offered.
    """
    last_two = sorted(decisions)[-2:]
    if len(last_two) < 2 or any(kind != DECLINED for _day, kind in last_two):
        return None
    until = months_later(last_two[-1][0], REST_MONTHS)
    if today >= until:
        return None
    first, second = (day.isoformat() for day, _kind in last_two)
    return Rest(until=until, why=f"Declined on {first} and again on {second}: not offered before {until.isoformat()}.")


def resting(words: Iterable[Word], *, since: Mapping[int, date], today: date) -> dict[VehicleTask, Rest]:
    """What rests, by vehicle and task. The last word on each offer counts.

    Args:
        words: in the order in which they were said.
        since: by vehicle, the day on which its present keeper came: an earlier keeper's word does not bind this one.
            Vehicles without a keeper are left out.
        today: the day of the question.
    """
    decided: dict[VehicleTask, dict[int, tuple[date, str]]] = defaultdict(dict)
    for word in words:
        if word.kind in (ACCEPTED, DECLINED) and word.day >= since.get(word.vehicle_id, date.max):
            decided[word.vehicle_id, word.task][word.offer_id] = (word.day, word.kind)
    found = {key: rest(list(offers.values()), today=today) for key, offers in decided.items()}
    return {key: one for key, one in found.items() if one is not None}
