"""Putting layers on record through the verbs: blocks, reasons, slots, packages, recall, the cure calendar.

The rules themselves stand in test_stack_rules: common practice, no source, unless said otherwise there.
"""

from __future__ import annotations

from datetime import timedelta

import pytest
from django.db import IntegrityError, connection, transaction
from django.test.utils import CaptureQueriesContext

from lifecycle.care.corrections import record_correction
from lifecycle.care.cure_calendar import cure_calendar
from lifecycle.care.layering import check_layer, record_layer
from lifecycle.care.package_rules import WHERE, goes_on
from lifecycle.care.packages import (
    ItemEntry,
    ItemWork,
    apply_package,
    check_package,
    package,
    packages,
    retire_package,
    save_package,
)
from lifecycle.care.recall import recall
from lifecycle.care.record import record_event
from lifecycle.care.sheet_windows import product_windows, save_windows
from lifecycle.care.stack_rules import Conditions
from lifecycle.care.surface_presets import presets_of
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import ClimateNormal, JournalEntry, Layer
from tests import people
from tests.factories import (
    NOW,
    TODAY,
    CustomerFactory,
    LayerFactory,
    ProductFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)

pytestmark = pytest.mark.django_db
GOOD = Conditions(air_c=20, surface_c=19, rh_pct=50)
READY = ("washed", "decontaminated", "polished", "panel_wiped")


@pytest.fixture
def surface():
    return SurfaceFactory(code="bonnet")


@pytest.fixture
def by(surface):
    return {"studio": surface.studio, "actor": f"member:{people.technician(surface.studio).pk}", "at": NOW}


def test_a_block_is_recorded_only_with_a_technicians_reason(surface, by):
    """Dew point by Magnus, 3 °C above it published: 14 °C and 80 % need 13.6 °C."""
    wet = Conditions(air_c=14, surface_c=13, rh_pct=80)
    given = {"surface_id": surface.pk, "kind": "ceramic_mid", "applied": TODAY, "prep": READY, "now": wet}
    with pytest.raises(DomainError, match=r"bonnet: The dew point is 10\.6 °C .* needs 13\.6 °C") as refused:
        record_layer(**given, **by)
    assert refused.value.field == "override_reason"
    assert Layer.objects.count() == 0
    desk = f"member:{people.desk(surface.studio).pk}"
    stranger = f"member:{people.technician().pk}"
    for who in (desk, stranger, "cycle", "customer:1"):
        with pytest.raises(DomainError, match="only a technician"):
            record_layer(**given, override_reason="heated bay", **{**by, "actor": who})
    with pytest.raises(DomainError, match="500 characters"):
        record_layer(**given, override_reason="x" * 501, **by)
    layer = record_layer(**given, override_reason=" The panel was warmed after the reading. ", **by)
    layer.refresh_from_db()
    assert [row["code"] for row in layer.overridden] == ["dew_point"]
    assert layer.override_reason == "The panel was warmed after the reading."
    assert (layer.prep, layer.air_c, layer.surface_c, layer.rh_pct) == (list(READY), 14, 13, 80)
    entry = JournalEntry.objects.get(subject="layer", subject_id=layer.pk)
    assert (entry.data["overridden"], entry.data["reason"]) == (["dew_point"], layer.override_reason)
    roof = SurfaceFactory(vehicle=surface.vehicle, code="roof")
    sound = record_layer(
        surface_id=roof.pk, kind="ceramic_mid", applied=TODAY, prep=READY, now=GOOD, override_reason="for nothing",
        **by,
    )  # fmt: skip
    assert (sound.overridden, sound.override_reason) == ([], ""), "a reason without a block is not kept"


def test_a_new_base_takes_the_place_of_the_old_and_a_polish_takes_what_stood(surface, by):
    base = LayerFactory(surface=surface, kind="ceramic_mid", applied=TODAY - timedelta(days=400))
    wax = LayerFactory(surface=surface, kind="wax", applied=TODAY - timedelta(days=20))
    film = LayerFactory(surface=surface, kind="film_body", applied=TODAY - timedelta(days=600))
    with pytest.raises(DomainError, match="never to wax"):
        record_layer(surface_id=surface.pk, kind="ceramic_top", applied=TODAY, prep=("panel_wiped",), now=GOOD, **by)
    record_layer(surface_id=surface.pk, kind="ceramic_top", applied=TODAY, prep=READY, now=GOOD, **by)
    for row in (base, wax, film):
        row.refresh_from_db()
    assert (base.ended, base.ended_why) == (TODAY, "taken off in preparation")
    assert (wax.ended, film.ended) == (TODAY, None)
    assert set(Layer.objects.filter(ended=None).values_list("kind", flat=True)) == {"film_body", "ceramic_top"}


