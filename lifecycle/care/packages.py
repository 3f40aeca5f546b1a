"""Packages of layers: the owner keeps them, a technician puts one on many surfaces in one action."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime

from django.db import IntegrityError, transaction
from django.db.models import prefetch_related_objects

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.layering import HARD, Bed, Checked, beds, findings_of, laying, record_layer
from lifecycle.care.over_rules import after
from lifecycle.care.package_rules import WHERE, goes_on
from lifecycle.care.register import known
from lifecycle.care.stack_rules import NOT_MEASURED, Conditions, slot
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import LayerPackage, PackageItem, Product, Studio, Surface, Vehicle

MOST_ITEMS = 12


@dataclass(frozen=True, slots=True)
class ItemEntry:
    """One line of a package as the owner writes it."""

    product_id: int
    coats: int = 1
    where: str = "painted"
    codes: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ItemRow:
    id: int
    product_id: int
    product: str
    kind: str
    coats: int
    where: str
    codes: tuple[str, ...]

    @property
    def where_words(self) -> str:
        """Where it goes, in words."""
        named = ", ".join(code.replace("_", " ") for code in self.codes)
        return named if self.where == "codes" else WHERE[self.where]


@dataclass(frozen=True, slots=True)
class PackageRow:
    id: int
    name: str
    note: str
    retired_on: date | None
    items: tuple[ItemRow, ...]


@dataclass(frozen=True, slots=True)
class ItemWork:
    """How one item was put on: one batch, one preparation and one set of conditions for all its surfaces."""

    batch: str = ""
    coats: int | None = None
    prep: tuple[str, ...] = ()
    now: Conditions = NOT_MEASURED


@dataclass(frozen=True, slots=True)
class ItemChecked:
    """An item with what speaks against it on each of its surfaces."""

    item: ItemRow
    surfaces: tuple[Checked, ...]

    @property
    def refused(self) -> tuple[Checked, ...]:
        """The surfaces on which a rule blocks it."""
        return tuple(one for one in self.surfaces if one.blocked)


@dataclass(frozen=True, slots=True)
class Applied:
    """What an action recorded, and what it left out: (product, surface)."""

    recorded: int
    left_out: tuple[tuple[str, str], ...] = field(default=())


def _row(package: LayerPackage) -> PackageRow:
    items = tuple(
        ItemRow(item.pk, item.product_id, str(item.product), item.product.kind, item.coats, item.where,
                tuple(item.codes))
        for item in package.items.all()
    )  # fmt: skip
    return PackageRow(package.pk, package.name, package.note, package.retired_on, items)


def packages(studio: Studio, *, retired: bool = False) -> tuple[PackageRow, ...]:
    """The studio's packages by name; three queries at most. `retired`: with those no longer offered."""
    rows = LayerPackage.objects.of(studio).prefetch_related("items__product")
    return tuple(_row(row) for row in (rows if retired else rows.filter(retired_on=None)))


def package(studio: Studio, package_id: int) -> PackageRow:
    """One package; three queries, however many items it has.

    Raises:
        NotFoundHere: it is not of this studio.
    """
    row = one(LayerPackage, studio, package_id)
    prefetch_related_objects([row], "items__product")
    return _row(row)


def save_package(
    *,
    studio: Studio,
    package_id: int | None = None,
    name: str,
    note: str = "",
    items: Sequence[ItemEntry],
    actor: str,
    at: datetime,
) -> LayerPackage:
    """Keep a package with its items in their order. Layers already put on do not change.

    Raises:
        DomainError: no or too many items, a name that is taken, a word or number that cannot be.
        NotFoundHere: the package or a product is not of this studio.
    """
    name = name.strip()
    if not 0 < len(name) <= 80:
        raise DomainError("name: write 1 to 80 characters.", field="name")
    if not 0 < len(items) <= MOST_ITEMS:
        raise DomainError(f"items: give 1 to {MOST_ITEMS} products.", field="items")
    for item in items:
        known("where", item.where, tuple(WHERE))
        if not 1 <= item.coats <= 12:
            raise DomainError(f"coats: {item.coats} is not between 1 and 12.", field="coats")
        if item.where == "codes" and not item.codes:
            raise DomainError("codes: name at least one surface.", field="codes")
    try:
        with transaction.atomic():
            row = one(LayerPackage, studio, package_id, lock=True) if package_id is not None else LayerPackage()
            row.studio, row.name, row.note = studio, name, note.strip()
            row.save()
            row.items.all().delete()
            PackageItem.objects.bulk_create(
                PackageItem(
                    studio=studio, package=row, order=order, product=one(Product, studio, item.product_id),
                    coats=item.coats, where=item.where, codes=list(item.codes) if item.where == "codes" else [],
                )
                for order, item in enumerate(items)
            )  # fmt: skip
            journal.record(
                studio=studio, actor=actor, at=at, verb="package kept", subject="package", subject_id=row.pk,
                items=len(items),
            )  # fmt: skip
    except IntegrityError as error:
        raise DomainError(f"name: another package of this studio is called {name}.", field="name") from error
    return row


