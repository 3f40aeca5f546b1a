"""The whole studio as a zip, a piece at a time.

| in the zip | what |
|---|---|
| README.txt | what this is, every table and column, what is left out and why |
| tables/NAME.jsonl | one row a line, a JSON object with every column; in the order of the numbers |
| files/… | photos, data sheets and lists that wait, under the names that the rows give |
| files.jsonl | name, bytes and SHA-256 of each of these files |
| manifest.json | form, version of the tables, when, how many rows, SHA-256 of each table: written last |
"""

from __future__ import annotations

import hashlib
from collections.abc import Generator, Iterator
from contextlib import closing
from dataclasses import dataclass, field
from datetime import datetime
from tempfile import TemporaryFile
from typing import IO, Any, Final
from zipfile import ZIP_DEFLATED, ZIP_STORED

from django.core.files.storage import default_storage
from django.db import connection
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import FileField

from lifecycle import journal
from lifecycle.models import Studio
from lifecycle.taking_out.lists import Outgoing
from lifecycle.taking_out.moment import one_moment
from lifecycle.taking_out.numbers import highest
from lifecycle.taking_out.pipe import ZipPipe
from lifecycle.taking_out.readme import readme
from lifecycle.taking_out.registry import Table, tables
from lifecycle.taking_out.values import json_text, line, stamp

FORM: Final = "sheenward studio 1"
AT_ONCE: Final = 500
CHUNK: Final = 1 << 18
FILE_TYPE: Final = "application/zip"


@dataclass
class _Packed:
    """What the manifest will say."""

    tables: list[dict[str, Any]] = field(default_factory=list)
    names: set[str] = field(default_factory=set)
    missing: list[str] = field(default_factory=list)
    numbers: dict[str, int] = field(default_factory=dict)
    studio: dict[str, Any] = field(default_factory=dict)


def schema() -> str:
    """The version of the tables: the name of the last migration that the database has seen."""
    applied = MigrationRecorder(connection).applied_migrations()
    return max((name for app, name in applied if app == "lifecycle"), default="")


def take_studio(*, studio: Studio, actor: str, at: datetime) -> Outgoing:
    """Hand out the whole studio. The journal says so before the first byte leaves, and stands in the zip."""
    journal.record(
        studio=studio, actor=actor, at=at, verb="studio taken out", subject="studio", subject_id=studio.pk, form=FORM
    )
    return Outgoing(f"{studio.slug}-{studio.day(at):%Y-%m-%d}.zip", FILE_TYPE, _pack(studio, at))


def _pack(studio: Studio, at: datetime) -> Iterator[bytes]:
    pipe, packed = ZipPipe(at=at), _Packed()
    with pipe.member("README.txt", ZIP_DEFLATED) as member:
        member.write(readme(studio.name, at).encode())
    with one_moment():
        packed.studio = {"id": studio.pk, "slug": studio.slug, "name": studio.name}
        packed.numbers = highest({one.name: one.model for one in tables()})
        version = schema()
        for one in tables():
            with closing(_pack_table(pipe, one, studio, packed)) as pieces:
                yield from pieces
    with TemporaryFile() as listed:
        yield from _pack_files(pipe, packed, listed)
        sha, count, size = hashlib.sha256(), 0, 0
        with pipe.member("files.jsonl", ZIP_DEFLATED) as member:
            for text in listed:
                member.write(text)
                sha.update(text)
                count, size = count + 1, size + len(text)
    files = {"rows": count, "bytes": size, "sha256": sha.hexdigest(), "missing": packed.missing}
    manifest = {
        "form": FORM, "schema": version, "taken_out_at": stamp(at), "studio": packed.studio,
        "tables": packed.tables, "files": files, "numbers": packed.numbers,
    }  # fmt: skip
    with pipe.member("manifest.json", ZIP_DEFLATED) as member:
        member.write(json_text(manifest).encode())
    yield pipe.closed()


def _pack_table(pipe: ZipPipe, one: Table, studio: Studio, packed: _Packed) -> Generator[bytes, None, None]:
    names = [column.name for column in one.columns]
    with_files = [n for n, column in enumerate(one.columns) if isinstance(column.field, FileField)]
    sha, count, size = hashlib.sha256(), 0, 0
    with pipe.member(f"tables/{one.name}.jsonl", ZIP_DEFLATED) as member:
        for row in one.rows(studio).values_list(*names).iterator(chunk_size=AT_ONCE):
            text = line(one.columns, row)
            packed.names.update(str(row[n]) for n in with_files if row[n])
            member.write(text)
            sha.update(text)
            count, size = count + 1, size + len(text)
            if count % AT_ONCE == 0:
                yield pipe.taken()
    said = {"name": one.name, "columns": names, "rows": count, "bytes": size, "sha256": sha.hexdigest()}
    packed.tables.append(said)
    yield pipe.taken()


def _pack_files(pipe: ZipPipe, packed: _Packed, listed: IO[bytes]) -> Iterator[bytes]:
    """Every file that a row names. One that is not there is said to be missing: the rows are worth more than it."""
    for name in sorted(packed.names):
        try:
            source = default_storage.open(name)
        except FileNotFoundError:  # what cannot be read for another reason must not pass for gone
            packed.missing.append(name)
            continue
        sha, size = hashlib.sha256(), 0
        with source, pipe.member(f"files/{name}", ZIP_STORED) as member:
            for chunk in source.chunks(CHUNK):
                member.write(chunk)
                sha.update(chunk)
                size += len(chunk)
                yield pipe.taken()
        listed.write(json_text({"name": name, "bytes": size, "sha256": sha.hexdigest()}).encode() + b"\n")
    listed.seek(0)