def test_the_database_itself_refuses_a_second_live_base_coat(surface):
    LayerFactory(surface=surface, kind="ceramic_mid")
    for kind in ("ceramic_top", "ceramic_mid", "wheel_coat"):
        with pytest.raises(IntegrityError), transaction.atomic():
            LayerFactory(surface=surface, kind=kind)
    LayerFactory(surface=surface, kind="film_body")
    with pytest.raises(IntegrityError), transaction.atomic():
        LayerFactory(surface=surface, kind="wrap")
    LayerFactory(surface=surface, kind="ceramic_mid", ended=TODAY)
    for _ in range(2):
        LayerFactory(surface=surface, kind="unknown")


def test_nothing_is_recorded_below_what_took_it_off(surface, by):
    """A coat of a day before a correction cannot be live after it; a film can, but not after a repaint."""
    record_correction(
        surface_id=surface.pk, on=TODAY - timedelta(days=5), stage="one_step", happened_elsewhere=True, **by
    )
    early = {"surface_id": surface.pk, "applied": TODAY - timedelta(days=9), "override_reason": "sure", **by}
    with pytest.raises(DomainError, match="took off what stood here before") as refused:
        record_layer(kind="wax", **early)
    assert refused.value.field == "applied"
    assert record_layer(kind="film_body", **early).ended is None
    painted = {"kind": "repaint", "on": TODAY - timedelta(days=3), "surface_id": surface.pk}
    record_event(vehicle_id=surface.vehicle_id, **painted, **by)
    with pytest.raises(DomainError, match="repaint of"):
        record_layer(kind="film_body", **early)


@pytest.mark.parametrize(
    ("change", "field"),
    [
        ({"prep": ("sanded",)}, "prep"),
        ({"prep": ("none", "washed")}, "prep"),
        ({"now": Conditions(air_c=100)}, "air_c"),
        ({"now": Conditions(rh_pct=float("nan"))}, "rh_pct"),
    ],
)
def test_a_figure_that_cannot_be_is_refused_by_name(surface, by, change, field):
    with pytest.raises(DomainError) as refused:
        record_layer(surface_id=surface.pk, kind="wax", applied=TODAY, **change, **by)
    assert refused.value.field == field
    assert Layer.objects.count() == 0


def test_the_check_asks_as_many_queries_for_twelve_surfaces_as_for_one(surface, by):
    given = {"studio": surface.studio, "vehicle_id": surface.vehicle_id, "kind": "booster", "applied": TODAY}
    LayerFactory(surface=surface)
    with CaptureQueriesContext(connection) as few:
        assert len(check_layer(surface_ids=[surface.pk], **given)) == 1
    more = [SurfaceFactory(vehicle=surface.vehicle) for _ in range(11)]
    for row in more:
        LayerFactory(surface=row)
    with CaptureQueriesContext(connection) as many:
        assert len(check_layer(surface_ids=[row.pk for row in (surface, *more)], **given)) == 12
    assert len(many) == len(few)
    with pytest.raises(NotFoundHere):
        check_layer(surface_ids=[SurfaceFactory().pk], **given)


# data-sheet windows


def test_the_sheet_of_a_product_overrules_and_is_journalled(surface, by):
    product = ProductFactory(studio=surface.studio, kind="ceramic_mid")
    save_windows(
        product_id=product.pk, windows={"air_low_c": 5, "air_high_c": 35, "no_chemicals_days": 7},
        allowed_over=["film_body"], flags={"solvents": True}, **by,
    )  # fmt: skip
    kept = product_windows(surface.studio, product.pk)
    assert (kept.windows["air_low_c"], kept.windows["rh_low_pct"]) == (5, None)
    assert (kept.allowed_over, kept.flags["solvents"], kept.flags["isocyanates"]) == (("film_body",), True, False)
    layer = record_layer(
        surface_id=surface.pk, kind="ceramic_mid", applied=TODAY - timedelta(days=8), product_id=product.pk,
        prep=READY, now=Conditions(6, 14, 40), **by,
    )  # fmt: skip
    assert layer.overridden == []
    topped = record_layer(surface_id=surface.pk, kind="booster", applied=TODAY, prep=("decontaminated",), **by)
    assert topped.overridden == [], "its sheet bears a booster after seven days"
    assert JournalEntry.objects.filter(verb="product windows changed").count() == 1
    for windows, field in (
        ({"rh_high_pct": 120}, "rh_high_pct"), ({"air_low_c": 30, "air_high_c": 20}, "air_high_c"),
        ({"moon_phase": 1}, "window"),
    ):  # fmt: skip
        with pytest.raises(DomainError) as refused:
            save_windows(product_id=product.pk, windows=windows, **by)
        assert refused.value.field == field
    with pytest.raises(NotFoundHere):
        product_windows(StudioFactory(), product.pk)


# packages