def retire_package(*, studio: Studio, package_id: int, back: bool = False, actor: str, at: datetime) -> None:
    """Offer a package no longer, or again with `back`.

    Raises:
        NotFoundHere: it is not of this studio.
    """
    with transaction.atomic():
        row = one(LayerPackage, studio, package_id, lock=True)
        row.retired_on = None if back else studio.day(at)
        row.save(update_fields=["retired_on"])
        journal.record(
            studio=studio, actor=actor, at=at, verb="package back" if back else "package retired", subject="package",
            subject_id=row.pk,
        )  # fmt: skip


def _surfaces_of(item: ItemRow, surfaces: Sequence[Surface]) -> list[Surface]:
    return [
        row for row in surfaces
        if goes_on(item.where, item.codes, code=row.code, orientation=row.orientation, substrate=row.substrate)
    ]  # fmt: skip


def check_package(
    *, studio: Studio, vehicle_id: int, package_id: int, applied: date, work: Mapping[int, ItemWork]
) -> tuple[ItemChecked, ...]:
    """What speaks against a package on a vehicle, item by item; a later item sees what an earlier one puts on.

    A refused surface counts as left out for the items after it. Reads only; queries do not grow with the surfaces.

    Args:
        work: by the id of the item; a missing one was put on without anything noted.

    Raises:
        DomainError: a word or figure that cannot be.
        NotFoundHere: the vehicle or package is not of this studio.
    """
    vehicle, row = one(Vehicle, studio, vehicle_id), package(studio, package_id)
    if row.retired_on is not None:
        raise NotFoundHere(f"Package {row.name} is no longer offered.")
    surfaces = list(Surface.objects.of(studio).filter(vehicle=vehicle).order_by("id"))
    products = Product.objects.of(studio).in_bulk([item.product_id for item in row.items])
    standing = beds(vehicle, surfaces, applied)
    checked = []
    for item in row.items:
        done = work.get(item.id, ItemWork())
        new = laying(kind=item.kind, applied=applied, prep=done.prep, product=products[item.product_id])
        found = []
        for surface in _surfaces_of(item, surfaces):
            bed = standing[surface.pk]
            one_found = Checked(
                surface.pk, str(surface), findings_of(new=new, bed=bed, now=done.now, coats=done.coats or item.coats)
            )
            if not one_found.blocked:
                newer = {name: what for name, what in bed.newer.items() if name != slot(item.kind)}
                standing[surface.pk] = Bed(after(new=new, ground=bed.ground), newer, bed.taken_off)
            found.append(one_found)
        checked.append(ItemChecked(item, tuple(found)))
    return tuple(checked)


def apply_package(
    *,
    studio: Studio,
    vehicle_id: int,
    package_id: int,
    applied: date,
    work: Mapping[int, ItemWork],
    applicator_id: int | None = None,
    leave_out: bool = False,
    override_reason: str = "",
    actor: str,
    at: datetime,
) -> Applied:
    """Record every item of a package on every surface that it goes on, in one transaction.

    Args:
        leave_out: surfaces that a rule refuses are left out and the others recorded; without it, and without a
            reason, one refusal refuses all.
        override_reason: a technician's reason to record what a rule blocks; kept on each such layer.

    Raises:
        DomainError: refusals without `leave_out` or a reason ("leave_out"), nothing to record, or anything that
            `record_layer` refuses; nothing is written then.
        NotFoundHere: the vehicle, package or member is not of this studio.
    """
    with transaction.atomic():
        one(Vehicle, studio, vehicle_id, lock=True)
        checked = check_package(studio=studio, vehicle_id=vehicle_id, package_id=package_id, applied=applied, work=work)
        reason = override_reason.strip()
        refused = [(item.item.product, each.surface) for item in checked for each in item.refused]
        if refused and not leave_out and not reason:
            says = "; ".join(f"{product} on the {surface}" for product, surface in refused)
            raise DomainError(
                f"leave_out: {len(refused)} of the layers are refused ({says}). Leave these out, or give a reason.",
                field="leave_out",
            )
        recorded, left = 0, []
        for item in checked:
            done = work.get(item.item.id, ItemWork())
            for each in item.surfaces:
                hard = any(finding.code in HARD for finding in each.blocked)
                if each.blocked and leave_out and (hard or not reason):
                    left.append((item.item.product, each.surface))
                    continue
                record_layer(
                    studio=studio, surface_id=each.surface_id, kind=item.item.kind, applied=applied,
                    product_id=item.item.product_id, coats=done.coats or item.item.coats, batch=done.batch,
                    applicator_id=applicator_id, prep=done.prep, now=done.now, override_reason=reason, actor=actor,
                    at=at,
                )  # fmt: skip
                recorded += 1
        if not recorded:
            raise DomainError("leave_out: nothing of the package goes onto this vehicle.", field="leave_out")
        journal.record(
            studio=studio, actor=actor, at=at, verb="package applied", subject="package", subject_id=package_id,
            vehicle_id=vehicle_id, layers=recorded, left_out=len(left), applied=applied,
        )  # fmt: skip
    return Applied(recorded, tuple(left))
