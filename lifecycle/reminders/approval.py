"""What the owner sees before it goes out: the first mail in new words, mails that name a price, many mails at once.

Such a message is written and frozen like any other, and waits. Approved, it is looked at again just before it is
handed over, as every message is. Refused, it is stopped with the reason. `SEES` says for every kind of mail what the
owner sees first: what the cycle writes by itself, and many mails at once. A mail that one person's deed sends to one
person goes at once: somebody stands behind it, and waits for it.
"""

from __future__ import annotations

import uuid
from collections import Counter, defaultdict
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final

from django.db import transaction
from django.db.models import QuerySet

from lifecycle import journal
from lifecycle.errors import DomainError
from lifecycle.models import Member, Message, MessageState, Reminder, Studio, WordsApproval
from lifecycle.reminders import wordings
from lifecycle.reminders.render import Rendered

FIRST, PRICE, BATCH = "first_send", "price", "batch"
REASONS: Final[Mapping[str, str]] = {
    FIRST: "nobody has approved a mail in these words yet",
    PRICE: "it names a price",
    BATCH: "more than 20 mails in one run",
}


@dataclass(frozen=True, slots=True)
class Sees:
    """What the owner sees first of a kind of mail, as far as the studio asks for it, and why.

    Attributes:
        made_in: the module that writes it, from the root of the project.
    """

    first: bool
    prices: bool
    batches: bool
    why: str
    made_in: str


_ALL, _NOTHING, _MANY = (True, True, True), (False, False, False), (False, False, True)
_LETTERS: Final = "lifecycle/reminders/letters.py"
_ASKED_FOR: Final = "lifecycle/reminders/asked_for.py"
_DESK: Final = "a member answers one customer, and sees the words on the page"
SEES: Final[Mapping[str, Sees]] = {
    "service": Sees(*_ALL, "the cycle writes it by itself", _LETTERS),
    "promotion": Sees(*_ALL, "the cycle writes it by itself", _LETTERS),
    "visit_moved": Sees(*_MANY, f"{_DESK}; after a closure one press may move very many", _ASKED_FOR),
    "visit_confirmed": Sees(*_NOTHING, _DESK, _ASKED_FOR),
    "visit_offered": Sees(*_NOTHING, _DESK, _ASKED_FOR),
    "visit_declined": Sees(*_NOTHING, _DESK, _ASKED_FOR),
    "visit_kept": Sees(*_NOTHING, _DESK, _ASKED_FOR),
    "visit_cancelled": Sees(*_NOTHING, _DESK, _ASKED_FOR),
    "report": Sees(*_NOTHING, "the customer has just signed for this copy", _ASKED_FOR),
    "addendum": Sees(*_NOTHING, "a member adds it to a report that the customer signed", _ASKED_FOR),
    "handover": Sees(*_NOTHING, "the present keeper asks for it, to one new keeper", _ASKED_FOR),
    "sign_in": Sees(
        *_NOTHING, "whoever signs in asks for the code, and it lives for minutes", "portal/access/adapter.py"
    ),
    "door": Sees(*_NOTHING, "somebody who types an address at the door asks for the link", "portal/access/door.py"),
    "invitation": Sees(*_NOTHING, "an owner lets one member in", "portal/access/invitation.py"),
    "trial": Sees(*_NOTHING, "a member sends it to their own address to see it", "lifecycle/reminders/trials.py"),
    "monthly": Sees(*_NOTHING, "it goes to the owners alone", "lifecycle/monthly/post.py"),
}

# Design of the house: a run of more messages than this is seen first.
MOST_UNSEEN: Final = 20
LONGEST_WHY: Final = 200


def words_of(reasons: Sequence[str]) -> str:
    """Why a message waits, in a sentence; "" where it does not."""
    said = "; ".join(REASONS.get(code, code) for code in reasons)
    return f"Waits for the owner: {said}." if said else ""


@dataclass(frozen=True, slots=True)
class Gate:
    """What is to be seen first in one run. `large`: studios that more than 20 messages are about to be written for."""

    approved: frozenset[tuple[int, str]]
    batch: uuid.UUID
    large: frozenset[int] = field(default_factory=frozenset)

    def needs(self, studio: Studio, rendered: Rendered, *, kind: str, only_words: bool = False) -> list[str]:
        """Why the owner is to see this mail first; empty: it may go.

        Args:
            kind: of mail, as in `SEES`.
            only_words: price and number were seen already; only the words are new.
        """
        found, sees = [], SEES[kind]
        if sees.first and studio.approve_first and (studio.pk, rendered.words) not in self.approved:
            found.append(FIRST)
        if not only_words and sees.prices and studio.approve_prices and rendered.names_price:
            found.append(PRICE)
        if not only_words and sees.batches and studio.approve_batches and studio.pk in self.large:
            found.append(BATCH)
        return found


