"""Verbs about lists that bring records in: a file comes, is asked about, is looked through, recorded, taken back.

Nothing of the record changes before `apply_import`, and then all of the file or nothing. The slow part of each is done
by the step `import_files`.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Mapping
from datetime import datetime
from typing import Any, Final
from uuid import uuid4

from django.core.files.base import ContentFile, File
from django.db import transaction
from django.db.models import Q

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.images import spoken_name
from lifecycle.care.import_work import KINDS, put_away_rows
from lifecycle.care.imports.columns import digest_of, guess, wrong_columns
from lifecycle.care.imports.detect import Look, look
from lifecycle.care.imports.refusal import MOST_BYTES, FileRefused
from lifecycle.care.register import known
from lifecycle.errors import DomainError
from lifecycle.models import (
    WAITING_IMPORTS,
    ImportFile,
    ImportKey,
    ImportMade,
    ImportMapping,
    ImportState,
    Studio,
)

ANSWERS: Final = ("encoding", "delimiter", "sheet", "header", "decimal", "dates")


def receive_file(
    *, studio: Studio, kind: str, upload: bytes | File[bytes], name: str = "", actor: str, at: datetime
) -> ImportFile:
    """Take a file in and look at it. The same file that still waits for answers is the one that is there.

    Args:
        kind: what the list holds, one of `import_work.KINDS`.

    Raises:
        DomainError: an unknown kind, or a file that cannot be read at all (field "file").
    """
    known("kind", kind, tuple(KINDS))
    data, called = _bytes_of(upload, name)
    digest = hashlib.sha256(data).hexdigest()
    same = ImportFile.objects.of(studio).filter(kind=kind, sha256=digest, state__in=WAITING_IMPORTS)
    there: ImportFile | None = same.first()
    if there is not None:
        return there
    try:
        seen = look(data, kind=kind, how={})
    except FileRefused as error:
        raise DomainError(f"file: {error}", field="file") from error
    columns = _remembered(studio, kind, seen.headings) or guess(kind, seen.headings)
    file: ImportFile = ImportFile(
        studio=studio, kind=kind, name=called[:120], size=len(data), sha256=digest, state_at=at, made_at=at,
        asked_by=actor, how=seen.how, columns=columns,
    )  # fmt: skip
    token = uuid4().hex
    file.file.save(f"imports/{token[:2]}/{token}", ContentFile(data), save=False)
    try:
        with transaction.atomic():
            file.save()
            journal.record(
                studio=studio, actor=actor, at=at, verb="import file received", subject="import", subject_id=file.pk,
                kind=kind, size=file.size, sha256=digest,
            )  # fmt: skip
    except BaseException:
        file.file.storage.delete(str(file.file.name))
        raise
    return file


def _bytes_of(upload: bytes | File[bytes], name: str) -> tuple[bytes, str]:
    if isinstance(upload, bytes):
        data = upload
    else:
        name = name or upload.name or ""
        if upload.size > MOST_BYTES:
            raise _too_large(upload.size)
        upload.seek(0)
        data = upload.read(MOST_BYTES + 1)
    if len(data) > MOST_BYTES:
        raise _too_large(len(data))
    return data, spoken_name(name) or "the file"


def _too_large(size: int) -> DomainError:
    return DomainError(
        f"file: {size / 1e6:.1f} MB is more than the {MOST_BYTES / 1e6:.0f} MB that a list may have. Split it into "
        "several files.",
        field="file",
    )


def stored_bytes(file: ImportFile) -> bytes:
    """The bytes of a file that is not recorded yet.

    Raises:
        FileRefused: the storage no longer has it.
    """
    try:
        with file.file.open("rb") as stored:
            return bytes(stored.read())
    except (FileNotFoundError, ValueError) as error:
        raise FileRefused("The stored file is no longer there. Choose it again.") from error


def _remembered(studio: Studio, kind: str, headings: tuple[str, ...]) -> dict[int, str]:
    """The columns that a list with the same headings had last time."""
    found = ImportMapping.objects.of(studio).filter(kind=kind, digest=digest_of(headings)).first()
    columns = {int(number): name for number, name in found.columns.items()} if found is not None else {}
    return {} if wrong_columns(kind, headings, columns) else columns


def columns_of(file: ImportFile) -> dict[int, str]:
    """Column number -> field, as kept."""
    return {int(number): name for number, name in file.columns.items()}


def look_at(file: ImportFile) -> Look:
    """The file as it is read with the answers given so far.

    Raises:
        FileRefused: it cannot be read.
    """
    return look(stored_bytes(file), kind=file.kind, how=file.how, columns=columns_of(file))


def _waiting(studio: Studio, import_id: int) -> ImportFile:
    file = one(ImportFile, studio, import_id, lock=True)
    if file.state not in WAITING_IMPORTS:
        raise DomainError(f"This file is {file.get_state_display()}; nothing more can be said about it.")
    return file


def answer(*, studio: Studio, import_id: int, answers: Mapping[str, str], actor: str, at: datetime) -> ImportFile:
    """Say how a file is to be read where it does not tell by itself.

    Args:
        answers: by the names of ANSWERS; others are left out.

    Raises:
        DomainError: an answer that was not to choose from (its field), or the file cannot be read that way ("file").
        NotFoundHere: the file is not of this studio.
    """
    with transaction.atomic():
        file = _waiting(studio, import_id)
        said = {name: value for name, value in answers.items() if name in ANSWERS}
        try:
            before = look_at(file)
            for question in before.questions:
                allowed = tuple(option.value for option in question.options)
                if question.name in said and said[question.name] not in allowed:
                    raise DomainError(f"{question.name}: choose one of the answers.", field=question.name)
            file.how = {**before.how, **said}
            seen = look_at(file)
        except FileRefused as error:
            raise DomainError(f"file: {error}", field="file") from error
        file.how, file.said = seen.how, sorted({*file.said, *said})
        if seen.headings != before.headings:
            file.columns = _remembered(studio, file.kind, seen.headings) or guess(file.kind, seen.headings)
        _save(file, at, "import question answered", actor, answers=sorted(said))
    return file


def choose_columns(
    *, studio: Studio, import_id: int, columns: Mapping[int, str], actor: str, at: datetime
) -> ImportFile:
    """Say which column is what; kept for the next list with these headings. Where nothing is left to be asked, the file
    is looked through.

    Args:
        columns: column number (from 1) -> field; columns that are left out stand not in it.

    Raises:
        DomainError: the rows could not be known again, a column twice, or one that speaks of consent.
        NotFoundHere: the file is not of this studio.
    """
    with transaction.atomic():
        file = _waiting(studio, import_id)
        try:
            wrong = wrong_columns(file.kind, look_at(file).headings, columns)
            if wrong:
                raise DomainError(" ".join(wrong), field="columns")
            if dict(columns) != columns_of(file):
                file.how = {name: value for name, value in file.how.items() if name not in ("dates", "decimal")}
            file.columns = {str(number): name for number, name in sorted(columns.items())}
            seen = look_at(file)
        except FileRefused as error:
            raise DomainError(f"file: {error}", field="file") from error
        file.how = seen.how
        ImportMapping.objects.update_or_create(
            studio=studio, kind=file.kind, digest=digest_of(seen.headings),
            defaults={"columns": file.columns, "used_at": at},
        )  # fmt: skip
        _save(file, at, "import columns chosen", actor, columns=len(columns))
    return file


def look_through(*, studio: Studio, import_id: int, actor: str, at: datetime) -> ImportFile:
    """Have the whole file looked through (the dry run); the step does it.

    Raises:
        DomainError: something is still to be answered, or the columns do not fit.
        NotFoundHere: the file is not of this studio.
    """
    with transaction.atomic():
        file = _waiting(studio, import_id)
        try:
            seen = look_at(file)
        except FileRefused as error:
            raise DomainError(f"file: {error}", field="file") from error
        if seen.questions:
            raise DomainError(f"{seen.questions[0].name}: {seen.questions[0].says}", field=seen.questions[0].name)
        wrong = wrong_columns(file.kind, seen.headings, columns_of(file))
        if wrong:
            raise DomainError(" ".join(wrong), field="columns")
        file.state, file.how, file.note, file.tries, file.progress = ImportState.CHECKING, seen.how, "", 0, 0
        _save(file, at, "import looked through", actor)
    return file


def _save(file: ImportFile, at: datetime, verb: str, actor: str, **data: Any) -> None:
    file.state_at, file.asked_by = at, actor
    file.save()
    journal.record(
        studio=file.studio, actor=actor, at=at, verb=verb, subject="import", subject_id=file.pk, kind=file.kind, **data
    )


def ask_again(*, studio: Studio, import_id: int, actor: str, at: datetime) -> ImportFile:
    """Back to the questions and columns; what was answered stays to be changed.

    Raises:
        DomainError: the file is not waiting.
        NotFoundHere: it is not of this studio.
    """
    with transaction.atomic():
        file = _waiting(studio, import_id)
        said = set(file.said)
        file.how = {name: value for name, value in file.how.items() if name not in said}
        file.state, file.said, file.note = ImportState.ASKING, [], ""
        _save(file, at, "import asked again", actor)
    return file


def apply_import(*, studio: Studio, import_id: int, actor: str, at: datetime) -> ImportFile:
    """Have a file recorded exactly as the dry run showed it; the step does it, all or nothing.

    Raises:
        DomainError: it was not looked through, has errors, or would change nothing.
        NotFoundHere: it is not of this studio.
    """
    with transaction.atomic():
        file = one(ImportFile, studio, import_id, lock=True)
        if file.state != ImportState.CHECKED:
            raise DomainError(
                f"This file is {file.get_state_display()}; it can be recorded once it was looked through."
            )
        if file.wrong:
            raise DomainError(
                f"{file.wrong} row{'s' if file.wrong > 1 else ''} cannot be read, so nothing of the file is recorded. "
                "Mend them in the file and send it again."
            )
        if not file.new and not file.changed:
            raise DomainError("Everything in this file is on record already; there is nothing to be recorded.")
        file.state, file.note, file.tries, file.progress = ImportState.APPLYING, "", 0, 0
        _save(file, at, "import asked to be recorded", actor)
    return file


def take_import_back(*, studio: Studio, import_id: int, actor: str, at: datetime) -> ImportFile:
    """Have all that a file made taken back, and what it changed restored; the step does it, all or nothing.

    Raises:
        DomainError: it is not recorded, or the time for it is over.
        NotFoundHere: it is not of this studio.
    """
    with transaction.atomic():
        file = one(ImportFile, studio, import_id, lock=True)
        if file.state != ImportState.DONE:
            raise DomainError(f"This file is {file.get_state_display()}; only a recorded one can be taken back.")
        if file.forgotten_at is not None or not ImportMade.objects.filter(file=file).exists():
            raise DomainError("The time to take this file back is over: what was before it is no longer kept.")
        file.state, file.note, file.tries, file.progress = ImportState.UNDOING, "", 0, 0
        _save(file, at, "import asked to be taken back", actor)
    return file


def put_away(*, studio: Studio, import_id: int, actor: str, at: datetime) -> ImportFile:
    """Delete a file that was not recorded, with what it would have done.

    Raises:
        DomainError: it is not waiting.
        NotFoundHere: it is not of this studio.
    """
    with transaction.atomic():
        file = _waiting(studio, import_id)
        put_away_rows(file, at, why="")
        journal.record(
            studio=studio, actor=actor, at=at, verb="import file put away", subject="import", subject_id=file.pk,
            kind=file.kind,
        )  # fmt: skip
    return file


def put_away_waiting(studio: Studio, *, at: datetime) -> int:
    """Delete every file that is not recorded yet: a person was erased, and one of these may hold them still."""
    pending = (*WAITING_IMPORTS, ImportState.CHECKING, ImportState.APPLYING)
    files = list(ImportFile.objects.of(studio).filter(state__in=pending).select_for_update())
    for file in files:
        put_away_rows(file, at, why="A person was erased, and this file may have held them. Send a list without them.")
    return len(files)


def forget_person(*, studio: Studio, customer_id: int, vehicle_ids: Collection[int], at: datetime) -> int:
    """What imports still hold of a person who is erased: waiting files, numbers of other lists, values kept to take
    an import back. Inside the caller's transaction.

    Args:
        vehicle_ids: vehicles that the person kept last.
    """
    keys = ImportKey.objects.filter(Q(customer=customer_id) | Q(vehicle__in=vehicle_ids), studio=studio)
    theirs = Q(model="Customer", object_id=customer_id) | Q(model="Vehicle", object_id__in=vehicle_ids)
    theirs |= Q(model="ImportKey", object_id__in=keys.values("pk"))
    count = ImportMade.objects.filter(theirs, studio=studio).delete()[0] + keys.delete()[0]
    return int(count) + put_away_waiting(studio, at=at)
