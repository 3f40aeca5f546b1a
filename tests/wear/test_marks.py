"""The parameter table refuses what cannot be a figure with a range, a mark and a source; a studio's own figures hold
for that studio alone."""

from __future__ import annotations

import math
import re
from dataclasses import replace
from datetime import date
from threading import Barrier, Thread

import pytest

from lifecycle.wear.assessment import assess
from lifecycle.wear.chemistry import chemistry
from lifecycle.wear.figures import all_figures, check_overrides, wear_value
from lifecycle.wear.marks import (
    COLUMNS,
    Figure,
    TableError,
    ladder,
    load_figures,
    make_overrides,
    overridden,
    parameter,
    parse_figures,
    value,
)
from lifecycle.wear.types import Mark
from lifecycle.wear.usage import table_value
from tests.wear.vehicles import layer, source, surface, vehicle

HEAD = ",".join(COLUMNS)


def test_every_shipped_figure_has_range_mark_and_source() -> None:
    figures = load_figures()
    assert len(figures) > 100
    for key, figure in figures.items():
        assert figure.low <= figure.value <= figure.high, key
        assert figure.source, key
        assert isinstance(figure.mark, Mark), key
        assert "placeholder" not in figure.source, key


def test_published_power_is_that_of_fischer_and_ketola() -> None:
    """Fischer & Ketola 2004: p = 0.64 +- 0.20 for gloss, colour and cracking of paints."""
    figure = parameter("dose.uv_power")
    assert (figure.value, figure.low, figure.high) == (0.64, 0.44, 0.84)
    assert figure.mark is Mark.PUBLISHED


@pytest.mark.parametrize(
    ("row", "says"),
    [
        ("a,2,3,4,1,judgement,us", r"low 3 <= value 2"),
        ("a,5,3,4,1,judgement,us", r"value 5 <= high 4"),
        ("a,x,3,4,1,judgement,us", r"line 2.*write a number"),
        ("a,nan,3,4,1,judgement,us", r"finite"),
        ("a,3,3,4,1,hearsay,us", r"mark is 'hearsay'.*judgement"),
        ("a,3,3,4,1,judgement, ", r"source is empty"),
        ("a,3,3,4,,judgement,us", r"unit is empty"),
        (",3,3,4,1,judgement,us", r"key is empty"),
        ("a,3,3,4,1,judgement", r"not 7 cells"),
        ("a,3,3,4,1,judgement,us, and more", r"double quotes"),
        ("a,3,3,4,1,judgement,us\na,3,3,4,1,judgement,us", r"line 3: a stands here twice"),
    ],
)
def test_bad_row_is_refused_with_its_place(row: str, says: str) -> None:
    with pytest.raises(TableError, match=says):
        parse_figures([HEAD, *row.splitlines()], name="t.csv")


def test_wrong_columns_are_refused() -> None:
    with pytest.raises(TableError, match=r"t\.csv, line 1"):
        parse_figures(["key,value", "a,1"], name="t.csv")


def test_good_row_is_read() -> None:
    figure = parse_figures([HEAD, 'a,3,2,4,K,from memory,"one, two"'], name="t.csv")["a"]
    assert (figure.value, figure.unit, figure.mark, figure.source) == (3.0, "K", Mark.FROM_MEMORY, "one, two")


def test_missing_key_names_the_table() -> None:
    with pytest.raises(KeyError, match=r"parameters\.csv"):
        parameter("no.such")
    with pytest.raises(KeyError, match="nothing"):
        ladder("nothing")


def test_ladder_is_sorted_by_number_not_by_text() -> None:
    assert [x for x, _ in ladder("km")] == [5000.0, 10000.0, 15000.0, 25000.0, 40000.0]


# A studio's own figures.

OURS = Mark.LEARNED_HERE
SEPTEMBER = date(2024, 9, 1)


def own(value: float, low: float | None = None, high: float | None = None, mark: Mark = OURS) -> Figure:
    return Figure(value, value if low is None else low, value if high is None else high, "", mark, "our inspections")


