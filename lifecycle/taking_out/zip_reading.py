"""A studio's zip as it comes from outside: nothing of it is believed before it is checked, nothing is unpacked by name.

Every size is known before a byte is inflated: the manifest and the list of files say it, the zip's own list must agree,
and no more than that is read. So a bomb is refused, not met.
"""

from __future__ import annotations

import hashlib
import io
import json
import lzma
import zipfile
import zlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import IO, Any, Final

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from lifecycle.errors import DomainError
from lifecycle.taking_out.packing import FORM, schema
from lifecycle.taking_out.registry import tables
from lifecycle.taking_out.values import LARGEST, json_text

MOST_MANIFEST: Final = 16 << 20
MOST_LINE: Final = 32 << 20
# Rows shrink to a tenth or a thirtieth when packed; what grows more than this is made to fill a disk.
MOST_GROWTH: Final = 200
ALWAYS: Final = 64 << 20
FIXED: Final = frozenset({"README.txt", "files.jsonl", "manifest.json"})
# What the zip library raises on bytes that are not as they were; a place before the file's start is a ValueError.
DAMAGED: Final = (
    zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, NotImplementedError, RuntimeError, OSError, ValueError,
)  # fmt: skip
NOTHING: Final = "Nothing was written."


class Refused(DomainError):
    """The zip is not brought back; says why, and that nothing was written."""

    def __init__(self, why: str) -> None:
        super().__init__(f"{why} {NOTHING}")


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True, strict=True)


class TableSaid(_Strict):
    """What the manifest says of a table."""

    name: str
    columns: list[str]
    rows: int = Field(ge=0, lt=LARGEST)
    bytes: int = Field(ge=0, lt=LARGEST)
    sha256: str


class FilesSaid(_Strict):
    """What it says of the list of files; `missing` are names of rows whose files were gone already."""

    rows: int = Field(ge=0, lt=LARGEST)
    bytes: int = Field(ge=0, lt=LARGEST)
    sha256: str
    missing: list[str]


class StudioSaid(_Strict):
    """Whose zip it is."""

    id: int = Field(gt=0, lt=LARGEST)
    slug: str
    name: str


class Manifest(_Strict):
    """What the zip says of itself."""

    form: str
    taken_out_at: str
    studio: StudioSaid
    tables: list[TableSaid]
    files: FilesSaid
    numbers: dict[str, int]
    version: str = Field(alias="schema")


class FileSaid(_Strict):
    """One line of files.jsonl."""

    name: str
    bytes: int = Field(ge=0, lt=LARGEST)
    sha256: str


@dataclass(frozen=True)
class StudioZip:
    """A zip whose members, sizes and words agree; `check_rows` and reading the files compare the digests too."""

    zip: zipfile.ZipFile
    manifest: Manifest

    def lines(self, name: str) -> Iterator[bytes]:
        """The lines of a member.

        Raises:
            Refused: damaged, or a line that is too long.
        """
        try:
            with self.zip.open(name) as member, io.BufferedReader(member, 1 << 18) as text:  # type: ignore[type-var]
                while found := text.readline(MOST_LINE + 1):
                    if len(found) > MOST_LINE or not found.endswith(b"\n"):
                        raise Refused(f"{name}: a line has no end or more than {MOST_LINE >> 20} MB.")
                    yield found
        except DAMAGED as error:
            raise Refused(f"The zip is damaged: {name} cannot be read ({error}).") from error

    def rows(self, name: str) -> Iterator[tuple[int, dict[str, Any]]]:
        """Number of the line and the row, of one table."""
        for number, text in enumerate(self.lines(f"tables/{name}.jsonl"), start=1):
            row = _parsed(text, f"tables/{name}.jsonl, line {number}")
            if not isinstance(row, dict) or not _as_written(row, text):
                raise Refused(f"tables/{name}.jsonl, line {number}: is not written as it was taken out.")
            yield number, row

    def files(self) -> Iterator[FileSaid]:
        """What the list of files says."""
        for number, text in enumerate(self.lines("files.jsonl"), start=1):
            try:
                yield FileSaid.model_validate(_parsed(text, f"files.jsonl, line {number}"))
            except ValidationError as error:
                raise Refused(f"files.jsonl, line {number}: is not as it was written.") from error

    def open_file(self, name: str) -> IO[bytes]:
        """One of the studio's files."""
        return self.zip.open(f"files/{name}")

    def check_rows(self) -> None:
        """Read every table once, before anything is written.

        Raises:
            Refused: rows are missing or changed.
        """
        said = [(f"tables/{one.name}.jsonl", one.rows, one.bytes, one.sha256) for one in self.manifest.tables]
        listed = self.manifest.files
        for name, rows, size, digest in [*said, ("files.jsonl", listed.rows, listed.bytes, listed.sha256)]:
            sha, count, length = hashlib.sha256(), 0, 0
            for text in self.lines(name):
                sha.update(text)
                count, length = count + 1, length + len(text)
            if count != rows:
                raise Refused(f"{name} holds {count} rows, but {rows} were taken out; take the studio out again.")
            if length != size or sha.hexdigest() != digest:
                raise Refused(f"{name} is not as it was taken out: its SHA-256 differs.")


