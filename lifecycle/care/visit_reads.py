"""Visits to read: a customer's own, the desk's requests, and what stands in a calendar."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from decimal import Decimal
from typing import Any, Final

from django.db.models import Prefetch, Q
from django.utils.translation import gettext

from lifecycle.care.asking import notice_ends
from lifecycle.care.find import one
from lifecycle.care.rules import TASKS
from lifecycle.care.visit_changes import of_customers
from lifecycle.errors import NotFoundHere
from lifecycle.models import OPEN_VISITS, REQUESTS, CareDue, DueState, Keeper, Price, Studio, Vehicle, Visit, VisitState
from lifecycle.models import VisitProposal as Proposal

MOST: Final = 200
Range = tuple[Decimal, Decimal] | None


@dataclass(frozen=True, slots=True)
class VisitView:
    """One visit with what its pages say. `may_change`: the customer may still move or cancel it here. `starts` and the
    offers are by the clock at the site, whose zone is `zone`. `price` is None where the list has not all of it."""

    id: int
    sequence: int
    studio: str
    phone: str
    vehicle_id: int
    vehicle: str
    plate: str
    customer_id: int | None
    keeper: str
    site: str
    zone: str
    on: date
    starts: time | None
    part: str
    hours: float
    tasks: tuple[str, ...]
    task_codes: tuple[str, ...]
    state: str
    state_words: str
    wish: str
    reason: str
    offers: tuple[datetime, ...]
    wanted_on: date | None
    wanted_part: str
    may_change: bool
    changed_at: datetime
    currency: str
    price: Range
    notice_h: int


@dataclass(frozen=True, slots=True)
class AskChoices:
    """What a customer can ask for one vehicle: (code, title) of tasks that are due, and the proposal, if any.
    `suggested`: a day on which the site has room for it, else the ideal one."""

    vehicle_id: int
    vehicle: str
    plate: str
    studio: Studio
    customer_id: int
    tasks: tuple[tuple[str, str], ...]
    proposal_id: int | None
    first: date
    last: date | None
    suggested: date | None
    currency: str
    price: Range


def _rows() -> Any:
    keepers = Keeper.objects.filter(end=None).select_related("customer")
    return Visit.objects.select_related("studio", "site", "vehicle").prefetch_related(
        Prefetch("vehicle__keepers", queryset=keepers, to_attr="keepers_now")
    )


def _views(rows: Sequence[Visit], *, at: datetime, customer_ids: Sequence[int] = ()) -> tuple[VisitView, ...]:
    studios = {row.studio_id for row in rows}
    listed = {
        (price.studio_id, price.task, price.size): (price.low, price.high)
        for price in Price.objects.filter(studio__in=studios)
    }
    return tuple(_view(row, listed, at, customer_ids) for row in rows)


def _price(listed: dict[tuple[int, str, str], Any], studio: int, tasks: Sequence[str], size: str) -> Range:
    each = [listed.get((studio, task, size)) for task in tasks]
    if not each or any(one is None for one in each):
        return None
    known = [one for one in each if one is not None]
    return sum((low for low, _ in known), Decimal(0)), sum((high for _, high in known), Decimal(0))


def _view(row: Visit, listed: dict[tuple[int, str, str], Any], at: datetime, customer_ids: Sequence[int]) -> VisitView:
    keepers: list[Keeper] = getattr(row.vehicle, "keepers_now")  # noqa: B009
    keeper = next(iter(keepers), None)
    mine = keeper is not None and keeper.customer_id in customer_ids
    open_still = row.state in REQUESTS or (row.state == VisitState.BOOKED and at <= notice_ends(row))
    return VisitView(
        id=row.pk, sequence=row.sequence, studio=row.studio.name, phone=row.studio.phone, vehicle_id=row.vehicle_id,
        vehicle=row.vehicle.description, plate=row.vehicle.plate, site=row.site.name, zone=row.site.zone,
        customer_id=keeper.customer_id if keeper else None, keeper=keeper.customer.name if keeper else "",
        on=row.on, starts=row.starts, part=row.part, hours=row.hours,
        tasks=tuple(gettext(TASKS[task].title) if task in TASKS else task for task in row.tasks),
        task_codes=tuple(row.tasks),
        state=row.state, state_words=row.get_state_display(), wish=row.wish, reason=row.reason,
        offers=tuple(datetime.fromisoformat(text) for text in row.offered), wanted_on=row.wanted_on,
        wanted_part=row.wanted_part, may_change=mine and open_still, changed_at=row.changed_at or row.booked_at,
        currency=row.studio.currency, notice_h=row.studio.visit_notice_h,
        price=_price(listed, row.studio_id, row.tasks, row.vehicle.size),
    )  # fmt: skip


def visits_of_customer(customer_ids: Sequence[int], *, at: datetime) -> tuple[VisitView, ...]:
    """The visits of a person, latest day first, at most `MOST`, in a constant number of queries."""
    rows = _rows().filter(of_customers(customer_ids)).order_by("-on", "-id")[:MOST]
    return _views(list(rows), at=at, customer_ids=customer_ids)


def visit_of_customer(customer_ids: Sequence[int], visit_id: int, *, at: datetime) -> VisitView:
    """One visit of a person.

    Raises:
        NotFoundHere: it is not theirs.
    """
    row = _rows().filter(of_customers(customer_ids), pk=visit_id).first()
    if row is None:
        raise NotFoundHere(f"There is no visit {visit_id} of this customer.")
    return _views([row], at=at, customer_ids=customer_ids)[0]


def studio_of_visit(customer_ids: Sequence[int], visit_id: int) -> Studio:
    """The studio of a visit of a person.

    Raises:
        NotFoundHere: it is not theirs.
    """
    row = Visit.objects.filter(of_customers(customer_ids), pk=visit_id).select_related("studio").first()
    if row is None:
        raise NotFoundHere(f"There is no visit {visit_id} of this customer.")
    studio: Studio = row.studio
    return studio


def ask_choices(customer_ids: Sequence[int], vehicle_id: int, *, proposal_id: int | None, at: datetime) -> AskChoices:
    """What a customer can ask for one vehicle that they keep now; the earliest day is the studio's today.

    Raises:
        NotFoundHere: they do not keep it, or the proposal is not of this vehicle or no longer stands.
    """
    kept = Keeper.objects.filter(end=None, vehicle_id=vehicle_id, customer_id__in=list(customer_ids))
    keeper = kept.filter(vehicle__retired_on=None).select_related("vehicle__studio").first()
    if keeper is None:
        raise NotFoundHere(f"There is no vehicle {vehicle_id} of this customer.")
    vehicle: Vehicle = keeper.vehicle
    today = vehicle.studio.day(at)
    proposal = None
    if proposal_id is not None:
        proposal = Proposal.objects.filter(vehicle=vehicle, pk=proposal_id, state="proposed").first()
        if proposal is None:
            raise NotFoundHere(f"There is no proposal {proposal_id} for this vehicle.")
    due = CareDue.objects.filter(vehicle=vehicle, state=DueState.OPEN).order_by("ideal", "id")
    codes = proposal.tasks if proposal is not None else list(due.values_list("task", flat=True))
    listed = {
        (price.studio_id, price.task, price.size): (price.low, price.high)
        for price in Price.objects.filter(studio=vehicle.studio, size=vehicle.size)
    }
    return AskChoices(
        vehicle_id=vehicle.pk, vehicle=vehicle.description, plate=vehicle.plate, studio=vehicle.studio,
        customer_id=keeper.customer_id,
        tasks=tuple((code, gettext(TASKS[code].title)) for code in codes if code in TASKS),
        proposal_id=proposal.pk if proposal else None, first=max(today, proposal.earliest) if proposal else today,
        last=proposal.latest if proposal else None,
        suggested=max(today, proposal.planned_on or proposal.ideal) if proposal else None,
        currency=vehicle.studio.currency,
        price=_price(listed, vehicle.studio_id, codes, vehicle.size) if proposal is not None else None,
    )  # fmt: skip


def requests(studio: Studio, *, at: datetime) -> tuple[VisitView, ...]:
    """What waits for the desk: requests, and booked visits whose customer asks for another day; oldest change first."""
    waiting = Q(state=VisitState.ASKED) | Q(state=VisitState.BOOKED, wanted_on__isnull=False)
    rows = _rows().filter(waiting, studio=studio).order_by("changed_at", "id")[:MOST]
    return _views(list(rows), at=at)


def offered(studio: Studio, *, at: datetime) -> tuple[VisitView, ...]:
    """Requests that wait for the customer to choose a day."""
    return _views(list(_rows().filter(studio=studio, state=VisitState.OFFERED).order_by("changed_at")[:MOST]), at=at)


def visit_of_studio(studio: Studio, visit_id: int, *, at: datetime) -> VisitView:
    """One visit of a studio that is not over.

    Raises:
        NotFoundHere: none here.
    """
    one(Visit, studio, visit_id)
    row = _rows().filter(studio=studio, pk=visit_id, state__in=OPEN_VISITS).first()
    if row is None:
        raise NotFoundHere(f"The visit {visit_id} is over.")
    return _views([row], at=at)[0]


def in_calendar(of: Q, *, at: datetime) -> tuple[VisitView, ...]:
    """Visits that a calendar shows: of the last 90 days and to come; what was called off stays for 60 days after."""
    back, gone = at.date() - timedelta(days=90), at - timedelta(days=60)
    over = (VisitState.CANCELLED, VisitState.DECLINED, VisitState.NO_SHOW)
    rows = _rows().filter(of, on__gte=back).exclude(state__in=over, changed_at__lt=gone).exclude(
        state__in=over, changed_at=None
    ).order_by("on", "id")[: 5 * MOST]  # fmt: skip
    return _views(list(rows), at=at)


def vehicles_to_ask_for(customer_ids: Sequence[int]) -> tuple[tuple[int, str, str], ...]:
    """Id, description and plate of the vehicles that these customers keep now, at most `MOST`."""
    kept = Keeper.objects.filter(end=None, customer_id__in=list(customer_ids), vehicle__retired_on=None)
    rows = kept.order_by("vehicle__plate").values_list("vehicle_id", "vehicle__description", "vehicle__plate")[:MOST]
    return tuple((pk, description, plate) for pk, description, plate in rows)