def months(kind: str = "ceramic_mid", product: str = "", orientation: str = "flat") -> float:
    panel = surface(layer(kind, SEPTEMBER, product=product), orientation=orientation)
    life = assess(vehicle(panel), source("Cfb")).surfaces[0].layers[0].renewal_months
    assert life is not None
    return life.p50


def test_one_table_holds_every_figure_and_each_has_range_mark_and_source() -> None:
    table = all_figures()
    assert len(table) > 500
    assert {
        "sun.side",
        "clog.rate",
        "removal.one_step",
        "defect.depth",
        "layer.wrap.w_heat",
        "layer.wax.months",
    } <= set(table)
    for key, figure in table.items():
        assert figure.low <= figure.value <= figure.high, key
        assert figure.source.strip(), key
        assert figure.unit, key
        assert isinstance(figure.mark, Mark), key


def test_an_own_figure_holds_inside_the_block_and_nowhere_else() -> None:
    shipped = value("km.40000"), wear_value("clog.rate"), table_value("contact", "bristle_tunnel", field="x")
    with overridden({"km.40000": own(2.6), "clog.rate": own(0.2), "contact.bristle_tunnel": own(4.0)}):
        assert dict(ladder("km"))[40000.0] == 2.6
        assert wear_value("clog.rate") == 0.2
        assert table_value("contact", "bristle_tunnel", field="x") == 4.0
        with overridden({}):
            assert value("km.40000") == shipped[0]
        assert value("km.40000") == 2.6
    assert (value("km.40000"), wear_value("clog.rate"), table_value("contact", "bristle_tunnel", field="x")) == shipped


def test_an_error_inside_the_block_ends_it_too() -> None:
    with pytest.raises(RuntimeError), overridden({"clog.rate": own(0.2)}):
        raise RuntimeError
    assert wear_value("clog.rate") == 0.1155


def test_a_figure_that_the_caches_have_seen_is_seen_changed() -> None:
    """Doses are kept per climate, surface and parking; more daylight on doors shortens their life all the same."""
    before = months(orientation="side")
    with overridden(check_overrides({"sun.side": own(0.8), "share_day.mixed": own(0.9)})):
        changed = months(orientation="side")
    assert changed < before * 0.97
    assert months(orientation="side") == before


def test_a_life_of_our_own_carries_its_mark_to_the_forecast() -> None:
    figures = {"layer.ceramic_mid.months": own(24.0, 18.0, 32.0)}
    with overridden(check_overrides(figures)):
        forecast = assess(vehicle(surface(layer("ceramic_mid", SEPTEMBER))), source("Cfb")).surfaces[0].layers[0]
        assert chemistry("ceramic_mid").life_mark is OURS
    assert OURS in forecast.marks
    assert forecast.renewal_months is not None
    assert forecast.renewal_months.p50 == pytest.approx(months() * 24.0 / math.sqrt(28.0 * 40.0), rel=0.05)


def test_a_product_of_our_own_moves_no_other_layer() -> None:
    mine = {"product:7": {"layer.ceramic_mid.w_sunlight": own(0.6)}}
    with overridden(check_overrides({}, products=mine)):
        with_product, without = chemistry("ceramic_mid", product="product:7"), chemistry("ceramic_mid")
        assert months() != months(product="product:7")
    assert with_product.weights[0] == pytest.approx(0.6)
    assert without == chemistry("ceramic_mid")


def test_weights_that_were_not_set_share_what_is_left() -> None:
    shipped = chemistry("ceramic_mid").weight_array()
    with overridden(check_overrides({"layer.ceramic_mid.w_sunlight": own(0.4)})):
        weights = chemistry("ceramic_mid").weight_array()
        shown = all_figures()["layer.ceramic_mid.w_heat"]
    assert weights[0] == pytest.approx(0.4)
    assert weights.sum() == pytest.approx(1.0)
    assert weights[1:] / weights[1:].sum() == pytest.approx(shipped[1:] / shipped[1:].sum())
    assert shown.value == pytest.approx(weights[2])


