"""Was the advice right? What the next look says of it: the pure rules. No Django in here.

Advice to renew a layer was right if the layer was found worn before it was renewed; advice to decontaminate was right
if the surface bore up after it. Only what was read on a decontaminated surface speaks of wear: bound dirt hides how a
layer is. The limits are judgement, after the model's own end of life (90 degrees, beading score by cuts of it).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import mean
from typing import Final

RIGHT, NOT_RIGHT, CANNOT_TELL = "right", "not_right", "cannot_tell"
DECONTAMINATED: Final = "decontaminated"
ANGLE, BEADING, WORKS = "contact_angle_deg", "beading_score", "works"
WORDS: Final = {ANGLE: "contact angle {:.0f}°", BEADING: "beading {:.1f} of 5", WORKS: "still works: {:.0f}"}
# Worn at or below, still good at or above; between them nothing can be told.
LIMITS: Final[Mapping[str, tuple[float, float]]] = {ANGLE: (90.0, 100.0), BEADING: (2.0, 3.5), WORKS: (0.0, 1.0)}
# A decontamination showed itself by a gain of so much; "good" before it was none needed.
BEFORE_DAYS: Final = 180  # so old a look may be to stand for the days before the wash (judgement)
GAIN: Final[Mapping[str, float]] = {ANGLE: 8.0, BEADING: 1.0, WORKS: 1.0}


@dataclass(frozen=True, slots=True)
class Look:
    """One inspection's readings on the surfaces of the advice: the mean by kind. `after_work`: of new work."""

    id: int
    on: date
    clean_state: str
    values: Mapping[str, float]
    after_work: bool = False

    @property
    def words(self) -> str:
        """For example "contact angle 84°, beading 1.5 of 5"."""
        return ", ".join(WORDS[kind].format(value) for kind, value in sorted(self.values.items()))


@dataclass(frozen=True, slots=True)
class Verdict:
    """What came of it, why, and the look that says so (None where none could)."""

    verdict: str
    why: str
    look_id: int | None


def look(
    id_: int, on: date, clean_state: str, readings: Iterable[tuple[str, float]], *, after_work: bool = False
) -> Look:
    """A look from its readings (kind, value)."""
    values: dict[str, list[float]] = {}
    for kind, value in readings:
        values.setdefault(kind, []).append(value)
    return Look(id_, on, clean_state, {kind: mean(some) for kind, some in values.items()}, after_work)


def of_renewal(looks: Sequence[Look], *, made_on: date, renewed_on: date | None, forecast: str) -> Verdict | None:
    """Was it right to advise a renewal? None while no look can say.

    Args:
        looks: in the order of their days.
        made_on: the day of the advice.  renewed_on: the day of the work; looks after it saw another layer.
        forecast: what was forecast then, in words; "" where nothing was.
    """
    in_time = [one for one in looks if one.on >= made_on and (renewed_on is None or one.on <= renewed_on)]
    before = [one for one in in_time if not one.after_work]
    telling = [one for one in before if one.clean_state == DECONTAMINATED and one.values]
    if not telling:
        if renewed_on is None:
            return None
        return Verdict(CANNOT_TELL, "Renewed before anybody read the old layer on a decontaminated surface.", None)
    seen = telling[0]
    found = {_side(kind, value) for kind, value in seen.values.items()} - {CANNOT_TELL}
    verdict = found.pop() if len(found) == 1 else CANNOT_TELL
    told = {RIGHT: "found worn", NOT_RIGHT: "found still good", CANNOT_TELL: "between worn and good"}[verdict]
    expected = f"; forecast when advised: {forecast}" if forecast else ""
    return Verdict(verdict, f"{told}: {seen.words} on {seen.on.isoformat()}, decontaminated{expected}."[:200], seen.id)


def _side(kind: str, value: float) -> str:
    worn, good = LIMITS[kind]
    return RIGHT if value <= worn else NOT_RIGHT if value >= good else CANNOT_TELL


def of_decontamination(looks: Sequence[Look], *, made_on: date, done_on: date | None) -> Verdict | None:
    """Was it clogged? The last look before the wash against the first one after it. None while there is none after."""
    if done_on is None:
        return None
    after = [one for one in looks if one.on >= done_on and one.clean_state == DECONTAMINATED and one.values]
    if not after:
        return None
    since = made_on - timedelta(days=BEFORE_DAYS)
    before = [one for one in looks if since <= one.on <= done_on and one.clean_state != DECONTAMINATED and one.values]
    kinds = [kind for kind in (ANGLE, BEADING, WORKS) if before and kind in before[-1].values.keys() & after[0].values]
    if not kinds:
        why = f"No reading from before the wash to hold against {after[0].words} on {after[0].on.isoformat()}."
        return Verdict(CANNOT_TELL, why[:200], after[0].id)
    kind = kinds[0]
    then, now = before[-1].values[kind], after[0].values[kind]
    from_to = f"{WORDS[kind].format(then)} before, {WORDS[kind].format(now)} after on {after[0].on.isoformat()}"
    if now - then >= GAIN[kind]:
        return Verdict(RIGHT, f"it was clogged: {from_to}.", after[0].id)
    if _side(kind, then) == NOT_RIGHT:
        return Verdict(NOT_RIGHT, f"it was not clogged: {from_to}.", after[0].id)
    return Verdict(CANNOT_TELL, f"clean it is no better, so worn or never clogged: {from_to}.", after[0].id)
