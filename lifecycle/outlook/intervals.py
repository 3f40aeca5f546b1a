"""Intervals of shares and of the difference of two shares. Pure.

Sources: E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209-212, the score interval; R. G. Newcombe, Statistics in
Medicine 17 (1998) 857-872 (single shares, method 3) and 873-890 (differences, method 10: square-and-add of two Wilson
intervals, without continuity correction).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

Z95: Final = 1.959963984540054  # two-sided 95 %
# Below so many in a group nothing is said of a difference. Judgement.
FEWEST: Final = 20
CANNOT_TELL: Final = "cannot tell yet"


@dataclass(frozen=True, slots=True)
class Share:
    """`k` of `n`, with the Wilson 95 % interval. Without any trial the interval is 0 to 1."""

    k: int
    n: int
    low: float
    high: float

    @property
    def value(self) -> float | None:
        return self.k / self.n if self.n else None


def wilson(k: int, n: int, *, z: float = Z95) -> Share:
    """The share of `k` in `n`.

    Raises:
        ValueError: not 0 <= k <= n.
    """
    if not 0 <= k <= n:
        raise ValueError(f"{k} of {n}: give counts with 0 <= k <= n.")
    if n == 0:
        return Share(0, 0, 0.0, 1.0)
    middle, half = 2 * k + z * z, z * math.sqrt(z * z + 4 * k * (n - k) / n)
    low, high = (middle - half) / (2 * (n + z * z)), (middle + half) / (2 * (n + z * z))
    return Share(k, n, 0.0 if k == 0 else low, 1.0 if k == n else high)


@dataclass(frozen=True, slots=True)
class Difference:
    """Share of the first group minus that of the second, with its 95 % interval, and what may be said of it."""

    first: Share
    second: Share
    value: float | None
    low: float
    high: float
    says: str

    @property
    def tells(self) -> bool:
        return self.says != CANNOT_TELL


def difference(first: Share, second: Share) -> Difference:
    """The difference of two independent shares; "cannot tell yet" where its interval holds none, or few were seen."""
    if first.value is None or second.value is None:
        return Difference(first, second, None, -1.0, 1.0, CANNOT_TELL)
    value = first.value - second.value
    low = value - math.hypot(first.value - first.low, second.high - second.value)
    high = value + math.hypot(first.high - first.value, second.value - second.low)
    says = "more" if low > 0 else "fewer"
    if min(first.n, second.n) < FEWEST or low <= 0.0 <= high:
        says = CANNOT_TELL
    return Difference(first, second, value, low, high, says)
