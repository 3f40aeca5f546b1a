"""The work on imported files that takes its time: looking through, recording, taking back. One step of the cycle.

A file waits in the database; whoever wakes the step claims it by a compare-and-set with a lease, so that a worker that
dies leaves it to the next one. The writing itself is one transaction: the whole file or nothing of it.
"""

from __future__ import annotations

import hashlib
import json
import time
from collections.abc import Callable, Iterable, Iterator, Mapping
from datetime import datetime, timedelta
from functools import partial
from types import ModuleType
from typing import Any, Final

import structlog
from django.db import IntegrityError, transaction
from django.db.models import F, Q
from django.utils import timezone

from lifecycle import journal
from lifecycle.care.import_kinds import customers, layers, prices, readings, vehicles, visits
from lifecycle.care.import_kinds.base import BATCH, Planned
from lifecycle.care.import_undo import take_back
from lifecycle.care.imports.refusal import FileRefused
from lifecycle.care.imports.rows import Row, read_rows
from lifecycle.models import (
    WAITING_IMPORTS,
    WORKING_IMPORTS,
    ImportFile,
    ImportMade,
    ImportRow,
    ImportState,
    Studio,
    Verdict,
)

log = structlog.get_logger("sheenward.imports")
KINDS: Final[Mapping[str, ModuleType]] = {
    "customers": customers, "vehicles": vehicles, "layers": layers, "visits": visits, "readings": readings,
    "prices": prices,
}  # fmt: skip
LEASE: Final = timedelta(minutes=10)
MOST_TRIES: Final = 3
# How long a file waits for a person, and how long a recorded one can be taken back. House rules, no source.
WAIT_DAYS: Final = 7
UNDO_DAYS: Final = 30
# Where a file goes back to when the work on it failed for good.
BACK_TO: Final = {"checking": ImportState.ASKING, "applying": ImportState.CHECKED, "undoing": ImportState.DONE}
READ_SHARE: Final = 50  # percent of the bar that reading takes; the rest is comparing and writing
TOLD_EVERY_S: Final = 1.0


class _Bar:
    """Keeps the progress of a file, outside any transaction, and its lease alive."""

    def __init__(self, file: ImportFile) -> None:
        self.file, self.last = file, 0.0

    def told(self, percent: float) -> None:
        now = time.monotonic()
        if now - self.last >= TOLD_EVERY_S:
            self.last = now
            ImportFile.objects.filter(pk=self.file.pk).update(
                progress=min(int(percent), 100), lease_until=timezone.now() + LEASE
            )


def import_files(*, at: datetime) -> Mapping[str, int]:
    """Work on every file that waits for it; put away what waited too long, forget what can no longer be taken back."""
    counts = {"looked through": 0, "recorded": 0, "taken back": 0, "failed": 0}
    for file in _claimed(at):
        work: dict[str, tuple[str, Callable[..., bool]]] = {
            ImportState.CHECKING: ("looked through", _check),
            ImportState.APPLYING: ("recorded", _apply),
            ImportState.UNDOING: ("taken back", _undo),
        }
        name, doing = work[file.state]
        counts[name if _guarded(file, doing, at) else "failed"] += 1
    return counts | _tidy(at)


def _claimed(at: datetime) -> Iterator[ImportFile]:
    """Files that nobody works on, claimed one after the other."""
    free = Q(lease_until=None) | Q(lease_until__lt=at)
    for pk in list(
        ImportFile.objects.filter(free, state__in=WORKING_IMPORTS).order_by("state_at").values_list("pk", flat=True)
    ):
        mine = ImportFile.objects.filter(free, pk=pk, state__in=WORKING_IMPORTS)
        if mine.update(lease_until=timezone.now() + LEASE, tries=F("tries") + 1, progress=0):
            yield ImportFile.objects.select_related("studio").get(pk=pk)


