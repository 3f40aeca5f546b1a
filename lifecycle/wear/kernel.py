"""Many layers at once: the day on which each reaches the end of its life, by one sorted look-up per quantile.

Layers that live at one place, in one orientation, colour and use share one curve of cumulative stress. Life consumed is
`kappa S / L`, so quantile q of the life ends where the curve has risen by `L / kappa_q` since the layer's first day.
The curves lie behind one another in one rising array (each lifted over the one before it), so that one binary search
serves all layers; taking them in the order of place and day keeps the search in the processor's cache. numpy only.

The clock of one layer (`degradation.Clock.months_until`) answers the same; a test holds both together. The mild column
and kilometres are not in here: what has them is finished by its own clock.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from lifecycle.wear.types import FloatArray

IndexArray = NDArray[np.intp]


@dataclass(frozen=True, slots=True)
class Curves:
    """Cumulative stress in reference months at the start of each day, laid out for one search.

    `lifted` holds all sites behind one another, each raised by `lift[site]`, so that it never falls; `days` is the
    length of one site's part.
    """

    lifted: FloatArray
    lift: FloatArray
    days: int

    @property
    def sites(self) -> int:
        """Number of sites."""
        return len(self.lift)


def curves_of(cumulative: ArrayLike) -> Curves:
    """Lay out cumulative stress, shape (sites, days), each row starting at 0 and never falling.

    Raises:
        ValueError: another shape, or a row that falls, starts elsewhere than at 0, or is not finite.
    """
    table = np.asarray(cumulative, dtype=float)
    if table.ndim != 2 or table.shape[0] < 1 or table.shape[1] < 2:
        raise ValueError(f"cumulative has shape {table.shape}; give sites by days, at least one by two.")
    if not np.isfinite(table).all() or np.any(table[:, 0] != 0.0) or np.any(np.diff(table, axis=1) < 0.0):
        raise ValueError("cumulative: each row has to start at 0 and never fall.")
    # One month between two sites, so that no target of one site can be found in the next.
    tops = table[:, -1] + 1.0
    lift = np.concatenate(([0.0], np.cumsum(tops[:-1])))
    return Curves(lifted=(table + lift[:, None]).ravel(), lift=lift, days=table.shape[1])


def by_site_and_day(*, site: ArrayLike, start_day: ArrayLike) -> IndexArray:
    """Order of layers by site, then first day: give `quantile_days` its layers so, and the search is fastest."""
    return np.lexsort((np.asarray(start_day), np.asarray(site)))


def quantile_days(
    curves: Curves,
    *,
    site: ArrayLike,
    start_day: ArrayLike,
    life_months: ArrayLike,
    kappa: ArrayLike,
    chunk: int = 65_536,
) -> FloatArray:
    """Days from each layer's first day until D reaches 1, shape (layers, quantiles); infinite beyond the curve.

    Args:
        curves: of all sites.  site, start_day: of each layer, index of its curve and of its first day on it.
        life_months: median life at the reference duty.  kappa: rate at each quantile, shape (quantiles,) or (layers,
            quantiles); a quantile q of life belongs to the quantile 1 - q of kappa.
        chunk: layers that are worked on at once; bounds the memory, not the answer.

    Days are interpolated within the day, as the clock does. Any order of layers is right; see `by_site_and_day`.

    Raises:
        ValueError: an index outside the curves, or a life or rate not above 0.
    """
    where, first = np.asarray(site, dtype=np.intp), np.asarray(start_day, dtype=np.intp)
    life, rates = np.asarray(life_months, dtype=float), np.asarray(kappa, dtype=float)
    if where.size and not (where.min() >= 0 and where.max() < curves.sites):
        raise ValueError(f"site: write indices from 0 to {curves.sites - 1}.")
    if first.size and not (first.min() >= 0 and first.max() < curves.days):
        raise ValueError(f"start_day: write indices from 0 to {curves.days - 1}.")
    if not (np.all(life > 0.0) and np.all(rates > 0.0)):
        raise ValueError("life_months and kappa have to be above 0.")
    out = np.empty((where.size, rates.shape[-1]))
    per_layer = rates.ndim == 2
    for low in range(0, where.size, chunk):
        part = slice(low, low + chunk)
        begin = where[part] * curves.days + first[part]
        last = (where[part] + 1) * curves.days - 1
        base = curves.lifted[begin]
        for column in range(rates.shape[-1]):
            rate = rates[part, column] if per_layer else rates[column]
            out[part, column] = _days(curves.lifted, begin, last, base + life[part] / rate)
    return out


def _days(lifted: FloatArray, begin: IndexArray, last: IndexArray, target: FloatArray) -> FloatArray:
    after = np.searchsorted(lifted, target, side="left")
    np.minimum(after, last, out=after)
    before = np.maximum(after - 1, begin)
    low = lifted[before]
    rise = lifted[after] - low
    part = np.divide(target - low, rise, out=np.zeros_like(low), where=rise > 0.0)
    days = before - begin + part
    days[target > lifted[last]] = np.inf
    return np.asarray(days, dtype=float)
