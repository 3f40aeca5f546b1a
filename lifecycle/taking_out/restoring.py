"""Bring a studio back from its zip: row for row under the same numbers, with its files, all of it or nothing.

Numbers are kept, since they stand in the journal, in sealed reports, in JSON and in mails, and since the digest of a
closed address is reckoned with the studio's. So none of them may be taken in this installation.
"""

from __future__ import annotations

import hashlib
from collections.abc import Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path
from tempfile import SpooledTemporaryFile
from typing import Any, Final

from django.contrib.auth.hashers import make_password
from django.core.files import File
from django.core.files.storage import default_storage
from django.db import DatabaseError, transaction
from django.db.models import FileField, Model

from lifecycle import journal
from lifecycle.models import Hook, Studio, User
from lifecycle.taking_out import whole
from lifecycle.taking_out.numbers import go_on_from, highest
from lifecycle.taking_out.packing import CHUNK
from lifecycle.taking_out.registry import Table, tables
from lifecycle.taking_out.values import LARGEST, back
from lifecycle.taking_out.zip_reading import DAMAGED, FileSaid, Refused, StudioZip, opened

AT_ONCE: Final = 500
IN_MEMORY: Final = 8 << 20
HELD: Final = "held when the studio was brought back; switch it on when this installation is the one that counts"


@dataclass(frozen=True, slots=True)
class Restored:
    """What came back; `missing` are files that were gone already when the studio was taken out."""

    studio: Studio
    rows: int
    files: int
    missing: tuple[str, ...]


def restore_studio(*, path: Path, hold: bool = False, actor: str, at: datetime) -> Restored:
    """Bring a studio back. The journal gets one line of its own about it, after those that came back.

    Args:
        path: the zip.  hold: hold its reminders back and switch its webhooks off, for a copy to look at.

    Raises:
        Refused: the zip is not whole, not of this version, hostile, or its numbers are taken here.
    """
    with opened(path) as source:
        source.check_rows()
        said = source.manifest.studio
        if Studio.objects.filter(slug=said.slug).exists():
            raise Refused(f"The studio {said.slug!r} is in this installation already.")
        with _files_kept_or_gone() as saved, transaction.atomic():
            names: set[str] = set()
            users: set[int] = set()
            brought = {one.name: _insert(source, one, names, users) for one in tables()}
            whole.check(source.manifest, users)
            count = _save_files(source, names, saved)
            go_on_from(_models(), _numbers(source, brought))
            studio: Studio = Studio.objects.get(pk=said.id)
            rows = sum(one.rows for one in source.manifest.tables)
            journal.record(
                studio=studio, actor=actor, at=at, verb="studio restored", subject="studio", subject_id=studio.pk,
                taken_out_at=source.manifest.taken_out_at, rows=rows, files=count, held=hold,
            )  # fmt: skip
            if hold:
                _hold(studio, at)
        return Restored(studio, rows, count, tuple(source.manifest.files.missing))


def _models() -> dict[str, type[Model]]:
    return {one.name: one.model for one in tables()}


def _numbers(source: StudioZip, brought: Mapping[str, int]) -> dict[str, int]:
    """How far the numbers had come; never less than what is here, or than those of the rows that came back."""
    here = highest(_models())
    for name, number in source.manifest.numbers.items():
        if name not in here or not 0 <= number < LARGEST:
            raise Refused(f"manifest.json: {name!r} cannot have come to the number {number}.")
    said = source.manifest.numbers
    return {name: max(said.get(name, 0), here[name], brought[name]) for name in here}


def _hold(studio: Studio, at: datetime) -> None:
    Studio.objects.filter(pk=studio.pk, paused_at=None).update(paused_at=at)
    Hook.objects.of(studio).filter(ended_at=None, off_at=None).update(off_at=at, off_why=HELD)


def _insert(source: StudioZip, one: Table, names: set[str], users: set[int]) -> int:
    """Write one table in batches; remember the files that it names and the people that it brings. Returns the last
    number, 0 where there are no rows."""
    files = [column.name for column in one.columns if isinstance(column.field, FileField)]
    last = 0
    rows = source.rows(one.name)
    while batch := list(islice(rows, AT_ONCE)):
        made = []
        for number, row in batch:
            where = f"tables/{one.name}.jsonl, line {number}"
            made.append(_made(source, one, row, where))
            if made[-1].pk <= last:
                raise Refused(f"{where}: the numbers do not rise.")
            last = made[-1].pk
            names.update(row[name] for name in files if row[name])
        if one.model is User:
            users.update(row.pk for row in made)
        _refuse_taken(one, [row.pk for row in made])
        try:
            one.model._base_manager.bulk_create(made)
        except DatabaseError as error:
            raise Refused(
                f"{one.title}: the database does not take these rows. What may stand only once is taken here, for "
                f"example an e-mail address or an address of a check page, or a row breaks a rule: {_first(error)}."
            ) from error
    return last