def _guarded(file: ImportFile, doing: Callable[..., bool], at: datetime) -> bool:
    """Do the work; what the file is at fault for goes back to the person, what else fails is tried again."""
    try:
        return doing(file, at)
    except FileRefused as error:
        _back(file, str(error), at)
    except IntegrityError:
        log.warning("import met another change", file=file.pk)  # the database's words may hold an address
        _back(file, "Something on record stands against it that was not there when it was looked through: a number, an "
              "address or a plate that is taken. Nothing was changed; look it through once more.", at)  # fmt: skip
    except Exception:
        log.error("import failed", file=file.pk, tries=file.tries, exc_info=True)
        if file.tries >= MOST_TRIES:
            _back(file, "It failed three times; nothing was changed. The log of the service says why.", at)
        else:
            ImportFile.objects.filter(pk=file.pk).update(lease_until=None)
    return False


def _back(file: ImportFile, says: str, at: datetime) -> None:
    _to(file, BACK_TO[file.state], at, note=says[:600])


def _to(row: ImportFile, state: str, at: datetime, **values: Any) -> None:
    ImportFile.objects.filter(pk=row.pk).update(
        state=state, state_at=at, lease_until=None, tries=0, progress=0, **values
    )


def _rows(file: ImportFile, bar: _Bar) -> Iterator[Row]:
    """The rows of the stored file, with the bar."""
    try:
        with file.file.open("rb") as stored:
            data = stored.read()
    except FileNotFoundError as error:
        raise FileRefused("The stored file is no longer there. Choose it again.") from error
    columns = {int(number): name for number, name in file.columns.items()}
    likely = max(file.rows, 1)
    for count, row in enumerate(read_rows(data, kind=file.kind, how=file.how, columns=columns), 1):
        yield row
        if count % 500 == 0:
            bar.told(READ_SHARE * min(count / likely, 1.0) if file.rows else READ_SHARE * (1 - 5_000 / (5_000 + count)))


def _digest(planned: Iterable[Planned]) -> str:
    """What a dry run showed, as a digest."""
    said = hashlib.sha256()
    for item in planned:
        said.update(json.dumps([item.line, item.verdict, item.key, item.changes, item.errors]).encode())
    return said.hexdigest()


def _keep(file: ImportFile, planned: list[Planned], at: datetime, *, note: str = "") -> None:
    """Keep what the rows would do, in place of what was kept before."""
    counts = dict.fromkeys(Verdict.values, 0)
    for item in planned:
        counts[item.verdict] += 1
    with transaction.atomic():
        _drop_rows(file)
        ImportRow.objects.bulk_create(
            (
                ImportRow(
                    studio=file.studio, file=file, line=item.line, verdict=item.verdict, key=item.key[:200],
                    changes=item.changes, errors=item.errors,
                )
                for item in planned
            ),
            batch_size=BATCH,
        )  # fmt: skip
        _to(file, ImportState.CHECKED, at, digest=_digest(planned), rows=len(planned), new=counts["new"],
            changed=counts["change"], same=counts["same"], wrong=counts["error"], note=note)  # fmt: skip


def _drop_rows(file: ImportFile) -> None:
    rows = ImportRow.objects.filter(file=file)
    rows._raw_delete(rows.db)


def _check(file: ImportFile, at: datetime) -> bool:
    """Look the whole file through and keep what it would do. Nothing of the record changes."""
    bar = _Bar(file)
    rows = list(_rows(file, bar))
    bar.last = 0.0
    bar.told(READ_SHARE + 10)
    planned = KINDS[file.kind].plan(file.studio, rows, at=at)
    bar.last = 0.0
    bar.told(90)
    _keep(file, planned, at)
    return True


def _still(file: ImportFile) -> bool:
    """Whether the file, held from here on, still waits for this work: nobody put it away meanwhile."""
    return ImportFile.objects.select_for_update().filter(pk=file.pk, state=file.state).exists()


