"""A studio's own figures: set, dropped, journalled, and felt by the forecasts of that studio alone."""

from __future__ import annotations

import ast
from datetime import timedelta
from functools import cache

import pytest
from django.db import IntegrityError, transaction

from lifecycle.care.figures import drop_override, figure_table, figure_view, override_figure
from lifecycle.climate.store import refresh
from lifecycle.condition import assess, assess_one
from lifecycle.condition.inputs import figures_of
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import FigureOverride, Forecast, JournalEntry, Vehicle
from lifecycle.wear.marks import TABLES
from tests.factories import (
    NOW,
    HabitsFactory,
    LayerFactory,
    ProductFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)


def car(studio, **layer):
    """A vehicle of a studio with one coated bonnet."""
    vehicle = VehicleFactory(site=SiteFactory(studio=studio))
    HabitsFactory(vehicle=vehicle)
    return LayerFactory(surface=SurfaceFactory(vehicle=vehicle, code="bonnet"), **layer)


@pytest.fixture
def studio():
    return StudioFactory()


def override(studio, **fields):
    given = {"key": "layer.ceramic_mid.months", "low": 18.0, "high": 26.0, "mark": "learned here",
             "source": "twelve inspections of our own", "actor": "member:1", "at": NOW}  # fmt: skip
    return override_figure(studio=studio, **given | fields)


def renewal(layer):
    return Forecast.objects.get(layer=layer, assessment__latest=True).renewal_p50_months


@pytest.mark.django_db
class TestOverride:
    def test_it_changes_the_forecasts_of_this_studio_and_of_no_other(self, studio):
        ours, theirs = car(studio), car(StudioFactory())
        assess(at=NOW)
        before = renewal(ours), renewal(theirs)
        override(studio)
        assert list(Vehicle.objects.filter(assess_again=True)) == [ours.surface.vehicle]
        assert assess(at=NOW) == {"assessed": 1, "unchanged": 0}
        # 28 to 40 months become 18 to 26: the medians are 33.5 and 21.6.
        assert renewal(ours) == pytest.approx(before[0] * 21.63 / 33.47, rel=0.06)
        assert renewal(theirs) == before[1]
        assert "learned here" in Forecast.objects.get(layer=ours, assessment__latest=True).marks

    def test_it_is_written_in_the_journal_with_what_stood_before(self, studio):
        car(studio)
        first = override(studio)
        override(studio, low=20.0, high=28.0, at=NOW + timedelta(days=1))
        entry = JournalEntry.objects.filter(verb="figure set").latest("id")
        assert entry.data["key"] == "layer.ceramic_mid.months"
        assert entry.data["before"] == [{"value": pytest.approx(21.63, abs=0.01), "low": 18.0, "high": 26.0}]
        assert entry.data["vehicles"] == 1
        assert entry.actor == "member:1"
        first.refresh_from_db()
        assert first.superseded == NOW + timedelta(days=1)
        assert FigureOverride.objects.filter(studio=studio, superseded=None).count() == 1

    def test_the_input_hash_holds_the_figures(self, studio):
        layer = car(studio)
        plain = assess_one(studio=studio, vehicle_id=layer.surface.vehicle_id, at=NOW).input_hash
        own = override(studio)
        with_own = assess_one(studio=studio, vehicle_id=layer.surface.vehicle_id, at=NOW).input_hash
        drop_override(studio=studio, override_id=own.pk, actor="member:1", at=NOW)
        back = assess_one(studio=studio, vehicle_id=layer.surface.vehicle_id, at=NOW).input_hash
        assert plain == back != with_own

    def test_a_dropped_figure_leaves_the_table_in_force_and_stays_as_history(self, studio):
        layer = car(studio)
        assess(at=NOW)
        before = renewal(layer)
        own = override(studio)
        assess(at=NOW)
        drop_override(studio=studio, override_id=own.pk, actor="member:1", at=NOW + timedelta(hours=1))
        assess(at=NOW)
        assert renewal(layer) == before
        assert [one.until for one in figure_view(studio, own.key).history] == [NOW + timedelta(hours=1)]
        assert JournalEntry.objects.filter(verb="figure dropped", subject_id=own.pk).exists()
        with pytest.raises(NotFoundHere):
            drop_override(studio=studio, override_id=own.pk, actor="member:1", at=NOW)

    def test_a_product_of_its_own_moves_only_its_layers(self, studio):
        product = ProductFactory(studio=studio, kind="ceramic_mid", life_low_months=30, life_high_months=42)
        with_product, without = car(studio, product=product), car(studio)
        assess(at=NOW)
        before = renewal(with_product), renewal(without)
        override(studio, product_id=product.pk)
        assert list(Vehicle.objects.filter(assess_again=True)) == [with_product.surface.vehicle]
        assess(at=NOW)
        # It goes before the label of the product too: 30 to 42 months become 18 to 26.
        assert renewal(with_product) == pytest.approx(before[0] * 21.63 / 35.5, rel=0.06)
        assert renewal(without) == before[1]

    def test_weights_of_a_product_reach_its_forecast(self, studio):
        product = ProductFactory(studio=studio, kind="ceramic_mid")
        layer = car(studio, product=product)
        override(studio, key="layer.ceramic_mid.w_sunlight", value=0.6, low=0.5, high=0.7, product_id=product.pk)
        assess(at=NOW)
        reasons = Forecast.objects.get(layer=layer, assessment__latest=True).reasons
        assert reasons[0]["mechanism"] == "sunlight"


