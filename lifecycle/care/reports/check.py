"""Is a report still what was sealed? Digest, chain, journal, signature row, live rows and photo files, each difference
in words."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from lifecycle.care.reports.canonical import canonical, commitment, digest
from lifecycle.care.reports.content import LIVE, Content, live_sections, photos_of, stamp
from lifecycle.models import JournalEntry, Photo, Report, ReportKind, ReportParty, Studio

SEALINGS: Final = ("report sealed", "addendum sealed")
ONE_OF: Final = {"findings": "finding", "readings": "reading", "photos": "photo"}
CHUNK: Final = 1 << 16


@dataclass(frozen=True, slots=True)
class Difference:
    """One thing that is not as sealed. `said` names no value, so it may stand on the public page; `values` does."""

    number: int
    said: str
    values: str = ""

    def words(self) -> str:
        """The whole of it, for the studio."""
        return f"report {self.number}: {self.said}" + (f" ({self.values})" if self.values else "")


@dataclass(frozen=True, slots=True)
class Note:
    """Something that cannot be checked any more, and why; no difference."""

    number: int
    said: str

    def words(self) -> str:
        return f"report {self.number}: {self.said}"


def _named(name: str) -> str:
    return name.replace("_", " ")


def _changed(number: int, what: str, sealed: Mapping[str, Any], now: Mapping[str, Any]) -> Iterator[Difference]:
    # A gauge may be given another name; its key is compared.
    for name in sorted({*sealed, *now} - {"n", "id", "gauge"}):
        if sealed.get(name) != now.get(name):
            values = f"sealed {sealed.get(name)!r}, now {now.get(name)!r}"
            yield Difference(number, f"{what}: {_named(name)} has changed since", values)


def _section(number: int, name: str, sealed: Sequence[Content], now: Sequence[Content]) -> Iterator[Difference]:
    """Compare lists row by row, by key. A photo's or reading's own number may move when another row is gone."""
    live = {row["id"]: row for row in now}
    # Findings are numbered anew where one is gone: a photo that points at "finding 3" is compared by its key below.
    for n, row in enumerate(sealed, start=1):
        what = f"{ONE_OF[name]} {row.get('n', n)}"
        if row["id"] not in live:
            yield Difference(number, f"{what} was removed from the record", f"row {row['id']}")
        else:
            yield from _changed(number, what, row, live[row["id"]])
    for row in now:
        if row["id"] not in {one["id"] for one in sealed}:
            yield Difference(number, f"a {ONE_OF[name]} was added to the record after sealing", f"row {row['id']}")


def _keyed(sections: Content) -> Content:
    """The sections with photos that name their finding by its key, not by its place in the list."""
    keys = {row["n"]: row["id"] for row in sections["findings"]}
    photos = [{**row, "finding": keys.get(row["finding"])} for row in sections["photos"]]
    return {**sections, "photos": photos}


def file_sha256(photo: Photo) -> str | None:
    """SHA-256 of the stored file, read in pieces; None where it is not there."""
    try:
        with photo.file.open("rb") as file:
            found = hashlib.sha256()
            while piece := file.read(CHUNK):
                found.update(piece)
            return found.hexdigest()
    except (OSError, ValueError):
        return None


def _files(report: Report, sealed: Sequence[Content]) -> Iterator[Difference]:
    photos = {photo.pk: photo for photo in photos_of(report.inspection)}
    for row in sealed:
        photo = photos.get(row["id"])
        if photo is None:
            continue  # named as a removed row already
        found = file_sha256(photo)
        if found is None:
            yield Difference(report.number, f"photo {row['n']}: its file is missing", str(photo.file.name))
        elif found != row["sha256"]:
            yield Difference(
                report.number, f"photo {row['n']}: its file is not the one that was sealed", str(photo.file.name)
            )


def _rows(report: Report, content: Content) -> Iterator[Difference]:
    sealed, now = _keyed({name: content[name] for name in LIVE}), _keyed(live_sections(report.inspection))
    if sealed["inspection"].get("id") != now["inspection"]["id"]:
        yield Difference(report.number, "it belongs to another inspection than the one that was sealed")
    yield from _changed(report.number, "the inspection", sealed["inspection"], now["inspection"])
    for name in ONE_OF:
        yield from _section(report.number, name, sealed[name], now[name])
    yield from _files(report, content["photos"])


def _frame(report: Report, content: Content) -> Iterator[Difference]:
    """The columns beside the text say what the text says."""
    of = content.get("of") or {}
    pairs = {
        "number": (content.get("number"), report.number),
        "kind": (content.get("kind"), report.kind),
        "time of sealing": (content.get("sealed_at"), stamp(report.sealed_at)),
        "studio": (content.get("studio", {}).get("id"), report.studio_id),
        "vehicle": (content.get("vehicle", {}).get("id"), report.vehicle_id),
        "inspection": (content.get("inspection", {}).get("id"), report.inspection_id),
        "member who sealed it": (content.get("sealed_by", {}).get("member"), report.member_id),
        "report that it follows": (of.get("digest"), report.of.digest if report.of else None),
    }
    for name, (sealed, now) in pairs.items():
        if sealed != now:
            yield Difference(report.number, f"the {name} is not as sealed", f"sealed {sealed!r}, now {now!r}")


def _party(report: Report, content: Content) -> Iterator[Difference | Note]:
    signed = content.get("signed")
    if not signed:
        return
    party = ReportParty.objects.filter(report=report).first()
    if party is None:
        yield Difference(report.number, "the row of the signature is gone")
    elif party.erased_at is not None:
        yield Note(report.number, "name and signature were erased at the person's request; their hash stays sealed")
    elif signed.get("commitment") != commitment(
        salt=party.salt, name=party.name, plate=party.plate, strokes=party.strokes
    ):
        yield Difference(report.number, "name, plate or signature is not the one that was sealed")


def _chain(report: Report, before: Report | None) -> Iterator[Difference]:
    if report.digest != digest(report.content, report.previous):
        yield Difference(report.number, "its text is not the one that was sealed: the digest does not match")
    due = before.digest if before else ""
    if report.previous != due:
        name = f"report {before.number}" if before else "the start"
        yield Difference(report.number, f"the chain is broken between {name} and this report")


def _journal(report: Report, entries: Mapping[int, Mapping[str, Any]]) -> Iterator[Difference]:
    entry = entries.get(report.number)
    if entry is None:
        yield Difference(report.number, "the journal does not know of its sealing")
    elif entry.get("digest") != report.digest:
        yield Difference(
            report.number, "the journal noted another digest when it was sealed", f"journal {entry.get('digest')}"
        )


def _entries(studio: Studio, number: int | None = None) -> dict[int, Mapping[str, Any]]:
    rows = JournalEntry.objects.filter(studio=studio, subject="report", verb__in=SEALINGS).order_by("pk")
    if number is not None:
        rows = rows.filter(data__number=number)
    found: dict[int, Mapping[str, Any]] = {}
    for data in rows.values_list("data", flat=True):
        found.setdefault(int(data.get("number", 0)), data)
    return found


def _one(report: Report, before: Report | None, entries: Mapping[int, Any]) -> Iterator[Difference | Note]:
    yield from _chain(report, before)
    yield from _journal(report, entries)
    try:
        content = json.loads(report.content)
        same = canonical(content) == report.content
        frame = [*_frame(report, content), *_party(report, content)]
        rows = list(_rows(report, content)) if report.kind == ReportKind.REPORT else []
    except (ValueError, TypeError, KeyError, AttributeError):
        yield Difference(report.number, "its text cannot be read any more")
        return
    if not same:
        yield Difference(report.number, "its text is not in the canonical form")
    yield from frame
    yield from rows


def check_report(report: Report) -> tuple[Difference | Note, ...]:
    """What differs between one report and the record, for its public page. `studio` and `inspection` are loaded."""
    before = Report.objects.filter(studio_id=report.studio_id, number__lt=report.number).order_by("-number").first()
    return tuple(_one(report, before, _entries(report.studio, report.number)))


def check_studio(studio: Studio) -> Iterator[Difference | Note]:
    """Everything that is not as sealed in a studio, in the order of the chain; gaps and cut-off ends too."""
    entries = _entries(studio)
    before: Report | None = None
    seen: set[int] = set()
    rows = Report.objects.filter(studio=studio).select_related("studio", "inspection", "of").order_by("number")
    for report in rows.iterator(chunk_size=50):
        seen.add(report.number)
        yield from _one(report, before, entries)
        before = report
    last = max([*entries, *seen], default=0)
    for number in range(1, last + 1):
        if number not in seen:
            said = "it was sealed and is gone" if number in entries else "this number is missing: numbers have no gap"
            yield Difference(number, said)