def _apply(file: ImportFile, at: datetime) -> bool:
    """Record the whole file in one transaction, exactly as it was shown, or nothing of it."""
    bar = _Bar(file)
    rows = list(_rows(file, bar))
    bar.last = 0.0
    bar.told(READ_SHARE + 10)
    with transaction.atomic():
        studio = Studio.objects.select_for_update().get(pk=file.studio_id)  # two imports take turns
        if not _still(file):
            return False
        planned = KINDS[file.kind].plan(studio, rows, at=at)
        if any(item.verdict == Verdict.ERROR for item in planned) or _digest(planned) != file.digest:
            _keep(file, planned, at, note="The record has changed since the file was looked through, so nothing was "
                  "recorded. Look at what it would do now, and say again.")  # fmt: skip
            return False
        made = KINDS[file.kind].write(studio, planned, at=at)
        for row in made:
            row.studio, row.file = studio, file
        ImportMade.objects.bulk_create(made, batch_size=BATCH)
        _drop_rows(file)
        journal.record(
            studio=studio, actor=file.asked_by, at=at, verb="import recorded", subject="import", subject_id=file.pk,
            kind=file.kind, rows=file.rows, new=file.new, changed=file.changed, same=file.same, sha256=file.sha256,
        )  # fmt: skip
        forget_bytes(file)
        _to(file, ImportState.DONE, at, done_at=at, file="", note="")
    return True


def _undo(file: ImportFile, at: datetime) -> bool:
    """Take back all that the file made and changed, or say row by row what stands in the way."""
    with transaction.atomic():
        studio = Studio.objects.select_for_update().get(pk=file.studio_id)
        if not _still(file):
            return False
        standing, count = take_back(file)
        _drop_rows(file)
        if standing:
            ImportRow.objects.bulk_create(
                (ImportRow(studio=studio, file=file, line=line, verdict=Verdict.STANDS, errors=[["", "", says]])
                 for line, says in standing),
                batch_size=BATCH,
            )  # fmt: skip
            _to(file, ImportState.DONE, at, note="It was not taken back: something has been built on it since.")
            return False
        ImportMade.objects.filter(file=file).delete()
        journal.record(
            studio=studio, actor=file.asked_by, at=at, verb="import taken back", subject="import", subject_id=file.pk,
            kind=file.kind, entries=count,
        )  # fmt: skip
        _to(file, ImportState.UNDONE, at, note="")
    return True


def forget_bytes(file: ImportFile) -> None:
    """The stored file goes once the transaction holds."""
    if file.file.name:
        transaction.on_commit(partial(file.file.storage.delete, file.file.name))


def put_away_rows(file: ImportFile, at: datetime, *, why: str) -> None:
    """The file and what it would do go; only that it was here stays."""
    forget_bytes(file)
    _drop_rows(file)
    _to(file, ImportState.DROPPED, at, file="", note=why[:600])


def _tidy(at: datetime) -> dict[str, int]:
    """Time limits: a file that nobody answered, and an import that can no longer be taken back."""
    late = ImportFile.objects.filter(state__in=WAITING_IMPORTS, state_at__lt=at - timedelta(days=WAIT_DAYS))
    put_away = 0
    for file in late.select_related("studio"):
        with transaction.atomic():
            put_away_rows(file, at, why=f"Nobody answered for {WAIT_DAYS} days, so the file was deleted.")
        put_away += 1
    old = ImportFile.objects.filter(
        state=ImportState.DONE, forgotten_at=None, done_at__lt=at - timedelta(days=UNDO_DAYS)
    )
    forgotten = 0
    for file in old:
        with transaction.atomic():
            ImportMade.objects.filter(file=file).delete()
            _drop_rows(file)
            ImportFile.objects.filter(pk=file.pk).update(forgotten_at=at, note="")
        forgotten += 1
    return {"put away": put_away, "no longer undone": forgotten}
