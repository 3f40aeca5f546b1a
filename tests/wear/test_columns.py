"""Mild, moderate and harsh columns of the life table at duties that fit the words (common practice, no source)."""

from __future__ import annotations

from functools import cache

import pytest

from lifecycle.wear.chemistry import chemistry
from tests.bench.fit_weights import FAMILIES, Target, columns, life_months


@cache
def rows(family: str) -> tuple[tuple[Target, float], ...]:
    return tuple((target, life_months(target, chemistry(target.kind).weight_array())) for target in columns(family))


@pytest.mark.parametrize("family", FAMILIES)
def test_every_column_comes_out_near_its_range(family: str) -> None:
    for target, months in rows(family):
        assert target.low / 1.2 <= months <= target.high * 1.25, f"{target.kind}, {target.name}: {months:.1f} months"


def test_most_columns_come_out_inside_their_range() -> None:
    every = [row for family in FAMILIES for row in rows(family)]
    inside = [target.low <= months <= target.high for target, months in every]
    assert len(every) >= 80
    assert sum(inside) / len(inside) >= 0.85