@pytest.mark.django_db
class TestRefusals:
    @pytest.mark.parametrize(
        ("fields", "says"),
        [
            ({"key": "no.such", "value": 1.0, "low": 1.0, "high": 1.0}, "no such figure"),
            ({"key": "dose.uv_power", "value": 0.5, "low": 0.4, "high": 0.6}, "reference duty"),
            ({"key": "clog.rate", "value": 0.2, "low": 0.3, "high": 0.4}, "correct the range"),
            ({"key": "clog.rate", "low": 0.1, "high": 0.2}, "value: give the figure itself"),
            ({"mark": "hearsay"}, "mark: 'hearsay' is not known"),
            ({"source": "  "}, "source: say"),
            ({"low": 50.0, "high": 80.0}, "mild column ends before"),
        ],
    )
    def test_what_does_not_fit_is_refused_and_leaves_nothing_behind(self, studio, fields, says):
        with pytest.raises(DomainError, match=says):
            override(studio, **fields)
        assert not FigureOverride.objects.exists()
        assert not JournalEntry.objects.filter(verb="figure set").exists()

    def test_weights_that_no_longer_sum_to_one_together_are_refused(self, studio):
        override(studio, key="layer.wax.w_heat", value=0.7, low=0.6, high=0.8)
        with pytest.raises(DomainError, match="may take 1 at most"):
            override(studio, key="layer.wax.w_road", value=0.4, low=0.3, high=0.5)

    def test_what_another_figure_needs_is_not_dropped(self, studio):
        mild = override(studio, key="layer.ceramic_mid.mild", low=70.0, high=90.0)
        override(studio, low=55.0, high=75.0)
        with pytest.raises(DomainError, match="mild column"):
            drop_override(studio=studio, override_id=mild.pk, actor="member:1", at=NOW)

    def test_what_belongs_to_another_studio_is_not_here(self, studio):
        foreign = override(StudioFactory())
        with pytest.raises(NotFoundHere):
            drop_override(studio=studio, override_id=foreign.pk, actor="member:1", at=NOW)
        with pytest.raises(NotFoundHere):
            override(studio, product_id=ProductFactory().pk)
        assert figure_table(studio).own_count == 0

    def test_a_figure_of_another_kind_is_not_set_for_a_product(self, studio):
        with pytest.raises(DomainError, match=r"only figures layer\.wax\.\*"):
            override(studio, product_id=ProductFactory(studio=studio, kind="wax").pk)

    def test_the_database_holds_one_figure_in_use_and_a_sound_range(self, studio):
        override(studio)
        row = {"studio": studio, "key": "layer.ceramic_mid.months", "mark": "judgement", "source": "us", "since": NOW}
        with pytest.raises(IntegrityError), transaction.atomic():
            FigureOverride.objects.create(**row, value=20, low=18, high=24)
        with pytest.raises(IntegrityError), transaction.atomic():
            FigureOverride.objects.create(**row | {"key": "clog.rate"}, value=1, low=2, high=3)


