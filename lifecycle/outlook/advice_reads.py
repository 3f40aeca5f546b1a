"""The whole history of advice of one vehicle, and what stands beside one piece of it. Reads only."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from lifecycle.care.find import one
from lifecycle.care.worklist import task_title
from lifecycle.models import (
    CareEvent,
    Inspection,
    Layer,
    Member,
    Offer,
    OfferStep,
    Price,
    Studio,
    Surface,
    Vehicle,
    Visit,
)
from lifecycle.models.offer import OfferTold, OfferVerdict
from lifecycle.outlook import history, offer_bars, offer_rules, steps
from lifecycle.outlook.acceptance_reads import reason_title
from lifecycle.outlook.evidence import Evidence, evidence_of
from lifecycle.outlook.outcomes import forecast_words

MOST: Final = 200  # of one vehicle; the earliest fall away


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step. `shown_by`: the record that shows it, in words; `to_id` and `to`: whom it was said to."""

    on: date
    kind: str
    words: str
    channel: str
    why: str
    until: date | None
    price: tuple[Decimal, Decimal] | None
    beside: tuple[str, ...]
    taken: tuple[str, ...]
    left: tuple[str, ...]
    shown_by: str
    to_id: int | None
    to: str


@dataclass(frozen=True, slots=True)
class AdviceRow:
    """One piece of advice with all its steps, the first one first. `bars`: why it is not offered now."""

    id: int
    title: str
    surfaces: tuple[str, ...]
    by: str
    made_on: date
    price_low: Decimal
    price_high: Decimal
    forecast: str
    state: str
    steps: tuple[StepRow, ...]
    bars: tuple[str, ...]
    can_tell: bool
    can_answer: bool
    can_withdraw: bool


@dataclass(frozen=True, slots=True)
class VehicleAdvice:
    """The page of one vehicle. `tasks`: what may be recommended by hand, those with a price; `surfaces`: its codes."""

    vehicle_id: int
    vehicle: str
    plate: str
    currency: str
    rows: tuple[AdviceRow, ...]
    tasks: tuple[tuple[str, str], ...]
    surfaces: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True)
class OptionRow:
    """One way to choose, in words; both prices are 0 for "nothing now"."""

    title: str
    low: Decimal
    high: Decimal


@dataclass(frozen=True, slots=True)
class Sheet:
    """What stands beside one offer while it is made, answered or taken back."""

    bars: tuple[str, ...]
    options: tuple[OptionRow, ...]
    surfaces: tuple[tuple[str, str], ...]
    evidence: tuple[Evidence, ...]


def plain(code: str) -> str:
    """left_front_door -> left front door."""
    return code.replace("_", " ")


def option_title(task: str) -> str:
    """The way in words."""
    return "nothing now" if task == offer_rules.NOTHING else task_title(task)


def sheet(studio: Studio, offer_id: int, *, today: date) -> Sheet:
    """What stands beside one offer.

    Raises:
        NotFoundHere: no such offer in this studio.
    """
    offer = one(Offer, studio, offer_id)
    ways = offer_bars.options_of(offer, offer_bars.price_list(studio))
    return Sheet(
        bars=tuple(bar.why for bar in offer_bars.barred(studio, [offer], today=today)[offer.pk]),
        options=tuple(OptionRow(option_title(way.task), way.low, way.high) for way in ways),
        surfaces=tuple((code, plain(code)) for code in offer.surfaces),
        evidence=evidence_of(offer),
    )