def gate(studios: Collection[int], *, large: Collection[int] = ()) -> Gate:
    """What these studios have approved, in one query."""
    rows = WordsApproval.objects.filter(studio__in=list(studios)).values_list("studio_id", "words")
    return Gate(approved=frozenset(rows), batch=uuid.uuid4(), large=frozenset(large))


def gate_for_run(ready: QuerySet[Reminder]) -> Gate:
    """The gate of one run over these planned reminders: one message a person and purpose at most; two queries."""
    pairs = ready.order_by().values_list("studio_id", "customer_id", "purpose").distinct()
    number = Counter(studio_id for studio_id, _, _ in pairs)
    return gate(list(number), large=[studio_id for studio_id, most in number.items() if most > MOST_UNSEEN])


def release_small_batches(gate: Gate, *, at: datetime) -> None:
    """Where the rules held so many back that no more than 20 were written, the number is no reason to wait."""
    for studio_id in gate.large:
        release_small_batch(studio_id, gate.batch, at=at)


def release_small_batch(studio_id: int, batch: uuid.UUID, *, at: datetime) -> bool:
    """The same of one run. True: no more than 20 were written."""
    rows = Message.objects.filter(studio=studio_id, batch=batch)
    small = bool(rows.count() <= MOST_UNSEEN)
    if small:
        for message in rows.filter(state=MessageState.WAITING).select_related("studio"):
            _lift(message, BATCH, at)
    return small


def batch_of(studio: Studio, kind: str, number: int, *, actor: str) -> uuid.UUID | None:
    """The run of so many mails by one press, if the owner is to see it first; None where they may go. An owner who
    presses has seen it."""
    if not (SEES[kind].batches and studio.approve_batches and number > MOST_UNSEEN):
        return None
    who, _, key = actor.partition(":")
    mine = Member.objects.of(studio).filter(ended_at=None, role="owner")
    pressed = who == "member" and key.isdecimal() and mine.filter(pk=int(key)).exists()
    return None if pressed else uuid.uuid4()


def held(batch: uuid.UUID) -> dict[str, Any]:
    """The fields of a message that waits as one of a run."""
    return {
        "state": MessageState.WAITING, "approval_for": [BATCH], "batch": batch, "error": words_of([BATCH]),
    }  # fmt: skip


def _lift(message: Message, reason: str, at: datetime) -> bool:
    """Take one reason off a message that waits; without any left it is ready. True: it is."""
    left = [code for code in message.approval_for if code != reason]
    state = MessageState.WAITING if left else MessageState.READY
    changed = Message.objects.filter(pk=message.pk, state=MessageState.WAITING).update(
        approval_for=left, state=state, error=words_of(left), state_at=at
    )
    return bool(changed and not left)


def _owner(studio: Studio, member_id: int) -> Member:
    member: Member | None = Member.objects.of(studio).filter(pk=member_id, ended_at=None, role="owner").first()
    if member is None:
        raise DomainError("Only an owner of this studio approves mails.")
    return member


def _chosen(studio: Studio, message_ids: Collection[int]) -> list[Message]:
    if not message_ids:
        raise DomainError("Nothing was chosen; tick the mails that are meant. Nothing was sent.", field="message")
    rows = Message.objects.of(studio).filter(pk__in=list(message_ids), state=MessageState.WAITING)
    found = list(rows.select_related("studio").order_by("pk"))
    if not found:
        raise DomainError("None of these mails waits any more. Load the page again.", field="message")
    return found


def approve(
    *, studio: Studio, message_ids: Collection[int], member_id: int, actor: str, at: datetime
) -> Mapping[str, int]:
    """Let messages go that wait. Their words need no look any more, so others that wait for that alone go too.

    Returns:
        Counts: approved, and released (others in the same words).

    Raises:
        DomainError: nothing chosen, none of them waits any more, or not an owner.
    """
    with transaction.atomic():
        member = _owner(studio, member_id)
        counts = Counter(approved=0, released=0)
        for message in _chosen(studio, message_ids):
            ready = {"state": MessageState.READY, "state_at": at, "approval_for": [], "error": "", "next_try_at": None}
            if not Message.objects.filter(pk=message.pk, state=MessageState.WAITING).update(**ready):
                continue
            counts["approved"] += 1
            journal.record(
                studio=studio, actor=actor, at=at, verb="message approved", subject="message", subject_id=message.pk,
                uid=str(message.uid), seen_for=message.approval_for,
            )  # fmt: skip
            if FIRST in message.approval_for:
                counts["released"] += _words_seen(studio, message.words, member, actor=actor, at=at)
    return dict(counts)