def _no_number(text: str) -> Any:
    """RFC 8259 knows neither NaN nor Infinity, though Python's reader does."""
    raise ValueError(text)


def _parsed(text: bytes, where: str) -> Any:
    try:
        return json.loads(text, parse_constant=_no_number)
    except (ValueError, RecursionError) as error:
        raise Refused(f"{where}: is no JSON ({type(error).__name__}).") from error


def _as_written(row: dict[str, Any], text: bytes) -> bool:
    """There is one way to write a row; a name that comes twice or half a letter is none."""
    try:
        return json_text(row).encode() + b"\n" == text
    except UnicodeEncodeError:
        return False


@contextmanager
def opened(path: Path) -> Iterator[StudioZip]:
    """Open a zip and compare what it says with what it holds and with this installation.

    Raises:
        Refused: damaged, of another form or version, with members that do not belong there, or a bomb.
    """
    try:
        found = zipfile.ZipFile(path)
    except DAMAGED as error:
        raise Refused(f"{path} is no whole zip ({error}); fetch or copy it again.") from error
    with found:
        _check_members(found, path.stat().st_size)
        manifest = _manifest(found)
        source = StudioZip(found, manifest)
        _check_sizes(source)
        yield source


def _check_members(found: zipfile.ZipFile, size: int) -> None:
    names = [info.filename for info in found.infolist()]
    if len(set(names)) != len(names):
        raise Refused("The zip holds a name twice.")
    ours = FIXED | {f"tables/{one.name}.jsonl" for one in tables()}
    for info in found.infolist():
        if info.filename not in ours and not _inside(info.filename):
            raise Refused(f"The zip holds {info.filename!r}, which does not belong there.")
        if info.flag_bits & 1:
            raise Refused(f"{info.filename} is encrypted; unpack it with its password and pack it anew.")
        if info.filename.startswith("files/") and info.file_size != info.compress_size:
            raise Refused(f"{info.filename} is packed in another way than it was taken out.")
    if sum(info.compress_size for info in found.infolist()) > size:
        raise Refused("The members of the zip lie over each other.")
    grown = sum(info.file_size for info in found.infolist())
    if grown > ALWAYS + MOST_GROWTH * size:
        raise Refused(f"The zip would grow from {size} to {grown} bytes; no studio does.")
    if missing := sorted(ours - set(names)):
        raise Refused(f"The zip lacks {', '.join(missing[:3])}; it is damaged, or of another version.")


def _inside(name: str) -> bool:
    """Whether a name is one of the studio's files, and stays below its folder on every system."""
    path = PurePosixPath(name)
    plain = str(path) == name and not any(letter in name for letter in "\\:\0")
    return plain and path.parts[0] == "files" and len(path.parts) > 1 and ".." not in path.parts


def _manifest(found: zipfile.ZipFile) -> Manifest:
    info = found.getinfo("manifest.json")
    if info.file_size > MOST_MANIFEST:
        raise Refused("manifest.json is too large.")
    try:
        text = found.read(info)
    except DAMAGED as error:
        raise Refused(f"The zip is damaged: manifest.json cannot be read ({error}).") from error
    said = _parsed(text, "manifest.json")
    form = said.get("form") if isinstance(said, dict) else None
    if form != FORM:
        raise Refused(f"The zip is of the form {form!r}; this version reads {FORM!r}.")
    if said.get("schema") != (here := schema()):
        raise Refused(
            f"The zip was taken out with the tables of {said.get('schema')!r}, and this installation has those of "
            f"{here!r}. Bring it back with the version that wrote it, then upgrade that installation."
        )
    try:
        return Manifest.model_validate(said)
    except ValidationError as error:
        where = ".".join(str(part) for part in error.errors()[0]["loc"])
        raise Refused(f"manifest.json is not as it was written: {where}.") from error


def _check_sizes(source: StudioZip) -> None:
    said = {one.name: one for one in source.manifest.tables}
    if len(said) != len(source.manifest.tables) or set(said) != {one.name for one in tables()}:
        raise Refused("manifest.json names other tables than this version has.")
    for one in tables():
        if said[one.name].columns != [column.name for column in one.columns]:
            raise Refused(f"manifest.json names other columns of {one.name} than this version has.")
        if source.zip.getinfo(f"tables/{one.name}.jsonl").file_size != said[one.name].bytes:
            raise Refused(f"tables/{one.name}.jsonl is longer or shorter than it was taken out: rows are missing.")
    if source.zip.getinfo("files.jsonl").file_size != source.manifest.files.bytes:
        raise Refused("files.jsonl is longer or shorter than it was taken out.")


def missing(path: Path) -> list[str]:
    """The files that rows of a whole zip name and that were gone already when it was made.

    Raises:
        Refused: as `opened`.
    """
    with opened(path) as source:
        return list(source.manifest.files.missing)
