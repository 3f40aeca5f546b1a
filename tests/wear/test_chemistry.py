"""The life table: every kind, validated, with marks; its lives are common practice, no source."""

from __future__ import annotations

import pytest

from lifecycle.wear.chemistry import CHEMISTRY, chemistries, chemistry, parse_chemistry
from lifecycle.wear.choices import LAYER_KINDS
from lifecycle.wear.exposure import ORIENTATIONS
from lifecycle.wear.marks import TableError
from lifecycle.wear.types import Mechanism

# Starting shares by stress (sun and heat, wash chemistry, wash contact, contamination, road): judgement, from memory.
STARTING_SHARES = {
    "wax": (0.35, 0.30, 0.10, 0.15, 0.10),
    "sealant": (0.25, 0.25, 0.15, 0.20, 0.15),
    "booster": (0.20, 0.30, 0.20, 0.20, 0.10),
    "ceramic_mid": (0.20, 0.20, 0.20, 0.25, 0.15),
    "film_body": (0.50, 0.05, 0.10, 0.20, 0.15),
    "film_top_coat": (0.25, 0.20, 0.20, 0.25, 0.10),
    "trim_coat": (0.55, 0.20, 0.10, 0.05, 0.10),
}
# Months at the reference duty, 10-90 %: common practice, no source.
LIVES = {
    "wax": (1.4, 2.3),
    "sealant": (4, 6),
    "booster": (3, 4.5),
    "ceramic_entry": (14, 20),
    "ceramic_mid": (28, 40),
    "ceramic_top": (40, 60),
    "film_body": (72, 108),
    "film_top_coat": (15, 24),
    "windscreen_coat": (9, 15),
    "windscreen_wipe_on": (2, 4),
    "side_glass_coat": (15, 20),
    "wheel_coat": (9, 15),
    "trim_coat": (12, 20),
    "headlamp_coat": (12, 20),
    "leather_coat": (9, 15),
    "leather_guard": (3, 4),
    "textile_guard": (8, 12),
    "engine_bay_dressing": (4, 6),
    "engine_bay_coating": (12, 24),
    "metal_sealant": (2, 4),
}


def lines() -> list[str]:
    return CHEMISTRY.read_text(encoding="utf-8").splitlines()


def test_every_kind_of_the_scenario_file_but_unknown_has_a_row() -> None:
    assert set(chemistries()) == set(LAYER_KINDS) - {"unknown"}


@pytest.mark.parametrize(("kind", "months"), LIVES.items())
def test_lives_are_those_of_common_practice(kind: str, months: tuple[float, float]) -> None:
    assert (chemistry(kind).months.low, chemistry(kind).months.high) == months


def test_a_screen_life_is_told_in_distance_too() -> None:
    # 15 to 25 and 5 to 8 thousand km: common practice, no source.
    assert (chemistry("windscreen_coat").km.low, chemistry("windscreen_coat").km.high) == (15000, 25000)
    assert (chemistry("windscreen_wipe_on").km.low, chemistry("windscreen_wipe_on").km.high) == (5000, 8000)
    assert chemistry("ceramic_mid").km is None


@pytest.mark.parametrize("kind", chemistries())
def test_columns_are_in_order_and_every_row_is_complete(kind: str) -> None:
    row = chemistry(kind)
    assert row.harsh_months.middle < row.months.middle < row.mild_months.middle
    assert row.harsh_months.high <= row.mild_months.high
    assert row.home in ORIENTATIONS
    assert 0 <= row.shield < 1
    assert row.thickness_um > 0
    assert row.life_source
    assert row.weights_source
    assert len(row.weights) == len(Mechanism)
    assert row.weight_array().sum() == pytest.approx(1.0)


@pytest.mark.parametrize(("kind", "shares"), STARTING_SHARES.items())
def test_fitted_weights_stay_near_the_starting_shares(kind: str, shares: tuple[float, ...]) -> None:
    u, h, t, a, c, r, k = chemistry(kind).weights
    fitted = (u + h + t, c, a, k, r)
    assert sum(abs(one - other) for one, other in zip(fitted, shares, strict=True)) / 2 <= 0.12


def test_upright_wrap_outlasts_flat_wrap() -> None:
    # 5 to 7 years upright, 3 to 5 flat at the mildest: common practice, no source.
    wrap = chemistry("wrap")
    assert wrap.mild_for(orientation="side").high == 84
    assert wrap.mild_for(orientation="flat").high == 60


def test_an_unknown_kind_is_refused_with_the_known_ones() -> None:
    with pytest.raises(KeyError, match="no kind of layer; use one of wax"):
        chemistry("unknown")


@pytest.mark.parametrize(
    ("column", "value", "says"),
    [
        ("shield_low", "0.9", "0.9 <= 0.2 <= 0.4 does not hold"),
        ("thickness_mark", "surely", "use one of published"),
        ("shield_source", " ", "shield_source is empty"),
        ("w_spread", "0", "nothing here is known exactly"),
        ("angle_spread", "0", "nothing here is known exactly"),
        ("w_sunlight", "0.9", "make them sum to 1"),
        ("w_sunlight", "much", "write a number"),
        ("months_low", "99", "write 0 < low <= high"),
        ("shield", "1.5", "a share from 0 to 1"),
        ("angle_end", "170", "must rise from bare over end to new"),
        ("life_mark", "surely", "use one of published"),
        ("life_source", "", "says where it comes from"),
        ("kind", "", "the kind is empty"),
        ("mild_high", "nan", "finite number"),
    ],
)
def test_a_wrong_row_is_refused_with_its_line(column: str, value: str, says: str) -> None:
    head, first = lines()[0], lines()[1].split(",")
    first[head.split(",").index(column)] = value
    with pytest.raises(TableError, match="line 2") as refused:
        parse_chemistry([head, ",".join(first)], name="chemistry.csv")
    assert says in str(refused.value)


def test_a_kind_twice_and_a_missing_column_are_refused() -> None:
    head, first, *_ = lines()
    with pytest.raises(TableError, match="stands here twice"):
        parse_chemistry([head, first, first], name="chemistry.csv")
    with pytest.raises(TableError, match="'shield' is missing"):
        parse_chemistry([head.replace("shield,", "shelter,"), first], name="chemistry.csv")