def test_where_an_item_goes_by_the_surfaces_of_a_usual_body():
    """The usual surfaces of a saloon: common practice, no source."""
    found = {
        where: [one.code for one in presets_of("saloon")
                if goes_on(where, ("bonnet", "roof"), code=one.code, orientation=one.orientation,
                           substrate=one.substrate)]
        for where in WHERE
    }  # fmt: skip
    assert {"bonnet", "roof", "boot", "doors_left", "front_bumper", "sills"} <= set(found["painted"])
    assert not {"wheels", "trim", "headlamps", "windscreen", "engine_bay"} & set(found["painted"])
    assert found["windscreen"] == ["windscreen"]
    assert found["glass"] == ["windscreen", "side_glass", "rear_glass"]
    assert found["other_glass"] == ["side_glass", "rear_glass"]
    assert (found["wheels"], found["trim"], found["codes"]) == (["wheels"], ["trim"], ["bonnet", "roof"])
    with pytest.raises(ValueError, match="where is 'moon'"):
        goes_on("moon", (), code="roof", orientation="flat", substrate="steel")


@pytest.fixture
def full(surface, by):
    """A package of a ceramic on paint and a coat on wheels, with a vehicle of three panels and wheels."""
    for code in ("roof", "boot"):
        SurfaceFactory(vehicle=surface.vehicle, code=code)
    SurfaceFactory(vehicle=surface.vehicle, code="wheels", orientation="wheel", substrate="aluminium")
    ceramic = ProductFactory(studio=surface.studio, kind="ceramic_mid")
    wheel = ProductFactory(studio=surface.studio, kind="wheel_coat")
    row = save_package(name="Full", items=[ItemEntry(ceramic.pk, coats=2), ItemEntry(wheel.pk, where="wheels")], **by)
    return package(surface.studio, row.pk)


def test_a_package_goes_onto_many_surfaces_in_one_action(full, surface, by):
    paint, wheels = full.items
    work = {paint.id: ItemWork("C-1", prep=READY, now=GOOD), wheels.id: ItemWork("H-1", prep=("washed",), now=GOOD)}
    done = apply_package(vehicle_id=surface.vehicle_id, package_id=full.id, applied=TODAY, work=work, **by)
    assert (done.recorded, done.left_out) == (4, ())
    rows = Layer.objects.filter(ended=None)
    assert set(rows.filter(kind="ceramic_mid").values_list("batch", "coats", "air_c")) == {("C-1", 2, 20.0)}
    assert rows.get(kind="wheel_coat").batch == "H-1"
    assert JournalEntry.objects.get(verb="package applied").data["layers"] == 4


def test_refusals_are_shown_and_the_others_go_on_only_if_asked(full, surface, by):
    LayerFactory(surface=surface, kind="wax", applied=TODAY - timedelta(days=30))
    paint = full.items[0]
    wiped = {paint.id: ItemWork("C-1", prep=("washed", "panel_wiped"), now=GOOD)}
    given = {"vehicle_id": surface.vehicle_id, "package_id": full.id, "applied": TODAY, "work": wiped}
    checked = check_package(studio=surface.studio, **given)
    assert [one.surface for one in checked[0].refused] == ["bonnet"]
    with pytest.raises(DomainError, match=r"1 of the layers are refused .* on the bonnet") as refused:
        apply_package(**given, **by)
    assert refused.value.field == "leave_out"
    assert Layer.objects.count() == 1, "all of it or nothing"
    with transaction.atomic():
        done = apply_package(**given, leave_out=True, **by)
        assert (done.recorded, done.left_out) == (3, ((paint.product, "bonnet"),))
        transaction.set_rollback(True)
    done = apply_package(**given, override_reason="the wax was dissolved, wipe test proves it", **by)
    assert done.recorded == 4
    assert Layer.objects.exclude(override_reason="").get().surface == surface


def test_a_later_item_sees_what_an_earlier_one_put_on(surface, by):
    """Trade rule: nothing onto a coat in cure; a booster in the same package as its base is refused."""
    kinds = [ProductFactory(studio=surface.studio, kind=kind) for kind in ("ceramic_mid", "booster")]
    row = save_package(name="Rushed", items=[ItemEntry(product.pk) for product in kinds], **by)
    base, top = check_package(
        studio=surface.studio, vehicle_id=surface.vehicle_id, package_id=row.pk, applied=TODAY, work={}
    )
    assert base.refused == ()
    assert {finding.code for one in top.refused for finding in one.blocked} == {"base_in_cure"}


