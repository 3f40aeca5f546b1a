"""What a keeper tells of their vehicle, and what it changes in the forecast: before and after, side by side."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Any, TypeVar

from lifecycle.care.another_use import Asked, Use
from lifecycle.care.record import record_habits
from lifecycle.care.wording import spoken
from lifecycle.condition.run import assess_one
from lifecycle.errors import NotFoundHere
from lifecycle.models import Forecast, Habits, Keeper, Studio
from lifecycle.wear.types import Band, DateBand

Result = TypeVar("Result")
LEAST_SHARE = 0.005
Keeping = Keeper  # pages hand it on to the verbs and look at its ids alone


@dataclass(frozen=True, slots=True)
class Standing:
    """One live layer as the forecast has it."""

    surface: str
    kind: str
    stage: str
    left: Band | None
    end: DateBand | None


@dataclass(frozen=True, slots=True)
class Shift:
    """A layer whose forecast a report moved."""

    before: Standing
    after: Standing

    @property
    def size(self) -> float:
        """How far it moved, for the order: function left at its 10, 50 and 90 % points, and days of the end."""
        share = days = 0.0
        if self.before.left is not None and self.after.left is not None:
            one, two = self.before.left, self.after.left
            share = max(abs(one.p10 - two.p10), abs(one.p50 - two.p50), abs(one.p90 - two.p90))
        if self.before.end is not None and self.after.end is not None:
            first, second = self.before.end, self.after.end
            days = max(abs((a - b).days) for a, b in ((first.p10, second.p10), (first.p90, second.p90)))
        return share + days / 365.0


def keeping(customer_ids: Iterable[int], vehicle_id: int) -> Keeping:
    """These customers' keeping of the vehicle now, with its studio.

    Raises:
        NotFoundHere: none of them keeps it.
    """
    row: Keeping | None = (
        Keeper.objects.filter(
            end=None, customer_id__in=list(customer_ids), vehicle_id=vehicle_id, vehicle__retired_on=None
        )
        .select_related("vehicle__studio", "customer")
        .first()
    )
    if row is None:
        raise NotFoundHere(f"There is no vehicle {vehicle_id} here.")
    return row


def standing(studio: Studio, vehicle_id: int) -> dict[int, Standing]:
    """The latest forecast of each live layer, by the layer's id."""
    rows = Forecast.objects.filter(
        studio=studio, assessment__vehicle_id=vehicle_id, assessment__latest=True
    ).select_related("surface", "layer")
    found = {}
    for row in rows:
        left: list[Any] = [row.function_p10, row.function_p50, row.function_p90]
        end: list[Any] = [row.end_p10, row.end_p50, row.end_p90]
        found[row.layer_id] = Standing(
            surface=spoken(row.surface.code), kind=row.layer.kind, stage=row.stage,
            left=Band(*left) if None not in left else None, end=DateBand(*end) if None not in end else None,
        )  # fmt: skip
    return found


def shifts(before: dict[int, Standing], after: dict[int, Standing]) -> tuple[Shift, ...]:
    """The layers whose forecast moved, the furthest first."""
    moved = [Shift(before[layer], now) for layer, now in after.items() if layer in before]
    told = [one for one in moved if one.size > LEAST_SHARE or one.before.stage != one.after.stage]
    return tuple(sorted(told, key=lambda one: (-one.size, one.after.surface, one.after.kind)))


def with_outcome(
    studio: Studio, vehicle_id: int, verb: Callable[[], Result], *, at: datetime
) -> tuple[Result, tuple[Shift, ...]]:
    """Call a verb and say what it changed. The forecast is brought up to date first, so that only the verb shows."""
    assess_one(studio=studio, vehicle_id=vehicle_id, at=at)
    before = standing(studio, vehicle_id)
    done = verb()
    assess_one(studio=studio, vehicle_id=vehicle_id, at=at)
    return done, shifts(before, standing(studio, vehicle_id))


def report_use(vehicle: Asked, use: Use, *, actor: str, at: datetime) -> Habits:
    """A keeper says how the vehicle is really used, from today on. What they were not asked stays as it is.

    Raises:
        DomainError: a value out of range; the field says which.
    """
    present = vehicle.habit
    return record_habits(
        studio=vehicle.studio, vehicle_id=vehicle.id, start=vehicle.today, parking=use.parking,
        km_per_year=use.km_per_year, wash_method=use.wash_method, washes_per_year=use.washes_per_year,
        wash_ph=present.wash_ph, road_salt=use.road_salt, trees_birds=present.trees_birds, source="reported",
        place=use.place if use.place is not None else present.place, actor=actor, at=at,
    )  # fmt: skip