def _first(error: DatabaseError) -> str:
    return str(error).strip().split("\n", 1)[0]


def _made(source: StudioZip, one: Table, row: dict[str, Any], where: str) -> Model:
    if set(row) != {column.name for column in one.columns}:
        raise Refused(f"{where}: has other columns than it should.")
    values: dict[str, Any] = {}
    for column in one.columns:
        try:
            values[column.name] = back(column, row[column.name])
        except ValueError as error:
            raise Refused(f"{where}: {column.name} {error}.") from error
    said = source.manifest.studio
    if values.get("studio_id", said.id) != said.id or (one.model is Studio and values["id"] != said.id):
        raise Refused(f"{where}: is a row of another studio.")
    if one.model is Studio and values["slug"] != said.slug:
        raise Refused(f"{where}: the studio is not {said.slug!r}.")
    if one.model is User:
        values["password"] = make_password(None)  # nobody has one until they set it anew
    return one.model(**values)


def _refuse_taken(one: Table, numbers: list[int]) -> None:
    taken = one.model._base_manager.filter(pk__in=numbers).order_by("pk").first()
    if taken is not None:
        raise Refused(
            f"{one.title}: the number {taken.pk} is taken in this installation, and a studio comes back under its own "
            "numbers only. Bring it back into an empty installation; its pages, journal and sealed reports name them."
        )


@contextmanager
def _files_kept_or_gone() -> Iterator[list[str]]:
    """The files that were saved inside are deleted again where it fails."""
    saved: list[str] = []
    try:
        yield saved
    except BaseException:
        for name in saved:
            default_storage.delete(name)
        raise


def _save_files(source: StudioZip, names: set[str], saved: list[str]) -> int:
    """Save every file that a row names; there are no others in the zip."""
    missing = set(source.manifest.files.missing)
    count = 0
    listed: set[str] = set()
    members = {info.filename.removeprefix("files/") for info in source.zip.infolist() if "files/" in info.filename[:6]}
    for said in source.files():
        if said.name not in names or said.name not in members or said.name in listed:
            raise Refused(f"files.jsonl: no row names {said.name!r}, or the zip does not hold it.")
        listed.add(said.name)
        _save_file(source, said, saved)
        count += 1
    if members - listed:
        raise Refused(f"The zip holds files/{min(members - listed)}, which no row names.")
    if lost := sorted(names - listed - missing):
        raise Refused(f"The zip lacks {len(lost)} files that rows name, the first is {lost[0]}.")
    return count


def _save_file(source: StudioZip, said: FileSaid, saved: list[str]) -> None:
    wrong = Refused(f"files/{said.name} is not as it was taken out: its size or SHA-256 differs.")
    if source.zip.getinfo(f"files/{said.name}").file_size != said.bytes:
        raise wrong
    sha = hashlib.sha256()
    with SpooledTemporaryFile(IN_MEMORY) as held:
        try:
            with source.open_file(said.name) as member:
                while chunk := member.read(CHUNK):
                    sha.update(chunk)
                    held.write(chunk)
        except DAMAGED as error:
            raise Refused(f"The zip is damaged: files/{said.name} cannot be read ({error}).") from error
        if sha.hexdigest() != said.sha256:
            raise wrong
        if default_storage.exists(said.name):
            if _digest(said.name) != said.sha256:
                raise Refused(f"The file {said.name} is in this installation already, with other contents.")
            return  # left by a restore that was cut off
        held.seek(0)
        kept = default_storage.save(said.name, File(held, name=said.name))
        saved.append(kept)
    if kept != said.name:
        raise Refused(f"The storage keeps {said.name} under another name ({kept}).")


def _digest(name: str) -> str:
    sha = hashlib.sha256()
    with default_storage.open(name) as there:
        for chunk in there.chunks(CHUNK):
            sha.update(chunk)
    return sha.hexdigest()
