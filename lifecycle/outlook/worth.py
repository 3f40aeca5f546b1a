"""What a due window is worth: chance of a visit x acceptance x price. No Django in here.

The three factors, and what each rests on:

| factor | from | doubt |
|---|---|---|
| chance of a visit | who comes back (`coming`), for the twelve months to come | the visits it was reckoned from |
| acceptance | answers to earlier advice of this care (`acceptance.of_answers`) | 10 to 90 % of its Beta |
| price | the price list | its low and high end |

Who never answered is left out of the acceptance: that they may not come is in the chance of a visit already. The
simulation by month (`revenue`) draws from the same two chances, so that the worths of all rows, each times its
share within the twelve months, add up to its mean.
"""

from __future__ import annotations

from dataclasses import dataclass

from lifecycle.outlook.acceptance import Rate


@dataclass(frozen=True, slots=True)
class WindowWorth:
    """What one window is worth, in the studio's currency, with its factors.

    Attributes:
        visit: chance that the customer comes at all.
        accepted, accepted_low, accepted_high: share of those who come that says yes, mean and 10 to 90 %.
        price_low, price_high: its price.
    """

    visit: float
    accepted: float
    accepted_low: float
    accepted_high: float
    price_low: float
    price_high: float

    @property
    def chance(self) -> float:
        """Chance that it is taken up."""
        return self.visit * self.accepted

    @property
    def worth(self) -> float:
        """That chance times the middle of the price."""
        return self.chance * (self.price_low + self.price_high) / 2.0

    @property
    def low(self) -> float:
        """Where acceptance and price are both at their low end."""
        return self.visit * self.accepted_low * self.price_low

    @property
    def high(self) -> float:
        """Where acceptance and price are both at their high end."""
        return self.visit * self.accepted_high * self.price_high


def window_worth(visit: float, rate: Rate, *, price_low: float, price_high: float) -> WindowWorth:
    """The worth of a window.

    Args:
        visit: chance of a visit in the next twelve months, 0 to 1.
        rate: acceptance among answers.
        price_low, price_high: in the studio's currency.
    """
    return WindowWorth(visit, rate.mean, rate.p10, rate.p90, price_low, price_high)
