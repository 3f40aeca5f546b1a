"""What a customer does with visits: ask for one, choose an offered day, ask for another day, call it off."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Final

from django.db import transaction
from django.utils.translation import gettext as _

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.rules import TASKS
from lifecycle.care.visit_changes import (
    change,
    end_request,
    good_day,
    good_part,
    held,
    keeper_now,
    labour_h,
    must_be,
    release_proposal,
    windows_follow,
)
from lifecycle.care.visit_times import begins
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import (
    OPEN_VISITS,
    REQUESTS,
    ProposalState,
    Studio,
    Vehicle,
    Visit,
    VisitProposal,
    VisitState,
)

WISH_LENGTH: Final = 500
# One person keeps the desk's list readable: so many unanswered requests for one vehicle. Judgement.
MOST_REQUESTS: Final = 3


def ask(
    *, studio: Studio, vehicle_id: int, customer_id: int, on: date, part: str = "any", tasks: Sequence[str] = (),
    wish: str = "", proposal_id: int | None = None, actor: str, at: datetime,
) -> Visit:  # fmt: skip
    """Ask the studio for a visit. The care windows that it would cover count as asked for: nobody is reminded of them
    until the studio answers.

    Args:
        on: the day that suits.  part: any, morning or afternoon.
        wish: the customer's own words; needed where no task is named.
        proposal_id: the proposal that is accepted; the day must lie in its window, and its tasks hold.

    Raises:
        DomainError: names the field, what is wrong and what would be right.
        NotFoundHere: the vehicle is not this customer's, or the proposal not this vehicle's.
    """
    words = wish.strip()
    if len(words) > WISH_LENGTH:
        raise DomainError(_("wish: write at most %(most)d characters.") % {"most": WISH_LENGTH}, field="wish")
    good_part("part", part)
    with transaction.atomic():
        vehicle = one(Vehicle, studio, vehicle_id, lock=True)
        if keeper_now(vehicle) != customer_id or vehicle.retired_on is not None:
            raise NotFoundHere(f"There is no vehicle {vehicle_id} of this customer.")
        good_day("on", on, studio.day(at))
        proposal = _standing(vehicle, proposal_id, on) if proposal_id is not None else None
        wanted = list(proposal.tasks) if proposal is not None else list(tasks)
        _worth_asking(vehicle, wanted, words)
        hours = (proposal.labour_h if proposal is not None else labour_h(vehicle, wanted)) or 1.0
        visit: Visit = Visit.objects.create(
            studio=studio, vehicle=vehicle, site=vehicle.site, customer_id=customer_id, proposal=proposal, on=on,
            part=part, hours=hours, tasks=wanted, wish=words, state=VisitState.ASKED, booked_at=at, changed_at=at,
        )  # fmt: skip
        if proposal is not None:
            proposal.state = ProposalState.ACCEPTED
            proposal.save(update_fields=["state"])
        windows_follow(vehicle)
        journal.record(
            studio=studio, actor=actor, at=at, verb="visit asked for", subject="visit", subject_id=visit.pk,
            vehicle_id=vehicle.pk, on=on, tasks=wanted,
        )  # fmt: skip
    return visit


def _standing(vehicle: Vehicle, proposal_id: int, on: date) -> VisitProposal:
    proposal: VisitProposal | None = VisitProposal.objects.filter(vehicle=vehicle, pk=proposal_id).first()
    if proposal is None:
        raise NotFoundHere(f"There is no proposal {proposal_id} for this vehicle.")
    if proposal.state != ProposalState.PROPOSED:
        raise DomainError(_("This proposal no longer stands; look at what is due now."))
    if not proposal.earliest <= on <= proposal.latest:
        told = {"first": proposal.earliest, "last": proposal.latest}
        raise DomainError(_("on: choose a day from %(first)s to %(last)s.") % told, field="on")
    return proposal


def _worth_asking(vehicle: Vehicle, tasks: Sequence[str], words: str) -> None:
    unknown = [task for task in tasks if task not in TASKS]
    if unknown:
        raise DomainError(_("tasks: %(what)s is not known here.") % {"what": ", ".join(unknown)}, field="tasks")
    if not tasks and not words:
        raise DomainError(_("wish: tick what it is about, or say it in your own words."), field="wish")
    standing = list(Visit.objects.filter(vehicle=vehicle, state__in=OPEN_VISITS))
    for visit in standing:
        twice = [TASKS[task].title for task in tasks if task in visit.tasks]
        if twice or (not tasks and visit.state == VisitState.ASKED and visit.wish == words):
            told = {"what": ", ".join(twice) or words[:60], "day": visit.on}
            raise DomainError(_("You have already asked for %(what)s, or it is booked, for %(day)s.") % told)
    if sum(visit.state in REQUESTS for visit in standing) >= MOST_REQUESTS:
        raise DomainError(_("Some requests for this vehicle wait for an answer; please wait for it, or phone."))


def _mine(studio: Studio, visit_id: int, customer_id: int) -> Visit:
    visit = held(studio, visit_id)
    if visit.customer_id not in (None, customer_id) or keeper_now(visit.vehicle) != customer_id:
        raise NotFoundHere(f"There is no visit {visit_id} of this customer.")
    return visit


def notice_ends(visit: Visit) -> datetime:
    """Until when the customer may still move or cancel a booked visit on their own page."""
    start = begins(visit.on, visit.starts, visit.part, visit.site.zone)
    return start - timedelta(hours=visit.studio.visit_notice_h)


def _in_time(visit: Visit, at: datetime) -> None:
    if visit.state == VisitState.BOOKED and at > notice_ends(visit):
        phone = visit.studio.phone
        told = {"hours": visit.studio.visit_notice_h, "phone": f" {phone}" if phone else ""}
        said = _("It is less than %(hours)d hours until the visit; please phone the studio.%(phone)s")
        raise DomainError(said % told)


def choose_day(
    *, studio: Studio, visit_id: int, customer_id: int, offer: str, seen: int | None = None, actor: str, at: datetime
) -> Visit:
    """Choose one of the days that the studio has offered; the visit is booked with it.

    Args:
        offer: one of the visit's offers, like "2026-05-04T09:00", the clock at the site.
        seen: the sequence that the person saw.

    Raises:
        DomainError: no longer offered, or in the past.  NotFoundHere: not this customer's.
    """
    with transaction.atomic():
        visit = _mine(studio, visit_id, customer_id)
        must_be(visit, (VisitState.OFFERED,), seen=seen)
        if offer not in visit.offered:
            raise DomainError(_("offer: choose one of the days that the studio offers."), field="offer")
        moment = datetime.fromisoformat(offer)
        good_day("offer", moment.date(), studio.day(at))
        change(
            visit, actor=actor, at=at, verb="offered day chosen", state=VisitState.BOOKED, on=moment.date(),
            starts=time(moment.hour, moment.minute), offered=[], booked_at=at, customer_id=customer_id,
        )  # fmt: skip
        windows_follow(visit.vehicle)
    return visit


def ask_for_day(
    *, studio: Studio, visit_id: int, customer_id: int, on: date, part: str = "any", seen: int | None = None,
    actor: str, at: datetime,
) -> Visit:  # fmt: skip
    """Ask for another day. A request moves at once; a booked day holds until the studio has answered.

    Raises:
        DomainError: over, too late, or no day to come.  NotFoundHere: not this customer's.
    """
    good_part("part", part)
    with transaction.atomic():
        visit = _mine(studio, visit_id, customer_id)
        must_be(visit, OPEN_VISITS, seen=seen)
        _in_time(visit, at)
        good_day("on", on, studio.day(at))
        if visit.state == VisitState.BOOKED:
            if on == visit.on and part == visit.part:
                raise DomainError(_("on: the visit is on that day already."), field="on")
            change(
                visit, actor=actor, at=at, verb="another day asked for", wanted_on=on, wanted_part=part,
                data={"wanted": on}, customer_id=customer_id,
            )  # fmt: skip
        else:
            change(
                visit, actor=actor, at=at, verb="another day asked for", state=VisitState.ASKED, on=on, part=part,
                starts=None, offered=[],
            )  # fmt: skip
    return visit


def call_off(
    *, studio: Studio, visit_id: int, customer_id: int, seen: int | None = None, actor: str, at: datetime
) -> Visit:
    """Cancel one's own visit or request; its care windows open again.

    Raises:
        DomainError: over, or later than the studio's notice.  NotFoundHere: not this customer's.
    """
    with transaction.atomic():
        visit = _mine(studio, visit_id, customer_id)
        must_be(visit, OPEN_VISITS, seen=seen)
        _in_time(visit, at)
        if visit.state in REQUESTS:
            end_request(visit, VisitState.CANCELLED, actor=actor, at=at, verb="visit request withdrawn")
        else:
            change(
                visit, actor=actor, at=at, verb="visit cancelled", state=VisitState.CANCELLED, settled_at=at,
                wanted_on=None, wish="",
            )  # fmt: skip
            release_proposal(visit)
            windows_follow(visit.vehicle)
        Vehicle.objects.filter(pk=visit.vehicle_id).update(assess_again=True)
    return visit
