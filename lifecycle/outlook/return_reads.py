"""Who comes back, by customer: still one or not, visits and money to expect, and why. Reads only.

The chance of a visit says nothing of the vehicle's need; the care windows do. `outlook.worth` joins the two.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date
from statistics import median

import numpy as np

from lifecycle.models import Price, Studio
from lifecycle.outlook import coming, spend
from lifecycle.outlook.coming import Chance, Fitted, Seen
from lifecycle.outlook.visit_days import Customers, gather
from lifecycle.wear.types import FloatArray

OWN_MEDIAN_FROM = 3  # judgement: so many paid visits of their own speak for themselves


@dataclass(frozen=True, slots=True)
class Return:
    """What to expect of one customer.

    Attributes:
        alive: chance that they still are a customer; 0 for who is `gone`.
        visits_12m: visits expected in the next twelve months.
        comes_12m: chance of at least one.
        value_per_visit: in the studio's currency; 0 where neither a paid visit nor a price is on record (`says`).
        gone: why nothing is expected: sold, passed on, moved away. They are not lost. "" for all others.
        few: the numbers lean on what the house assumes (judgement), and `says` tells it.
        visits: visits after the first; last: the day of the latest, or the first day.
    """

    customer_id: int
    alive: float
    visits_12m: float
    value_per_visit: float
    says: str
    comes_12m: float = 0.0
    gone: str = ""
    few: bool = False
    visits: int = 0
    last: date | None = None

    @property
    def value_12m(self) -> float:
        """Money to expect in twelve months, in the studio's currency."""
        return self.visits_12m * self.value_per_visit


@dataclass(frozen=True, slots=True)
class Worth:
    """What a visit is worth by customer, and where the figure comes from. `usual`: of customers without one."""

    by_customer: Mapping[int, float]
    usual: float
    says: str


def returns(studio: Studio, *, today: date, found: Customers | None = None) -> Mapping[int, Return]:
    """Every customer who keeps or kept a vehicle here, by number. The number of queries is fixed.

    Args:
        today: the day at the studio.
        found: what `visit_days.gather` read, where the caller has it already.
    """
    found = found if found is not None else gather(studio, today=today)
    rows = list(found.seen.values())
    fit = coming.fitted(rows, today=today)
    expected = coming.chances(rows, fit)
    worth = values(found, prices=_usual_price(studio))
    return {row.customer_id: _return(row, expected[row.customer_id], fit, worth, found) for row in rows}


def _return(row: Seen, chance: Chance, fit: Fitted, worth: Worth, found: Customers) -> Return:
    gone = found.gone.get(row.customer_id, "")
    value = worth.by_customer.get(row.customer_id, worth.usual)
    last = row.days[-1] if row.days else row.first
    if gone:
        says = f"{gone} Not lost; nothing is expected unless they bring a vehicle again."
        return Return(row.customer_id, 0.0, 0.0, value, says, gone=gone, few=fit.few, visits=len(row.days), last=last)
    return Return(
        row.customer_id, chance.alive, chance.visits, value, f"{_history(row)} {basis(fit)} {worth.says}",
        comes_12m=chance.comes, few=fit.few, visits=len(row.days), last=last,
    )  # fmt: skip


def _history(row: Seen) -> str:
    if not row.days:
        return f"Here since {row.first.isoformat()}, not back yet."
    times = "once" if len(row.days) == 1 else f"{len(row.days)} times"
    return f"Came back {times} since {row.first.isoformat()}, last on {row.days[-1].isoformat()}."


def basis(fit: Fitted) -> str:
    """What the chances rest on, in a sentence."""
    if fit.few:
        return (
            f"Only {fit.repeaters} of {fit.customers} customers have come back so far, so the chance leans on what the "
            "house assumes (judgement)."
        )
    return f"Reckoned by {fit.name} from {fit.customers} customers: {fit.why}."


def values(found: Customers, *, prices: float | None) -> Worth:
    """What a visit is worth: Gamma-Gamma with many customers who paid twice or more, else medians, else the prices.

    Args:
        prices: the middle of the price list, None where there is none; asked for only where nobody has paid yet.
    """
    amounts = [amount for paid in found.paid.values() for amount in paid]
    if not amounts:
        if prices is None:
            return Worth({}, 0.0, "No paid visit and no price is on record, so its worth is not known.")
        return Worth({}, prices, "No paid visit is on record; a visit counts as the middle of the price list.")
    usual = float(median(amounts))
    repeaters = {who: paid for who, paid in found.paid.items() if len(paid) > 1}
    if len(repeaters) < spend.FEWEST_REPEATERS:
        own = {who: float(median(paid)) for who, paid in found.paid.items() if len(paid) >= OWN_MEDIAN_FROM}
        return Worth(
            own, usual,
            f"Worth of a visit: their own median from {OWN_MEDIAN_FROM} paid visits on, else the median of all "
            f"{len(amounts)} ({len(repeaters)} customers paid more than once; from {spend.FEWEST_REPEATERS} on "
            "Gamma-Gamma is used).",
        )  # fmt: skip
    model = spend.fit_gamma_gamma(*_counts_and_means(found.paid), _mean_logs(found.paid))
    who = list(found.paid)
    worth = model.value(*_counts_and_means(found.paid))
    mean = model.mean if np.isfinite(model.mean) else usual
    return Worth(
        dict(zip(who, worth.tolist(), strict=True)), mean,
        f"Worth of a visit by Gamma-Gamma from {len(repeaters)} customers who paid more than once.",
    )  # fmt: skip


def _counts_and_means(paid: Mapping[int, tuple[float, ...]]) -> tuple[FloatArray, FloatArray]:
    counts = np.array([len(one) for one in paid.values()], dtype=float)
    return counts, np.array([sum(one) for one in paid.values()], dtype=float) / counts


def _mean_logs(paid: Mapping[int, tuple[float, ...]]) -> FloatArray:
    return np.array([float(np.log(one).mean()) for one in paid.values()])


def _usual_price(studio: Studio) -> float | None:
    listed = Price.objects.filter(studio=studio).order_by("id").values_list("low", "high")
    middles = [float(low + high) / 2.0 for low, high in listed]
    return float(median(middles)) if middles else None
