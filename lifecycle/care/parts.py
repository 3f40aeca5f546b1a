"""Work that changes what a surface is: paint, part, pane, or no part at all. Each ends what lay on it, dated."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, Final

from django.db import transaction

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.record import ask_for_assessment, end_coats, not_after
from lifecycle.care.register import known
from lifecycle.care.undo import as_before
from lifecycle.errors import DomainError
from lifecycle.models import CareEvent, Layer, Studio, Surface
from lifecycle.wear.choices import SUBSTRATES
from lifecycle.wear.stack import PAINTED

NEW_FINISHES: Final = ("factory", "refinish", "unknown")
REPAINT, TOUCH_UP, PART_SWAP, GLASS, REMOVED = (
    "repaint",
    "touch_up_paint",
    "part_swap",
    "glass_replaced",
    "part_removed",
)
# Events of a surface that say what it is from that day on; only the latest of them can be withdrawn.
LIFE_EVENTS: Final = (REPAINT, TOUCH_UP, PART_SWAP, GLASS, REMOVED)


def _there(surface: Surface) -> None:
    if surface.removed_on is not None:
        raise DomainError(
            f"surface: the {surface} is no longer on the vehicle since {surface.removed_on}.", field="surface"
        )


def _work(
    surface: Surface, kind: str, on: date, *, note: str, ends: bool, actor: str, at: datetime, **changes: Any
) -> CareEvent:
    """One event with its consequences; the caller holds the lock and the transaction.

    Raises:
        DomainError: the day lies ahead, or before later work of this sort.
    """
    not_after("on", on, surface.studio, at)
    later = CareEvent.objects.filter(surface=surface, kind__in=LIFE_EVENTS, on__gt=on).order_by("on").first()
    if later is not None:
        raise DomainError(
            f"on: a {later.kind.replace('_', ' ')} of {later.on} is on record for the {surface}; give a later day, or "
            "withdraw that entry first.",
            field="on",
        )
    event: CareEvent = CareEvent.objects.create(
        studio=surface.studio, vehicle_id=surface.vehicle_id, surface=surface, kind=kind, on=on, by="studio",
        note=note.strip(), before=as_before(surface, on),
    )  # fmt: skip
    ended = end_coats(surface=surface, on=on, why=kind.replace("_", " ")) if ends else 0
    for name, value in changes.items():
        setattr(surface, name, value)
    if changes:
        surface.save(update_fields=list(changes))
    ask_for_assessment(surface.vehicle_id)
    journal.record(
        studio=surface.studio, actor=actor, at=at, verb=f"{kind.replace('_', ' ')} recorded", subject="care event",
        subject_id=event.pk, vehicle_id=surface.vehicle_id, surface=surface.code, on=on, coats_ended=ended,
    )  # fmt: skip
    return event


def repaint(
    *, studio: Studio, surface_id: int, on: date, whole: bool, note: str = "", actor: str, at: datetime
) -> CareEvent:
    """A panel was painted anew (`whole`), or touched up in one place.

    New paint ends every coat of the panel, and what was read and polished before no longer speaks of it. A touch-up
    leaves the coats beside it; the touched-up place itself is bare.

    Args:
        note: the painter's, in a few words.

    Raises:
        DomainError: no paint there, a removed part, a day ahead or before later work on that panel.
        NotFoundHere: the surface is not of this studio.
    """
    with transaction.atomic():
        surface = one(Surface, studio, surface_id, lock=True)
        _there(surface)
        if surface.substrate not in PAINTED or surface.orientation == "inside":
            raise DomainError(f"surface: the {surface} is {surface.substrate}, not painted.", field="surface")
        if whole:
            return _work(
                surface, REPAINT, on, note=note, ends=True, actor=actor, at=at, finish="refinish", refinished_on=on
            )
        touched = {"finish": "touch_up"} if surface.finish in ("factory", "unknown") else {}
        return _work(surface, TOUCH_UP, on, note=note, ends=False, actor=actor, at=at, **touched)


def swap_part(
    *,
    studio: Studio,
    surface_id: int,
    on: date,
    finish: str,
    substrate: str = "",
    note: str = "",
    actor: str,
    at: datetime,
) -> CareEvent:
    """Another part is in this place since `on`; also for one that was taken off before and is there again.

    Args:
        finish: of the new part: factory, refinish or unknown. Readings, corrections and coats of the old part do not
            count for it.
        substrate: what it is made of, where that is another material.

    Raises:
        DomainError: an unknown word, a pane (see `replace_glass`), a day ahead or before later work.
        NotFoundHere: the surface is not of this studio.
    """
    known("finish", finish, NEW_FINISHES)
    if substrate:
        known("substrate", substrate, SUBSTRATES)
    with transaction.atomic():
        surface = one(Surface, studio, surface_id, lock=True)
        if surface.substrate == "glass" or substrate == "glass":
            raise DomainError("surface: a pane is recorded as replaced glass.", field="surface")
        return _work(
            surface, PART_SWAP, on, note=note, ends=True, actor=actor, at=at, finish=finish,
            refinished_on=None if finish == "factory" else on, part_since=on, removed_on=None,
            substrate=substrate or surface.substrate,
        )  # fmt: skip


def replace_glass(*, studio: Studio, surface_id: int, on: date, note: str = "", actor: str, at: datetime) -> CareEvent:
    """A pane was replaced: its coats end with it.

    Raises:
        DomainError: not of glass, a removed part, a day ahead or before later work.
        NotFoundHere: the surface is not of this studio.
    """
    with transaction.atomic():
        surface = one(Surface, studio, surface_id, lock=True)
        _there(surface)
        if surface.substrate != "glass":
            raise DomainError(f"surface: the {surface} is {surface.substrate}, not glass.", field="surface")
        return _work(surface, GLASS, on, note=note, ends=True, actor=actor, at=at, part_since=on)


def remove_part(*, studio: Studio, surface_id: int, on: date, note: str = "", actor: str, at: datetime) -> CareEvent:
    """The part is no longer on the vehicle. Its record stays; nothing is forecast for it any more.

    Raises:
        DomainError: it was removed already, a day ahead or before later work.
        NotFoundHere: the surface is not of this studio.
    """
    with transaction.atomic():
        surface = one(Surface, studio, surface_id, lock=True)
        _there(surface)
        return _work(surface, REMOVED, on, note=note, ends=True, actor=actor, at=at, removed_on=on)


def record_unknown_layers(
    *, studio: Studio, surface_ids: list[int], there_on: date, actor: str, at: datetime
) -> tuple[Layer, ...]:
    """Something that nobody knows lies on these surfaces, at the latest since `there_on`; all or none.

    Such a surface is never called bare; nothing is forecast for the layer, and only an inspection is due.

    Raises:
        DomainError: no surface, a day ahead, or an unknown layer that is on record there already.
        NotFoundHere: a surface of another studio.
    """
    not_after("there_on", there_on, studio, at)
    if not surface_ids:
        raise DomainError("surfaces: tick at least one surface.", field="surfaces")
    made = []
    with transaction.atomic():
        for surface in [one(Surface, studio, pk, lock=True) for pk in dict.fromkeys(surface_ids)]:
            _there(surface)
            if Layer.objects.filter(surface=surface, kind="unknown", ended=None).exists():
                raise DomainError(
                    f"surfaces: an unknown layer is on record for the {surface} already.", field="surfaces"
                )
            since = surface.as_it_is_since
            if since is not None and there_on < since:
                raise DomainError(
                    f"there_on: the {surface} is as it is since {since}; what lay there before went with it.",
                    field="there_on",
                )
            layer: Layer = Layer.objects.create(studio=studio, surface=surface, kind="unknown", applied=there_on)
            made.append(layer)
            ask_for_assessment(surface.vehicle_id)
            journal.record(
                studio=studio, actor=actor, at=at, verb="unknown layer recorded", subject="layer",
                subject_id=layer.pk, vehicle_id=surface.vehicle_id, surface=surface.code, on=there_on,
            )  # fmt: skip
    return tuple(made)
