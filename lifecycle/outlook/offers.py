"""Verbs of advice: what was recommended, what was really offered, and what came of it. Steps are only ever added."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef

from lifecycle import journal
from lifecycle.care.addresses import without_keepers
from lifecycle.care.find import one
from lifecycle.care.visit_changes import keeper_now
from lifecycle.errors import DomainError
from lifecycle.models import (
    LIVE_DUE,
    CareDue,
    DueState,
    Keeper,
    Message,
    MessageState,
    Offer,
    OfferStep,
    OfferStepKind,
    Price,
    Reminder,
    ReminderState,
    Studio,
)
from lifecycle.models.offer import OfferTold
from lifecycle.outlook import history, offer_bars, steps
from lifecycle.outlook.evidence import bases, evidence_of, shown_by

SENT = (MessageState.ACCEPTED, MessageState.DELIVERED)
AHEAD = timedelta(days=92)  # advice is on record for what opens within about three months
Prices = Mapping[tuple[str, str], Price]


def _latest(offer: Offer) -> OfferStep:
    step: OfferStep | None = OfferStep.objects.filter(offer=offer).order_by("at", "id").last()
    if step is None:
        raise DomainError(f"Offer {offer.pk} has no first step; withdraw its care window and let it be made again.")
    return step


def add_step(offer: Offer, kind: str, *, actor: str, at: datetime, to: int | None = None, **words: Any) -> OfferStep:
    """Add one step and journal it. `words` are the step's own fields. Steps are never changed, so that an erasure
    cannot reach them: they hold no name of the vehicle's keepers from the start, and to whom it was said (`to`, a
    customer) stands beside them."""
    if words.get("why"):
        words["why"] = without_keepers(words["why"], offer.vehicle_id)[:200]
    if kind == steps.OFFERED:
        words = _named(offer) | words
    step: OfferStep = OfferStep.objects.create(studio=offer.studio, offer=offer, kind=kind, at=at, **words)
    if kind == steps.OFFERED or kind in steps.ANSWERS:
        OfferTold.objects.create(studio=offer.studio, step=step, customer_id=to or keeper_now(offer.vehicle))
    journal.record(
        studio=offer.studio, actor=actor, at=at, verb=f"offer {OfferStepKind(kind).label}", subject="offer",
        subject_id=offer.pk, vehicle_id=offer.vehicle_id, task=offer.task,
    )  # fmt: skip
    return step


def _named(offer: Offer) -> dict[str, Any]:
    """What is named when it is offered: the price of today, and the other ways beside it."""
    ways = offer_bars.options_of(offer, offer_bars.price_list(offer.studio))
    return {
        "price_low": ways[-1].low,
        "price_high": ways[-1].high,
        "options": [{"task": way.task, "low": str(way.low), "high": str(way.high)} for way in ways],
    }


def _refuse_barred(offer: Offer, today: date, *, hard_only: bool = False) -> None:
    """The rules of honest sales: say why this is not offered, or, of the hard ones, not even taken on."""
    for bar in offer_bars.barred(offer.studio, [offer], today=today)[offer.pk]:
        if bar.hard or not hard_only:
            raise DomainError(bar.why)


def _check_follows(offer: Offer, latest: OfferStep, kind: str, at: datetime) -> None:
    if at < latest.at:
        raise DomainError(f"at: the latest step is of {latest.at:%Y-%m-%d %H:%M %Z}; give a later time.", field="at")
    if kind not in steps.FOLLOWS[latest.kind]:
        allowed = ", ".join(steps.FOLLOWS[latest.kind]) or "nothing; it is closed"
        raise DomainError(f"kind: after {latest.kind} may follow {allowed}, not {kind}.", field="kind")


def offer_made(*, studio: Studio, offer_id: int, channel: str = "in person", actor: str, at: datetime) -> OfferStep:
    """Record that somebody was really told of a recommendation, and how.

    Raises:
        NotFoundHere: no such offer in this studio.
        DomainError: the offer is closed, or a rule of honest sales bars it (`offer_rules`); it says which.
    """
    with transaction.atomic():
        offer = one(Offer, studio, offer_id, lock=True)
        _check_follows(offer, _latest(offer), steps.OFFERED, at)
        _refuse_barred(offer, studio.day(at))
        return add_step(offer, steps.OFFERED, actor=actor, at=at, channel=channel)


def answer(
    *,
    studio: Studio,
    offer_id: int,
    kind: str,
    why: str = "",
    until: date | None = None,
    left: Sequence[str] = (),
    channel: str = "in person",
    actor: str,
    at: datetime,
) -> OfferStep:
    """Record what a person said to an offer.

    Who answers was asked: an answer to a mere recommendation records the offer as its own step first.

    Args:
        kind: "accepted", "declined" or "deferred".
        why: the reason of a refusal in a few words (`steps.DECLINE_REASONS` or others); "not said" where it is empty.
        until: the day until which it is put off; needed for "deferred", refused otherwise.
        left: surfaces that are left as they are, where the offer is accepted in part.

    Raises:
        NotFoundHere: no such offer in this studio.
        DomainError: names the field, what is wrong with it and what would be right; or the care rules
            refuse what was accepted (over the clear-coat budget, clogged).
    """
    if kind not in steps.ANSWERS:
        raise DomainError(f"kind: {kind!r} is not an answer; use one of {', '.join(steps.ANSWERS)}.", field="kind")
    today = studio.day(at)
    if kind == steps.DEFERRED and (until is None or until <= today):
        raise DomainError(f"until: give a day after {today} until which it is put off.", field="until")
    if kind != steps.DEFERRED and until is not None:
        raise DomainError("until: only an answer that puts the offer off has a day.", field="until")
    if len(why) > 200:
        raise DomainError(f"why: {len(why)} characters are too many; 200 at most.", field="why")
    with transaction.atomic():
        offer = one(Offer, studio, offer_id, lock=True)
        latest = _latest(offer)
        if latest.kind == steps.RECOMMENDED:
            _check_follows(offer, latest, steps.OFFERED, at)
            latest = add_step(offer, steps.OFFERED, actor=actor, at=at, channel=channel)
        _check_follows(offer, latest, kind, at)
        reason = why.strip() or ("not said" if kind == steps.DECLINED else "")
        words: dict[str, Any] = {"why": reason, "until": until, "channel": channel}
        if kind == steps.ACCEPTED:
            _refuse_barred(offer, today, hard_only=True)
        if left:
            words |= _in_part(offer, kind, left)
        return add_step(offer, kind, actor=actor, at=at, **words)


def _in_part(offer: Offer, kind: str, left: Sequence[str]) -> dict[str, Any]:
    """What is to be done and what is left, of an offer that was accepted in part."""
    if kind != steps.ACCEPTED:
        raise DomainError("left: only an offer that is accepted leaves something out.", field="left")
    unknown = [code for code in left if code not in offer.surfaces]
    if unknown:
        raise DomainError(f"left: {', '.join(unknown)} is not part of this offer.", field="left")
    taken = [code for code in offer.surfaces if code not in left]
    if not taken:
        raise DomainError("left: nothing would be done; record a no or a later instead.", field="left")
    return {"taken": taken, "left": [code for code in offer.surfaces if code in left]}


def withdraw(*, studio: Studio, offer_id: int, why: str, evidence: str = "", actor: str, at: datetime) -> OfferStep:
    """Take advice back, with the reason and the new evidence.

    Args:
        evidence: what was seen since, "inspection:12" or another of `evidence.evidence_of`; "" where nothing was.

    Raises:
        NotFoundHere: no such offer in this studio.
        DomainError: no reason, no such evidence about this vehicle, or the offer is closed.
    """
    if not why.strip():
        raise DomainError("why: say why the advice is taken back.", field="why")
    with transaction.atomic():
        offer = one(Offer, studio, offer_id, lock=True)
        _check_follows(offer, _latest(offer), steps.WITHDRAWN, at)
        about: dict[str, Any] = {}
        if evidence:
            seen = next((row for row in evidence_of(offer) if row.key == evidence), None)
            if seen is None:
                raise DomainError("evidence: choose one of those seen since the advice was made.", field="evidence")
            about = {"about": seen.kind, "about_id": seen.id}
        return add_step(offer, steps.WITHDRAWN, actor=actor, at=at, why=why.strip()[:200], **about)


def recommend(*, at: datetime) -> Mapping[str, int]:
    """The cycle's step: an offer for each live care window with a price, and the fate of offers whose window closed.

    Running it again changes nothing. One studio is one transaction, so that two runs at once do not double.

    Returns:
        Counts: recommended, offered (the reminder with its price was handed to the provider), accepted (a visit is
        booked), done, expired (no answer for `steps.EXPIRES_AFTER_DAYS`), withdrawn, resting (refused twice, not
        offered now), no_price.
    """
    total: Counter[str] = Counter()
    for studio_id in Studio.objects.order_by("id").values_list("id", flat=True):
        with transaction.atomic():
            studio = Studio.objects.select_for_update().get(pk=studio_id)
            total.update(_recommend_new(studio, at))
            total.update(_follow_up(studio, at))
    return dict(total)


def _recommend_new(studio: Studio, at: datetime) -> Counter[str]:
    """Offers for live windows that have none yet and open within `AHEAD`; what is further off is an outlook."""
    counts: Counter[str] = Counter()
    prices: Prices = {(price.task, price.size): price for price in Price.objects.filter(studio=studio)}
    resting = history.resting(studio, today=studio.day(at))
    kept = Keeper.objects.filter(vehicle=OuterRef("vehicle"), end=None)
    dues = (
        CareDue.objects.filter(Exists(kept), studio=studio, state__in=LIVE_DUE, offers=None, vehicle__retired_on=None)
        .filter(earliest__lte=studio.day(at) + AHEAD)
        .select_related("vehicle")
        .order_by("id")
    )
    offers = []
    for due in dues:
        price = prices.get((due.task, due.vehicle.size))
        if price is None:
            counts["no_price"] += 1
        elif (due.vehicle_id, due.task) in resting and due.state == DueState.OPEN:
            counts["resting"] += 1
        else:
            offers.append(
                Offer(
                    studio=studio, vehicle=due.vehicle, due=due, task=due.task, price_low=price.low,
                    price_high=price.high, made_at=at, site_id=due.vehicle.site_id, surfaces=list(due.surfaces),
                    reason_code=due.reason_code,
                )
            )  # fmt: skip
    for offer, basis in zip(offers, bases(offers), strict=True):
        offer.basis = basis
    for offer in Offer.objects.bulk_create(offers):
        add_step(offer, steps.RECOMMENDED, actor="cycle", at=at)
        counts["recommended"] += 1
    return counts


def _follow_up(studio: Studio, at: datetime) -> Counter[str]:
    """What became of the offers that are not closed: reminders went out, visits were booked, windows closed, or nobody
    said a word for too long."""
    counts: Counter[str] = Counter()
    moving = (*steps.OPEN, steps.ACCEPTED)
    offers = history.with_latest_step(
        Offer.objects.filter(studio=studio).select_related("due", "studio", "vehicle").order_by("id")
    ).filter(latest_kind__in=moving, latest_at__lte=at)
    told = _told_by_mail(studio)
    for offer in offers:
        for kind, words in _news(offer, told=offer.due_id in told, today=studio.day(at)):
            shown = shown_by(offer) if kind == steps.DONE else {}  # the visit, layer or event behind it
            to = told.get(offer.due_id) if words.get("channel") == "mail" else None
            add_step(offer, kind, actor="cycle", at=at, to=to, **words, **shown)
            counts[kind] += 1
    return counts


def _told_by_mail(studio: Studio) -> dict[int, int]:
    """The live windows that a mail which was handed over tells of, and to whom; one mail may tell of several."""
    written = Reminder.objects.filter(studio=studio, due__state__in=LIVE_DUE, state=ReminderState.WRITTEN).order_by()
    due_of = {pk: (due_id, who) for pk, due_id, who in written.values_list("pk", "due_id", "customer_id")}
    sent = Message.objects.filter(studio=studio, customer__in=written.values("customer"), state__in=SENT)
    told = {pk for message in sent.only("headers", "reminder_id") for pk in message.told_of()}
    return dict(due_of[pk] for pk in told & due_of.keys())


def _news(offer: Any, *, told: bool, today: date) -> list[tuple[str, dict[str, Any]]]:
    """The steps that an offer has earned since its latest one."""
    latest = offer.latest_kind
    state, closed = (offer.due.state, offer.due.closed_why[:200]) if offer.due else (DueState.OPEN, "")
    if state == DueState.DONE:
        return [(steps.DONE, {"why": closed or "the care was given"})]
    if state == DueState.WITHDRAWN:
        return [(steps.WITHDRAWN, {"why": closed or "no longer due"})]
    if offer.due_id is None and latest == steps.ACCEPTED and shown_by(offer):
        return [(steps.DONE, {"why": "the care was given"})]
    news: list[tuple[str, dict[str, Any]]] = []
    if latest == steps.RECOMMENDED and told:
        news.append((steps.OFFERED, {"channel": "mail"}))
    if state == DueState.BOOKED and latest != steps.ACCEPTED:
        if latest == steps.RECOMMENDED and not told:
            news.append((steps.OFFERED, {"channel": "booking"}))
        news.append((steps.ACCEPTED, {"why": "a visit is booked", "channel": "booking"}))
    since = offer.studio.day(offer.latest_at)
    if not news and steps.unanswered(latest, since=since, until=offer.latest_until, today=today):
        news.append((steps.EXPIRED, {"why": f"no answer in {steps.EXPIRES_AFTER_DAYS} days"}))
    return news