def test_packages_are_kept_changed_and_retired(full, surface, by):
    line = ItemEntry(full.items[0].product_id, where="codes", codes=("roof",))
    other = save_package(name="Glass", items=[line], **by)
    assert package(surface.studio, other.pk).items[0].where_words == "roof"
    for change, field in (({"name": "Full"}, "name"), ({"items": []}, "items"), ({"name": " "}, "name"),
                          ({"items": [ItemEntry(full.items[0].product_id, where="moon")]}, "where")):  # fmt: skip
        with pytest.raises(DomainError) as refused:
            save_package(**{"name": "X", "items": [ItemEntry(full.items[0].product_id)], **change, **by})
        assert refused.value.field == field
    with pytest.raises(NotFoundHere):
        save_package(name="Y", items=[ItemEntry(ProductFactory().pk)], **by)
    retire_package(package_id=full.id, **by)
    assert [row.name for row in packages(surface.studio)] == ["Glass"]
    assert len(packages(surface.studio, retired=True)) == 2
    with pytest.raises(NotFoundHere):
        apply_package(vehicle_id=surface.vehicle_id, package_id=full.id, applied=TODAY, work={}, **by)
    with pytest.raises(NotFoundHere):
        package(StudioFactory(), full.id)


# recall


def test_a_recall_finds_every_layer_of_a_batch_and_nobody_elses(surface, by):
    live = LayerFactory(surface=surface, batch="L-42")
    gone = LayerFactory(surface=surface, kind="wax", batch="l-42", ended=TODAY)
    LayerFactory(surface=surface, kind="sealant", batch="L-421")
    LayerFactory(batch="L-42")  # another studio's
    found = recall(surface.studio, " l-42 ", contacts=True)
    assert [(row.surface, row.ended) for row in found.live] == [("bonnet", live.ended)]
    assert [row.ended for row in found.ended] == [gone.ended]
    assert (found.like, found.vehicles) == (("L-421",), 1)
    keeper = surface.vehicle.keepers.get().customer
    assert (found.live[0].keeper, found.live[0].email) == (keeper.name, keeper.email)
    assert recall(surface.studio, "  ", contacts=True).live == ()
    with CaptureQueriesContext(connection) as few:
        recall(surface.studio, "L-42", contacts=True)
    for _ in range(29):
        vehicle = VehicleFactory(site=surface.vehicle.site, keeper=CustomerFactory(studio=surface.studio))
        LayerFactory(surface=SurfaceFactory(vehicle=vehicle), batch="L-42")
    with CaptureQueriesContext(connection) as many:
        assert len(recall(surface.studio, "L-42", contacts=True).live) == 30
    assert len(many) == len(few)


# the cure calendar


def test_the_cure_calendar_by_table_sheet_and_cold(surface):
    """Trade table: no wash 5-14 days, no chemicals 7-30 and not before full cure 7-21; half as long again per 10 °C."""
    studio, vehicle = surface.studio, surface.vehicle_id
    made = TODAY - timedelta(days=2)
    LayerFactory(surface=surface, applied=made)
    LayerFactory(surface=SurfaceFactory(vehicle=surface.vehicle, code="roof"), applied=made)
    LayerFactory(surface=surface, kind="wax", applied=TODAY - timedelta(days=40))
    (fresh,) = cure_calendar(studio=studio, vehicle_id=vehicle, today=TODAY)
    steps = {step.step: step for step in fresh.steps}
    assert fresh.surfaces == ("bonnet", "roof")
    assert (steps["wash"].earliest, steps["wash"].latest) == (made + timedelta(days=5), made + timedelta(days=14))
    assert (steps["chemicals"].earliest, steps["chemicals"].latest) == (
        made + timedelta(days=7), made + timedelta(days=30)
    )  # fmt: skip
    assert (steps["dry"].over, steps["wash"].over, steps["wash"].by_sheet) == (True, False, False)
    ClimateNormal.objects.create(
        source="test", lat=49.5, lon=8.5, height_m=100, error_word="close", months={"air_c": [0.0] * 12},
        fetched_at=NOW, rank=1,
    )  # fmt: skip
    (cold,) = cure_calendar(studio=studio, vehicle_id=vehicle, today=TODAY)
    assert cold.slower is True
    assert {step.step: step.latest for step in cold.steps}["wash"] == made + timedelta(days=28)
    product = ProductFactory(studio=studio, no_wash_days=3, no_chemicals_days=4, full_days=5, keep_dry_h=6)
    Layer.objects.filter(kind="ceramic_mid").update(product=product)
    (own,) = cure_calendar(studio=studio, vehicle_id=vehicle, today=TODAY)
    wash = next(step for step in own.steps if step.step == "wash")
    assert (wash.earliest, wash.latest, wash.by_sheet) == (made + timedelta(days=6), made + timedelta(days=6), True)
    assert cure_calendar(studio=studio, vehicle_id=vehicle, today=TODAY + timedelta(days=90)) == ()
    assert cure_calendar(studio=StudioFactory(), vehicle_id=vehicle, today=TODAY) == ()