def _words_seen(studio: Studio, words: str, member: Member, *, actor: str, at: datetime) -> int:
    """Put on record that mails in these words were approved; returns how many messages went on by that alone."""
    _, fresh = WordsApproval.objects.get_or_create(studio=studio, words=words, defaults={"by": member, "at": at})
    if not fresh:
        return 0
    journal.record(
        studio=studio, actor=actor, at=at, verb="mail words approved", subject="studio", subject_id=studio.pk,
        words=words,
    )  # fmt: skip
    waiting = Message.objects.of(studio).filter(state=MessageState.WAITING, words=words)
    return sum(_lift(message, FIRST, at) for message in waiting)


def approve_words(*, studio: Studio, kind: str, language: str, member_id: int, actor: str, at: datetime) -> None:
    """Approve the words of a kind of mail as they stand now, before any mail was written in them.

    Raises:
        DomainError: unknown kind or language, or not an owner.
    """
    voice = wordings.voice(studio, kind, language)
    with transaction.atomic():
        _words_seen(studio, voice.digest, _owner(studio, member_id), actor=actor, at=at)


def refuse(*, studio: Studio, message_ids: Collection[int], why: str, member_id: int, actor: str, at: datetime) -> int:
    """Stop messages that wait, with the reason; returns how many.

    Raises:
        DomainError: nothing chosen, none of them waits any more, no reason or too long a one, or not an owner.
    """
    why = " ".join(why.split())
    if not why:
        raise DomainError("why: say why it is not sent; the reason stands in the outbox.", field="why")
    if len(why) > LONGEST_WHY:
        raise DomainError(f"why: {len(why)} characters are too long; use {LONGEST_WHY} at most.", field="why")
    stopped = 0
    with transaction.atomic():
        _owner(studio, member_id)
        for message in _chosen(studio, message_ids):
            fields = {"state": MessageState.STOPPED, "state_at": at, "error": f"Not approved: {why}"}
            if Message.objects.filter(pk=message.pk, state=MessageState.WAITING).update(**fields):
                stopped += 1
                # The reason may name somebody; it stands with the message, which an erasure reaches.
                journal.record(
                    studio=studio, actor=actor, at=at, verb="message refused", subject="message",
                    subject_id=message.pk, uid=str(message.uid),
                )  # fmt: skip
    return stopped


def set_policy(
    *, studio: Studio, first: bool, prices: bool, batches: bool, member_id: int, actor: str, at: datetime
) -> Studio:
    """Say what the owner sees first from now on. What waits already goes on waiting.

    Raises:
        DomainError: not an owner.
    """
    with transaction.atomic():
        _owner(studio, member_id)
        studio = Studio.objects.select_for_update().get(pk=studio.pk)
        wanted = {"approve_first": first, "approve_prices": prices, "approve_batches": batches}
        changed = {name: value for name, value in wanted.items() if getattr(studio, name) != value}
        if changed:
            for name, value in changed.items():
                setattr(studio, name, value)
            studio.save(update_fields=list(changed))
            journal.record(
                studio=studio, actor=actor, at=at, verb="approval of mails changed", subject="studio",
                subject_id=studio.pk, **changed,
            )  # fmt: skip
    return studio


@dataclass(frozen=True, slots=True)
class WaitingRow:
    """One message that waits. `reasons`: why, in words."""

    id: int
    subject: str
    customer_id: int
    customer: str
    written_at: datetime
    reasons: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WaitingBatch:
    """The messages of one run that wait, and all the reasons among them."""

    key: str
    written_at: datetime
    reasons: tuple[str, ...]
    rows: tuple[WaitingRow, ...]


def waiting(studio: Studio) -> tuple[WaitingBatch, ...]:
    """What waits for the owner, by run, the oldest first; one query."""
    rows = Message.objects.of(studio).filter(state=MessageState.WAITING).defer("text", "html")
    runs: dict[str, list[WaitingRow]] = defaultdict(list)
    for message in rows.select_related("customer").order_by("written_at", "pk"):
        runs[str(message.batch or "")].append(
            WaitingRow(
                id=message.pk, subject=message.subject, customer_id=message.customer_id,
                customer=message.customer.name, written_at=message.written_at,
                reasons=tuple(REASONS.get(code, code) for code in message.approval_for),
            )
        )  # fmt: skip
    return tuple(
        WaitingBatch(key, some[0].written_at, tuple(dict.fromkeys(why for row in some for why in row.reasons)),
                     tuple(some))
        for key, some in runs.items()
    )  # fmt: skip


def number_waiting(studio: Studio) -> int:
    """How many messages wait for the owner."""
    return Message.objects.of(studio).filter(state=MessageState.WAITING).count()
