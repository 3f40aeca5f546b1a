"""One claimed batch, handed over in lots: while one lot is on its way, the database is told of the one before and asked
for the one after.

A lot is what the provider takes in `LOT_S`: one mail where a mail takes that long, some where it is quicker. So what
is in doubt when a deliverer dies stays small, and a quick provider does not wait for our database. A lot is begun
while the one before it is being sent. If that takes longer than a look may be old, it is taken back and looked at
anew: a "no" that came meanwhile holds.
"""

from __future__ import annotations

import contextlib
import time
from collections import Counter
from collections.abc import Sequence
from concurrent.futures import Future
from datetime import datetime, timedelta
from typing import Any, Final

from django.db import transaction
from django.db.models import F

from lifecycle import journal
from lifecycle.models import Message, MessageState
from lifecycle.models.message import REMINDERS_HEADER
from lifecycle.reminders import approval, letters
from lifecycle.reminders import claim as claims
from lifecycle.reminders.receipts import suppress
from lifecycle.reminders.retries import TABLE, Kind
from lifecycle.reminders.transport import CannotReach, Outcome, Postman, Result

# How old the look at a message is to be at most when it is handed over. What is begun and not gone by then is looked at
# anew; `outbox` claims no more at once than go in this time at the pace of the claim before.
LOOK_HOLDS_S: Final = 1.0
# Seconds of handing over that may be in doubt, and how many messages at most. Judgement.
LOT_S: Final = 0.02
LOT_MOST: Final = 10