def test_two_threads_never_see_each_others_figures() -> None:
    """Two studios are assessed at once, many times, on surfaces whose doses and tables are kept between calls."""
    figures = [
        {},
        {"sun.side": own(0.9), "layer.ceramic_mid.months": own(24.0, 18.0, 32.0)},
        {"sun.side": own(0.3)},
    ]
    expected = []
    for own_figures in figures:
        with overridden(check_overrides(own_figures)):
            expected.append(months(orientation="side"))
    assert len(set(expected)) == 3
    start, found = Barrier(3), [list[float]() for _ in figures]

    def work(number: int) -> None:
        start.wait()
        for _ in range(6):
            with overridden(make_overrides(figures[number])):
                found[number].append(months(orientation="side"))

    threads = [Thread(target=work, args=(number,)) for number in range(3)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert found == [[months_of] * 6 for months_of in expected]


def test_equal_figures_have_equal_digests_and_any_difference_another() -> None:
    one = make_overrides({"clog.rate": own(0.2), "sun.side": own(0.5)})
    assert one.digest == make_overrides({"sun.side": own(0.5), "clog.rate": own(0.2)}).digest
    others = [
        make_overrides({}),
        make_overrides({"clog.rate": own(0.2)}),
        make_overrides({"clog.rate": own(0.2), "sun.side": own(0.5, mark=Mark.JUDGEMENT)}),
        make_overrides({"clog.rate": own(0.2), "sun.side": own(0.5, high=0.6)}),
        make_overrides({}, products={"product:1": {"clog.rate": own(0.2), "sun.side": own(0.5)}}),
    ]
    assert len({one.digest, *(other.digest for other in others)}) == 6
    assert make_overrides({}).digest == ""


@pytest.mark.parametrize(
    ("figures", "says"),
    [
        ({"clog.rate": own(0.2, 0.3, 0.4)}, "low 0.3 <= value 0.2"),
        ({"clog.rate": own(math.nan)}, "finite"),
        ({"clog.rate": replace(own(0.2), source=" ")}, "source is empty"),
        ({"clog.speed": own(0.2)}, "no such figure"),
        ({"dose.uv_power": own(0.5)}, "physics and climate with which the reference duty"),
        ({"contact.two_bucket": own(1.1)}, "defines the reference duty"),
        ({"stage.function_at_end": own(0.2)}, "defines the reference duty or a word"),
        ({"clog.rate": own(0.0)}, "above 0"),
        ({"assumed.habits": own(-0.1)}, "cannot be negative"),
        ({"share_day.garage": own(0.9, 0.8, 1.2)}, "a share from 0 to 1"),
        ({"clog.rate": own(11.55)}, "check the unit"),
        ({"cut.2": own(95.0)}, "the first must stay below the second"),
        ({"layer.wax.w_heat": own(0.7), "layer.wax.w_road": own(0.4)}, "may take 1 at most"),
        ({"layer.wax.months": own(3.0, 1.4, 2.3)}, "low 1.4 <= value 3 <= high 2.3"),
        ({"layer.wax.months": own(2.2, 1.4, 2.3)}, "the median of such a range is 1.79"),
        ({"layer.wax.months": own(4.0, 3.5, 4.6)}, "mild column ends before"),
        ({"layer.wax.angle_end": own(105.0)}, "must rise from bare over end to new"),
        ({"layer.wax.shield": own(1.4)}, "a share from 0 to 1"),
    ],
)
def test_a_bad_own_figure_is_refused(figures: dict[str, Figure], says: str) -> None:
    with pytest.raises(TableError, match=re.escape(says)):
        check_overrides(figures)


def test_a_product_carries_only_figures_of_layers() -> None:
    with pytest.raises(TableError, match="only the figures of its layer kind"):
        check_overrides({}, products={"product:1": {"clog.rate": own(0.2)}})
