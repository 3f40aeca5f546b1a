"""Layers from a list: what was put where and when. A later layer ends the one whose place it takes, as when it is
recorded by hand; whether one may lie over the other is not asked of the past."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any

from lifecycle.care.imports.rows import Row
from lifecycle.care.record import ENDS_COATS
from lifecycle.care.stack_rules import FILM, slot, spoken
from lifecycle.models import CareEvent, Correction, ImportMade, Layer, Product, Studio, Surface, Verdict

from .base import IN_BATCH, Change, OnceOnly, Planned, ask_for_assessment, chunks, insert, update, wrong
from .base import spoken as shown
from .places import KnownSurfaces, not_ahead, save_surfaces, vehicle_of, vehicle_words, whole
from .vehicles import KnownVehicles


@dataclass(slots=True)
class _Item:
    """One row on its way: its surface and product, the layer on record that it is, or how the new one ends."""

    row: Row
    key: str
    surface: Any = None
    product: Any = None
    kind: str = ""
    coats: int | None = None
    there: Any = None
    ends: tuple[date, str] | None = None
    takes: list[tuple[Any, date, str]] = field(default_factory=list)

    @property
    def applied(self) -> date:
        day: date = self.row.values["applied"]
        return day


class _Record:
    """What stands on the surfaces: layers by what they are, live ones by slot, and work that took coats off."""

    def __init__(self, studio: Studio) -> None:
        self.layers: dict[tuple[int, Any, date], Any] = {}
        self.live: dict[tuple[int, str], Any] = {}
        for layer in Layer.objects.of(studio):
            self.layers[layer.surface_id, layer.product_id or layer.kind, layer.applied] = layer
            if layer.ended is None and layer.kind != "unknown":
                self.live[layer.surface_id, slot(layer.kind)] = layer
        self.taken: dict[int, list[tuple[str, date]]] = defaultdict(list)
        done = Correction.objects.of(studio).exclude(stage="unknown_past")
        for surface_id, day in done.values_list("surface_id", "on"):
            self.taken[surface_id].append(("correction", day))
        events = CareEvent.objects.of(studio).filter(kind__in=ENDS_COATS, surface__isnull=False)
        for surface_id, kind, day in events.values_list("surface_id", "kind", "on"):
            self.taken[surface_id].append((kind, day))


def plan(studio: Studio, rows: Iterable[Row], *, at: datetime) -> list[Planned]:
    """What each row would do; a handful of queries, whatever their number."""
    known, surfaces, record = KnownVehicles(studio), KnownSurfaces(studio), _Record(studio)
    products = {row.code.casefold(): row for row in Product.objects.of(studio)}
    once, today = OnceOnly(), studio.day(at)
    items = [_item(row, known, surfaces, products, today) for row in rows]
    by_surface: dict[int, list[_Item]] = defaultdict(list)
    for item in items:
        if item.row.troubles:
            continue
        what = item.product.pk if item.product is not None else item.kind
        once.seen(item.row, "surface", (id(item.surface), what, item.applied), "surface, product and day")
        item.there = record.layers.get((item.surface.pk or 0, what, item.applied))
        if item.there is None:
            by_surface[id(item.surface)].append(item)
    closed = {item.there.pk for item in items if item.there is not None and item.ends is not None}
    record.live = {place: layer for place, layer in record.live.items() if layer.pk not in closed}
    for group in by_surface.values():
        _order(group, record)
    return [_planned(item) for item in items]


def _item(row: Row, known: KnownVehicles, surfaces: KnownSurfaces, products: dict[str, Any], today: date) -> _Item:
    vehicle = vehicle_of(row, known)
    item = _Item(row, vehicle_words(row))
    if vehicle is not None:
        item.surface = surfaces.find(row, vehicle)
    code = row.values.get("product")
    if code is not None:
        item.product = products.get(code.casefold())
        if item.product is None:
            row.trouble("product", "is no product of this studio; enter it under Products first, or write its code.")
    item.kind = row.values.get("kind") or (item.product.kind if item.product is not None else "")
    if item.product is not None and item.kind != item.product.kind:
        row.trouble("kind", f"{item.product} is of kind {item.product.kind}; mend one of the two.")
    if not item.kind and not row.troubles:
        row.trouble("product", "this row says neither product nor kind; give one of them.")
    if "applied" not in row.values and not row.troubles:
        row.trouble("applied", "this row has no day; give the day on which the layer was put on.")
    item.coats = whole(row, "coats", 1, 12)
    not_ahead(row, "applied", today)
    not_ahead(row, "ended", today)
    if not row.troubles and "ended" in row.values:
        if row.values["ended"] < item.applied:
            row.trouble("ended", f"lies before the day on which it was put on, {item.applied}.")
        item.ends = (row.values["ended"], row.values.get("ended_why", ""))
    if not row.troubles and item.surface is not None:
        item.key = f"{item.key}, {item.surface}, {item.product.code if item.product else spoken(item.kind)}"
    return item


def _order(group: list[_Item], record: _Record) -> None:
    """New layers of one surface by day: each ends the one whose place it takes."""
    for item in group:
        _taken_off(item, record)
    last: dict[str, _Item] = {}
    for item in sorted(
        (one for one in group if one.ends is None and one.kind != "unknown"), key=lambda one: one.applied
    ):
        place = slot(item.kind)
        before, live = last.get(place), record.live.get((item.surface.pk or 0, place))
        if before is not None:
            before.ends = (item.applied, "renewed" if before.kind == item.kind else "replaced")
        elif live is not None and live.applied > item.applied:
            item.row.trouble(
                "applied",
                f"a {spoken(live.kind)} from {live.applied} is on record for this surface; say in the column “ended” "
                "when this one ended.",
            )
            continue
        elif live is not None:
            item.takes.append((live, item.applied, "renewed" if live.kind == item.kind else "replaced"))
        last[place] = item


def _taken_off(item: _Item, record: _Record) -> None:
    for kind, day in record.taken.get(item.surface.pk or 0, ()):
        spared = kind == "correction" and item.kind in FILM
        if day > item.applied and not spared and (item.ends is None or item.ends[0] > day):
            item.row.trouble(
                "applied",
                f"a {spoken(kind)} of {day} took off what stood here; say in the column “ended” when it ended.",
            )
            return


def _planned(item: _Item) -> Planned:
    row = item.row
    if row.troubles:
        return wrong(row, item.key)
    if item.there is not None:
        return _again(item)
    changes = [["layer", "", f"{item.product or spoken(item.kind)}, {item.applied}"]]
    if item.surface.pk is None:
        changes.insert(0, ["surface", "", f"{item.surface}, as usual for the body"])
    for name, value in (("coats", item.coats), ("batch", row.values.get("batch"))):
        if value is not None:
            changes.append([name, "", shown(value)])
    if item.ends is not None:
        changes.append(["ended", "", " ".join(filter(None, (item.ends[0].isoformat(), item.ends[1])))])
    for live, day, why in item.takes:
        changes.append([f"{spoken(live.kind)} of {live.applied}", "live", f"ended {day}, {why}"])
    return Planned(row.line, Verdict.NEW, item.key, changes, act=item)


def _again(item: _Item) -> Planned:
    """The layer is on record: only what the row says otherwise changes."""
    wanted = {"coats": item.coats, "batch": item.row.values.get("batch"), "ended": item.row.values.get("ended"),
              "ended_why": item.row.values.get("ended_why")}  # fmt: skip
    new = {name: value for name, value in wanted.items() if value is not None and getattr(item.there, name) != value}
    changes = [[name.replace("_", " "), shown(getattr(item.there, name)), shown(value)] for name, value in new.items()]
    verdict = Verdict.CHANGE if changes else Verdict.SAME
    return Planned(item.row.line, verdict, item.key, changes, act=(item.there, new))


def write(studio: Studio, planned: Sequence[Planned], *, at: datetime) -> list[ImportMade]:
    """Write what was planned; needs a plan without an error."""
    fresh = [(item.line, item.act) for item in planned if item.verdict == Verdict.NEW]
    made = save_surfaces([(line, act.surface) for line, act in fresh])
    changed = [
        Change(item.line, item.act[0].pk, item.act[1], {name: getattr(item.act[0], name) for name in item.act[1]})
        for item in planned if item.verdict == Verdict.CHANGE
    ]  # fmt: skip
    for line, act in fresh:
        for live, day, why in act.takes:
            new = {"ended": day, "ended_why": why}
            changed.append(Change(line, live.pk, new, {name: getattr(live, name) for name in new}))
    made += update(Layer, changed)  # first: the place is free for the new one
    made += insert([(line, _layer(studio, act)) for line, act in fresh])
    vehicles = {act.surface.vehicle_id for _, act in fresh}
    for part in chunks((change.pk for change in changed), IN_BATCH):
        vehicles |= set(Layer.objects.filter(pk__in=part).values_list("surface__vehicle_id", flat=True))
    ask_for_assessment(vehicles)
    return made


def _layer(studio: Studio, item: _Item) -> Layer:
    surface: Surface = item.surface
    ended, why = item.ends if item.ends is not None else (None, "")
    return Layer(
        studio=studio, surface_id=surface.pk, product=item.product, kind=item.kind, applied=item.applied,
        coats=item.coats or 1, batch=item.row.values.get("batch", ""), ended=ended, ended_why=why[:60],
    )  # fmt: skip
