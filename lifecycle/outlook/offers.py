"""Verbs of advice: what was recommended, what was really offered, and what came of it. Steps are only ever added."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from datetime import date, datetime, timedelta
from typing import Any

from django.db import transaction
from django.db.models import Exists, OuterRef

from lifecycle import journal
from lifecycle.care.addresses import without_keepers
from lifecycle.care.find import one
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
from lifecycle.outlook import history, steps

SENT = (MessageState.ACCEPTED, MessageState.DELIVERED)
AHEAD = timedelta(days=92)  # advice is on record for what opens within about three months
Prices = Mapping[tuple[str, str], Price]


def _latest(offer: Offer) -> OfferStep:
    step: OfferStep | None = OfferStep.objects.filter(offer=offer).order_by("at", "id").last()
    if step is None:
        raise DomainError(f"Offer {offer.pk} has no first step; withdraw its care window and let it be made again.")
    return step


def _add(offer: Offer, kind: str, *, actor: str, at: datetime, **words: Any) -> OfferStep:
    """Add one step and journal it. `words` are channel, why, until. Steps are never changed, so that an erasure cannot
    reach them: they hold no name of the vehicle's keepers from the start."""
    if words.get("why"):
        words["why"] = without_keepers(words["why"], offer.vehicle_id)[:200]
    step: OfferStep = OfferStep.objects.create(studio=offer.studio, offer=offer, kind=kind, at=at, **words)
    journal.record(
        studio=offer.studio, actor=actor, at=at, verb=f"offer {OfferStepKind(kind).label}", subject="offer",
        subject_id=offer.pk, vehicle_id=offer.vehicle_id, task=offer.task,
    )  # fmt: skip
    return step


def _check_follows(offer: Offer, latest: OfferStep, kind: str, at: datetime) -> None:
    if at < latest.at:
        raise DomainError(f"at: the latest step is of {latest.at:%Y-%m-%d %H:%M}; give a later time.", field="at")
    if kind not in steps.FOLLOWS[latest.kind]:
        allowed = ", ".join(steps.FOLLOWS[latest.kind]) or "nothing; it is closed"
        raise DomainError(f"kind: after {latest.kind} may follow {allowed}, not {kind}.", field="kind")


def offer_made(*, studio: Studio, offer_id: int, channel: str = "in person", actor: str, at: datetime) -> OfferStep:
    """Record that somebody was really told of a recommendation, and how.

    Raises:
        NotFoundHere: no such offer in this studio.
        DomainError: the offer is closed, or the advice rests after two refusals.
    """
    with transaction.atomic():
        offer = one(Offer, studio, offer_id, lock=True)
        _check_follows(offer, _latest(offer), steps.OFFERED, at)
        rest = history.resting(studio, today=studio.day(at)).get((offer.vehicle_id, offer.task))
        if rest is not None:
            raise DomainError(rest.why)
        return _add(offer, steps.OFFERED, actor=actor, at=at, channel=channel)


def answer(
    *,
    studio: Studio,
    offer_id: int,
    kind: str,
    why: str = "",
    until: date | None = None,
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

    Raises:
        NotFoundHere: no such offer in this studio.
        DomainError: names the field, what is wrong with it and what would be right.
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
            latest = _add(offer, steps.OFFERED, actor=actor, at=at, channel=channel)
        _check_follows(offer, latest, kind, at)
        reason = why.strip() or ("not said" if kind == steps.DECLINED else "")
        return _add(offer, kind, actor=actor, at=at, why=reason, until=until, channel=channel)


def withdraw(*, studio: Studio, offer_id: int, why: str, actor: str, at: datetime) -> OfferStep:
    """Take advice back, with the reason.

    Raises:
        NotFoundHere: no such offer in this studio.
        DomainError: no reason, or the offer is closed.
    """
    if not why.strip():
        raise DomainError("why: say why the advice is taken back.", field="why")
    with transaction.atomic():
        offer = one(Offer, studio, offer_id, lock=True)
        _check_follows(offer, _latest(offer), steps.WITHDRAWN, at)
        return _add(offer, steps.WITHDRAWN, actor=actor, at=at, why=why.strip()[:200])


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
                    price_high=price.high, made_at=at,
                )
            )  # fmt: skip
    for offer in Offer.objects.bulk_create(offers):
        _add(offer, steps.RECOMMENDED, actor="cycle", at=at)
        counts["recommended"] += 1
    return counts


def _follow_up(studio: Studio, at: datetime) -> Counter[str]:
    """What became of the offers that are not closed: reminders went out, visits were booked, windows closed, or nobody
    said a word for too long."""
    counts: Counter[str] = Counter()
    moving = (*steps.OPEN, steps.ACCEPTED)
    offers = history.with_latest_step(
        Offer.objects.filter(studio=studio).select_related("due", "studio").order_by("id")
    ).filter(latest_kind__in=moving, latest_at__lte=at)
    told = _told_by_mail(studio)
    for offer in offers:
        for kind, words in _news(offer, told=offer.due_id in told, today=studio.day(at)):
            _add(offer, kind, actor="cycle", at=at, **words)
            counts[kind] += 1
    return counts


def _told_by_mail(studio: Studio) -> set[int]:
    """The live windows that a mail which was handed over tells of; one mail may tell of several."""
    written = Reminder.objects.filter(studio=studio, due__state__in=LIVE_DUE, state=ReminderState.WRITTEN).order_by()
    due_of = dict(written.values_list("pk", "due_id"))
    sent = Message.objects.filter(studio=studio, customer__in=written.values("customer"), state__in=SENT)
    told = {pk for message in sent.only("headers", "reminder_id") for pk in message.told_of()}
    return {due_of[pk] for pk in told & due_of.keys()}


def _news(offer: Any, *, told: bool, today: date) -> list[tuple[str, dict[str, str]]]:
    """The steps that an offer has earned since its latest one."""
    latest = offer.latest_kind
    state, closed = (offer.due.state, offer.due.closed_why[:200]) if offer.due else (DueState.OPEN, "")
    if state == DueState.DONE:
        return [(steps.DONE, {"why": closed or "the care was given"})]
    if state == DueState.WITHDRAWN:
        return [(steps.WITHDRAWN, {"why": closed or "no longer due"})]
    news: list[tuple[str, dict[str, str]]] = []
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
