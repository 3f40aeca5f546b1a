"""What a customer's pages read beside one vehicle: the vehicles they keep, and what they have consented to."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime

from django.db.models import Prefetch, Q

from lifecycle.care.rules import TASKS
from lifecycle.care.sentence import SurfaceState, next_care, sentence, state_of
from lifecycle.care.vehicle_view import LayerView, SurfaceView
from lifecycle.models import (
    LIVE_DUE,
    Assessment,
    CareDue,
    Consent,
    Customer,
    Forecast,
    Keeper,
    Layer,
    Purpose,
    Surface,
    Vehicle,
    Visit,
    VisitState,
)

MOST_VEHICLES = 300


@dataclass(frozen=True, slots=True)
class VehicleLine:
    """One vehicle in the list of those that a customer keeps."""

    id: int
    plate: str
    description: str
    studio: str
    sentence: str


@dataclass(frozen=True, slots=True)
class ChoiceLine:
    """The consent of one purpose at one studio. `given` None: never asked."""

    customer_id: int
    studio: str
    purpose: str
    given: bool | None
    at: datetime | None
    wording: str


def zone_of(customer_ids: Iterable[int]) -> str:
    """The time zone of the person behind these customers; UTC where nobody has said."""
    zone: str | None = Customer.objects.filter(pk__in=list(customer_ids)).values_list("zone", flat=True).first()
    return zone or "UTC"


def language_of(user_id: int) -> str:
    """The language of the person behind a user; English where nobody has said."""
    mine = Customer.objects.filter(user=user_id).order_by("id")
    language: str | None = mine.values_list("language", flat=True).first()
    return language or "en"


def kept_ids(customer_ids: Iterable[int]) -> tuple[int, ...]:
    """Ids of the vehicles that these customers keep now, at most `MOST_VEHICLES`."""
    kept = Keeper.objects.filter(end=None, customer_id__in=list(customer_ids), vehicle__retired_on=None)
    return tuple(kept.order_by("vehicle_id").values_list("vehicle_id", flat=True)[:MOST_VEHICLES])


def kept_rows(customer_ids: Iterable[int], today: date) -> tuple[Vehicle, ...]:
    """The vehicles that these customers keep now, by plate, with all that a line about each needs."""
    live = Q(ended=None) | Q(ended__gt=today)
    vehicles = (
        Vehicle.objects.filter(pk__in=kept_ids(customer_ids))
        .select_related("studio", "site")
        .prefetch_related(
            Prefetch("surfaces", Surface.objects.filter(removed_on=None).order_by("id").prefetch_related(
                Prefetch("layers", Layer.objects.filter(live).order_by("applied", "id")))),
            Prefetch("dues", CareDue.objects.filter(state__in=LIVE_DUE).order_by("ideal", "id")),
            Prefetch("visits", Visit.objects.filter(state=VisitState.BOOKED, on__gte=today).order_by("on", "id")),
            Prefetch("assessments", Assessment.objects.filter(latest=True).defer("whole", "inputs")),
        )
        .order_by("plate", "id")
    )  # fmt: skip
    return tuple(vehicles)


def stages_of(vehicles: Iterable[Vehicle]) -> dict[int, str]:
    """The stage of each layer of these vehicles by the latest forecast."""
    rows = Forecast.objects.filter(assessment__vehicle__in=list(vehicles), assessment__latest=True)
    return dict(rows.values_list("layer_id", "stage"))


def vehicle_lines(*, customer_ids: Iterable[int], today: date) -> tuple[VehicleLine, ...]:
    """The vehicles that these customers keep now, by plate, each with its sentence, in a constant number of queries."""
    vehicles = kept_rows(customer_ids, today)
    stages = stages_of(vehicles)
    return tuple(
        VehicleLine(
            id=vehicle.pk,
            plate=vehicle.plate,
            description=vehicle.description,
            studio=vehicle.studio.name,
            sentence=sentence_of(vehicle, stages, today),
        )
        for vehicle in vehicles
    )


def next_due_of(vehicle: Vehicle) -> tuple[CareDue, str] | None:
    """What of a vehicle of `kept_rows` is due next and not booked, with its title; None for nothing."""
    booked_tasks = {task for visit in vehicle.visits.all() for task in visit.tasks}
    open_dues = [due for due in vehicle.dues.all() if due.task not in booked_tasks]
    first = min(open_dues, key=lambda due: (due.reason_code != "event", due.ideal, due.pk), default=None)
    return None if first is None else (first, TASKS[first.task].title)


def sentence_of(vehicle: Vehicle, stages: dict[int, str], today: date) -> str:
    """One sentence about a vehicle of `kept_rows`."""
    told: dict[str, dict[str, object]] = next((row.surfaces for row in vehicle.assessments.all()), {})
    states = [
        _state(surface, stages, clogged=bool(told.get(surface.code, {}).get("clogged")))
        for surface in vehicle.surfaces.all()
    ]
    visits = list(vehicle.visits.all())
    due = next_due_of(vehicle)
    care = None
    if due is not None:
        first, title = due
        care = next_care(title, first.reason_code, first.earliest, first.latest, first.contract_on)
    return sentence(states, care, booked_on=visits[0].on if visits else None, today=today)


def _state(surface: Surface, stages: dict[int, str], *, clogged: bool) -> SurfaceState:
    layers = tuple(
        LayerView(id=row.pk, kind=row.kind, product="", applied=row.applied, coats=row.coats, thickness_um=None,
                  thickness_mark="", stage=stages.get(row.pk, "unknown"))
        for row in surface.layers.all()
    )  # fmt: skip
    return state_of(
        SurfaceView(
            id=surface.pk, code=surface.code, orientation=surface.orientation, substrate=surface.substrate,
            finish=surface.finish, refinished_on=surface.refinished_on, layers=layers, clogged=clogged,
        )
    )  # fmt: skip


def choices(customer_ids: Iterable[int]) -> tuple[ChoiceLine, ...]:
    """The latest statement of each purpose at each studio of these customers, in a constant number of queries."""
    customers = (
        Customer.objects.filter(pk__in=list(customer_ids))
        .select_related("studio")
        .prefetch_related(Prefetch("consents", Consent.objects.order_by("at", "id")))
        .order_by("id")
    )
    lines = []
    for customer in customers:
        latest = {row.purpose: row for row in customer.consents.all()}
        for purpose in Purpose.values:
            row = latest.get(purpose)
            lines.append(
                ChoiceLine(
                    customer_id=customer.pk,
                    studio=customer.studio.name,
                    purpose=purpose,
                    given=row.given if row is not None else None,
                    at=row.at if row is not None else None,
                    wording=row.wording if row is not None else "",
                )
            )
    return tuple(lines)


def studio_of_customer(customer_id: int) -> Customer:
    """The customer row with its studio, for a verb that needs the studio.

    Raises:
        Customer.DoesNotExist: no such customer.
    """
    customer: Customer = Customer.objects.select_related("studio").get(pk=customer_id)
    return customer