@pytest.mark.django_db
class TestReads:
    def test_the_table_holds_everything_in_a_fixed_number_of_queries(self, studio, django_assert_num_queries):
        override(studio, key="clog.rate", value=0.2, low=0.1, high=0.3)
        with django_assert_num_queries(1):
            table = figure_table(studio)
        rows = {
            row.key: row
            for one in table.index
            for group in figure_table(studio, group=one.name).groups
            for row in group.rows
        }
        assert table.count == len(rows) == sum(one.count for one in table.index) > 500
        assert (rows["clog.rate"].value, rows["clog.rate"].now, rows["clog.rate"].own.mark) == (
            0.1155, 0.2, "learned here",
        )  # fmt: skip
        assert rows["dose.uv_power"].fixed
        assert not rows["clog.rate"].fixed

    def test_it_is_found_by_words_and_by_what_is_our_own(self, studio):
        override(studio, key="clog.rate", value=0.2, low=0.1, high=0.3)
        found = figure_table(studio, search="half clogged")
        assert [row.key for group in found.groups for row in group.rows] == ["clog.rate"]
        assert figure_table(studio, own_only=True).found == figure_table(studio).found == 1

    def test_figures_that_no_longer_fit_rest_and_say_so(self, studio):
        """As after an upgrade that took a figure out of the table."""
        layer = car(studio)
        override(studio)
        FigureOverride.objects.create(
            studio=studio, key="gone.away", value=1, low=1, high=1, mark="judgement", source="us", since=NOW
        )
        assert figures_of([studio.pk])[studio.pk].digest == ""
        assert "gone.away: there is no such figure" in figure_table(studio).not_in_use
        assert assess(at=NOW)["assessed"] == 1
        assert renewal(layer) > 25

    def test_a_cycle_over_many_vehicles_asks_for_figures_once(self, studio, django_assert_max_num_queries):
        for _ in range(3):
            car(studio)
        refresh(at=NOW)
        with django_assert_max_num_queries(2):
            assert figures_of([studio.pk] * 3) == {}


# Kept between calls without a digest: these read no figure that a studio can replace.
FREE_OF_FIGURES = {
    "chemistry._rows", "chemistry._shipped", "chemistry._shipped_figures", "marks._shipped", "normal._nodes",
    "degradation._score", "degradation._standard_points",
}  # fmt: skip
FIXED_CONSTANTS = {"degradation.FUNCTION_RATE"}
READERS = {"value", "wear_value", "figure", "parameter", "spread_value", "ladder", "chemistry", "chemistries"}


@cache
def modules() -> list[tuple[str, ast.Module]]:
    return [(path.stem, ast.parse(path.read_text(encoding="utf-8"))) for path in sorted(TABLES.parent.glob("*.py"))]


def test_whatever_is_kept_between_calls_is_kept_per_studio() -> None:
    bare = set()
    for name, tree in modules():
        for node in ast.walk(tree):
            if isinstance(node, ast.FunctionDef):
                kept = any("cache" in ast.unparse(decorator) for decorator in node.decorator_list)
                arguments = [one.arg for one in (*node.args.args, *node.args.kwonlyargs)]
                if kept and "digest" not in arguments:
                    bare.add(f"{name}.{node.name}")
    assert bare == FREE_OF_FIGURES


def test_no_figure_is_frozen_at_import() -> None:
    frozen = set()
    for name, tree in modules():
        for node in tree.body:
            if isinstance(node, ast.Assign | ast.AnnAssign) and node.value is not None:
                calls = {call.func.id for call in ast.walk(node.value) if isinstance(call, ast.Call)
                         and isinstance(call.func, ast.Name)}  # fmt: skip
                if calls & READERS:
                    target = node.targets[0] if isinstance(node, ast.Assign) else node.target
                    frozen.add(f"{name}.{ast.unparse(target)}")
    assert frozen == FIXED_CONSTANTS