class Handing:
    """The hand-over of one claimed batch. `run` once."""

    def __init__(self, claim: claims.Claim, postman: Postman, at: datetime, counts: Counter[str]) -> None:
        self.claim, self.postman, self.at, self.counts = claim, postman, at, counts
        self.seen = letters.look(claim.messages, at=at)
        self.flying: tuple[list[Message], Future[list[Result]]] | None = None
        self.taken: list[claims.Taken] = []
        self.begun: Sequence[Message] = ()  # the lot that is to follow the one that is flying
        self.reached = True
        self.until: datetime | None = None

    def run(self) -> bool:
        """Deliver the batch. False: the provider cannot be reached, the rest was put back untouched.

        After an error of ours, what the provider has is still put on record before the error goes on: else one error
        about one message would leave two lots in doubt. What is ours still and waits is free after its lease.
        """
        try:
            return self._run()
        except Exception:
            self._bring_home()
            raise

    def _bring_home(self) -> None:
        for step in (self._land, lambda: self._turn(())):
            with contextlib.suppress(Exception):  # the first error is the one to tell of
                step()
        for message in self.begun:
            with contextlib.suppress(Exception):
                self._take_back(message)

    def _run(self) -> bool:
        lot: list[Message] = []
        for message in self.claim.messages:
            if not self.reached:
                claims.put_back(message, self.claim.token, at=self.at)
            elif self._holds(message):
                lot.append(message)
                if len(lot) >= self._lot_size():
                    self._send(lot)
                    lot = []
        if lot:
            self._send(lot)
        self._turn(())
        self._land()
        self._turn(())
        if self.until is not None:
            claims.hold(at=self.at, until=self.until)
        return self.reached

    def _lot_size(self) -> int:
        pace = self.postman.seconds_each
        return 1 if pace is None else max(1, min(LOT_MOST, int(LOT_S / max(pace, 1e-6))))

    def _holds(self, message: Message) -> bool:
        """Whether what it says still holds. Else what is to become of it is written."""
        verdict, token, at = self.seen.verdict(message), self.claim.token, self.at
        if isinstance(verdict, letters.Stop):
            self.counts["stopped"] += self._stop(message, verdict.reason)
            return False
        if isinstance(verdict, letters.Later):
            self.counts["later"] += claims.put_back(message, token, at=at, next_try_at=verdict.at)
            return False
        if isinstance(verdict, letters.Anew):
            self.counts["stopped"] += self._write_another(message, verdict)
            return False
        if isinstance(verdict, letters.Rewrite):
            with transaction.atomic():
                if not claims.hold_ours(message, token):  # stopped or erased since the look: nothing is written on it
                    self.counts["lost"] += 1
                    return False
                needs = letters.rewrite(message, verdict, self.seen, at=at)
            self.counts["rewritten"] += 1
            if needs:
                error = approval.words_of(needs)
                claims.put_back(message, token, at=at, state=MessageState.WAITING, error=error)
                return False
        return True

    def _send(self, lot: Sequence[Message]) -> None:
        """Begin a lot, see the one before it home, and let this one fly."""
        begun: frozenset[int] | None = None
        since = time.monotonic()
        self.begun = lot
        if self.flying is not None and (self.postman.seconds_each or 0.0) < LOOK_HOLDS_S / 2:
            begun = self._turn(lot)
            for message in lot:
                self.postman.make_ready(message)
        self._land()
        if not self.reached or (begun is not None and time.monotonic() - since > LOOK_HOLDS_S):
            self._leave(lot, begun)
            return
        try:
            self.postman.open()
        except CannotReach as error:
            self.reached = False
            first, *rest = lot
            self.counts[self._wait_out(first, str(error), error.kind, begun=begun is not None)] += 1
            self._leave(rest, begun)
            return
        if begun is None:
            begun = self._turn(lot)
        self.counts["lost"] += len(lot) - len(begun)
        ours = [message for message in lot if message.pk in begun]
        if ours:
            self.flying = ours, self.postman.send_soon(ours, for_s=LOOK_HOLDS_S)
        self.begun = ()

    def _leave(self, lot: Sequence[Message], begun: frozenset[int] | None) -> None:
        """Let go of messages that were not handed over; what was not begun by us is somebody else's, or free."""
        for message in lot:
            if begun is None:
                claims.put_back(message, self.claim.token, at=self.at)
            elif message.pk in begun:
                self._take_back(message)
        self.begun = ()

    def _take_back(self, message: Message) -> None:
        self.postman.forget(message)
        claims.take_back(message, self.claim.token, at=self.at)

    def _turn(self, lot: Sequence[Message]) -> frozenset[int]:
        """Put on record what the provider took last, and begin these messages. Returns the keys of the begun."""
        begun = claims.turn(self.claim.token, taken=self.taken, begin=lot, at=self.at)
        self.taken = []
        return begun

    def _land(self) -> None:
        """Wait for the lot on its way, and write what became of it; what was taken is written at the next turn."""
        if self.flying is None:
            return
        (lot, future), self.flying = self.flying, None
        results = future.result()
        pairs = list(zip(lot, results, strict=False))
        for message, result in pairs:  # first, so that no error in the writes below leaves them in doubt
            if result.outcome is Outcome.ACCEPTED:
                self.taken.append(claims.Taken(message, result.provider_id))
                self.counts["accepted"] += 1
        for message, result in pairs:
            if result.outcome is not Outcome.ACCEPTED:
                self.counts[self._write_outcome(message, result)] += 1
        for message in lot[len(results) :]:  # never handed over
            self._take_back(message)
        last = results[-1] if results else None
        self.reached = last is None or not last.all_alike
        self.until = self.at + last.wait if last is not None and last.all_alike and last.wait else None

    def _stop(self, message: Message, reason: str) -> bool:
        """What never left is stopped; what may have left once is failed, and is not sent again."""
        fields: dict[str, Any] = {"state": MessageState.STOPPED, "error": reason}
        verb = "message stopped"
        if message.resends:
            verb = "message failed"
            fields = {
                "state": MessageState.FAILED,
                "error": f"The outcome of its hand-over is unknown; it is not sent again: {reason}",
            }
        with transaction.atomic():
            done = claims.put_back(message, self.claim.token, at=self.at, next_try_at=None, **fields)
            if done:
                self._note(message, verb, reason=reason)
        return done

    def _write_another(self, message: Message, verdict: letters.Anew) -> bool:
        """Stop what is much too early, and plan its reminders again; it lets go of them, so that it never says twice
        what another message says then."""
        headers = {name: value for name, value in message.headers.items() if name != REMINDERS_HEADER}
        fields: dict[str, Any] = {"error": letters.TOO_EARLY, "next_try_at": None, "reminder": None, "headers": headers}
        with transaction.atomic():
            done = claims.put_back(message, self.claim.token, at=self.at, state=MessageState.STOPPED, **fields)
            if done:
                letters.plan_again(verdict.rows, self.at)
                told = [row.pk for row, _ in verdict.rows]
                self._note(message, "message stopped", reason=letters.TOO_EARLY, reminders=told)
        return done

    def _write_outcome(self, message: Message, result: Result) -> str:
        """The small write after a hand-over that did not go well. Returns the count that it belongs to."""
        if result.outcome is Outcome.TEMPORARY:
            return self._try_again(message, result)
        if result.outcome is Outcome.OUTAGE:
            return self._wait_out(message, result.error, result.kind, begun=True, wait=result.wait)
        state, verb = {
            Outcome.PERMANENT: (MessageState.FAILED, "message failed"),
            Outcome.UNKNOWN: (MessageState.UNCONFIRMED, "message unconfirmed"),
        }[result.outcome]
        with transaction.atomic():
            if claims.settle(message, self.claim.token, state=state, at=self.at, error=result.error):
                self._note(message, verb)
            if result.bad_address:
                suppress(message=message, why="bounced", at=self.at)
        return str(state)

    def _wait_out(
        self, message: Message, error: str, kind: Kind, *, begun: bool = False, wait: timedelta | None = None
    ) -> str:
        """An outage or a wrong password is no fault of the message: it uses up no try. The end of its window, or the
        sweep after two weeks, is the limit."""
        fields: dict[str, Any] = {
            "state": MessageState.RETRY, "error": error,
            "next_try_at": self.at + (wait or timedelta(minutes=TABLE[kind].outage)),
        }  # fmt: skip
        if begun:
            claims.settle(message, self.claim.token, at=self.at, attempts=F("attempts") - 1, **fields)
        else:
            claims.put_back(message, self.claim.token, at=self.at, **fields)
        return str(MessageState.RETRY)

    def _try_again(self, message: Message, result: Result) -> str:
        """Set the next try by the table for this kind of error, or give up when it is used up."""
        waits = TABLE[result.kind].waits
        tries = message.attempts + 1
        fields: dict[str, Any] = {"state": MessageState.FAILED, "error": result.error, "next_try_at": None}
        if tries <= len(waits):
            fields["state"] = MessageState.RETRY
            fields["next_try_at"] = self.at + timedelta(minutes=waits[tries - 1])
        with transaction.atomic():
            done = claims.settle(message, self.claim.token, at=self.at, **fields)
            if done and fields["state"] == MessageState.FAILED:
                self._note(message, "message failed", tries=tries)
        return str(fields["state"])

    def _note(self, message: Message, verb: str, **data: Any) -> None:
        journal.record(
            studio=message.studio, actor="cycle", at=self.at, verb=verb, subject="message", subject_id=message.pk,
            uid=str(message.uid), **data,
        )  # fmt: skip


def hand_over(claim: claims.Claim, postman: Postman, *, at: datetime, counts: Counter[str]) -> bool:
    """Hand a claimed batch over. False: the provider cannot be reached, the rest was put back untouched."""
    return Handing(claim, postman, at, counts).run()