def of_vehicle(studio: Studio, vehicle_id: int, *, today: date) -> VehicleAdvice:
    """All advice about one vehicle, the latest first. The number of queries does not depend on the rows.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    vehicle = one(Vehicle, studio, vehicle_id)
    found = history.with_latest_step(Offer.objects.of(studio).filter(vehicle=vehicle).select_related("due", "studio"))
    offers = list(found.order_by("-made_at", "-id")[:MOST])
    bars = offer_bars.barred(studio, offers, today=today) if offers else {}
    by_offer: dict[int, list[Any]] = defaultdict(list)
    for step in OfferStep.objects.filter(offer__vehicle=vehicle).select_related("offer").order_by("at", "id"):
        by_offer[step.offer_id].append(step)
    names = _Names.read(studio, vehicle, [step for some in by_offer.values() for step in some])
    priced = Price.objects.filter(studio=studio, size=vehicle.size).values_list("task", flat=True)
    surfaces = Surface.objects.filter(vehicle=vehicle, removed_on=None).order_by("id").values_list("code", flat=True)
    return VehicleAdvice(
        vehicle_id=vehicle.pk,
        vehicle=vehicle.description,
        plate=vehicle.plate,
        currency=studio.currency,
        rows=tuple(_row(offer, by_offer[offer.pk], names, bars.get(offer.pk, ())) for offer in offers),
        tasks=tuple(sorted(((task, task_title(task)) for task in priced), key=lambda pair: pair[1])),
        surfaces=tuple((code, plain(code)) for code in surfaces),
    )


def _row(offer: Any, told: Sequence[Any], names: _Names, bars: Sequence[offer_rules.Bar]) -> AdviceRow:
    state = offer.latest_kind or steps.RECOMMENDED
    follows = steps.FOLLOWS[state]
    return AdviceRow(
        id=offer.pk,
        title=task_title(offer.task),
        surfaces=tuple(plain(code) for code in offer.surfaces),
        by=_by(offer, names),
        made_on=offer.studio.day(offer.made_at),
        price_low=offer.price_low,
        price_high=offer.price_high,
        forecast=forecast_words(offer.basis),
        state=state + (" in part" if offer.latest_left else ""),
        steps=tuple(_step(step, names) for step in told),
        bars=tuple(bar.why for bar in bars) if steps.OFFERED in follows else (),
        can_tell=steps.OFFERED in follows and not bars,
        can_answer=bool(steps.answers_open_to(state)),
        can_withdraw=steps.WITHDRAWN in follows,
    )


def _by(offer: Any, names: _Names) -> str:
    who = names.members.get(offer.recommended_by)
    if who is not None:
        return who
    reason = offer.reason_code or (offer.due.reason_code if offer.due else "")
    return f"the rule: {reason_title(reason).lower()}" if reason else "the studio; no reason on record"


def _step(step: Any, names: _Names) -> StepRow:
    to = names.told.get(step.pk)
    words = str(step.get_kind_display())
    if step.verdict:
        words = f"{words}: {OfferVerdict(step.verdict).label}"
    return StepRow(
        on=names.studio.day(step.at),
        kind=step.kind,
        words=words + (" in part" if step.left else ""),
        channel=step.channel,
        why=step.why,
        until=step.until,
        price=(step.price_low, step.price_high) if step.price_low is not None else None,
        beside=tuple(option_title(way["task"]) for way in step.options if way["task"] != step.offer.task),
        taken=tuple(plain(code) for code in step.taken),
        left=tuple(plain(code) for code in step.left),
        shown_by=names.shown.get((step.about, step.about_id), "") if step.about else "",
        to_id=to[0] if to else None,
        to=to[1] if to else "",
    )


@dataclass(frozen=True, slots=True)
class _Names:
    """Words for what the rows only number, read at once."""

    studio: Studio
    members: Mapping[str, str]
    told: Mapping[int, tuple[int, str]]
    shown: Mapping[tuple[str, int | None], str]

    @classmethod
    def read(cls, studio: Studio, vehicle: Vehicle, told: Sequence[Any]) -> _Names:
        members = Member.objects.filter(studio=studio).select_related("user")
        said = OfferTold.objects.filter(step__offer__vehicle=vehicle, customer__isnull=False)
        people = said.values_list("step_id", "customer_id", "customer__name")
        return cls(
            studio=studio,
            members={f"member:{member.pk}": str(member) for member in members},
            told={step_id: (customer_id, name) for step_id, customer_id, name in people},
            shown=_shown(told),
        )


def _shown(told: Sequence[Any]) -> dict[tuple[str, int | None], str]:
    wanted: dict[str, set[int]] = defaultdict(set)
    for step in told:
        if step.about:
            wanted[step.about].add(step.about_id)
    found: dict[tuple[str, int | None], str] = {}
    for pk, on in Visit.objects.filter(pk__in=wanted["visit"]).values_list("pk", "on"):
        found["visit", pk] = f"visit of {on.isoformat()}"
    for pk, on in Inspection.objects.filter(pk__in=wanted["inspection"]).values_list("pk", "on"):
        found["inspection", pk] = f"inspection of {on.isoformat()}"
    for pk, kind, on in CareEvent.every.filter(pk__in=wanted["event"]).values_list("pk", "kind", "on"):
        found["event", pk] = f"{plain(kind)} of {on.isoformat()}"
    for pk, kind, on in Layer.objects.filter(pk__in=wanted["layer"]).values_list("pk", "kind", "applied"):
        found["layer", pk] = f"{plain(kind)} put on {on.isoformat()}"
    return found
