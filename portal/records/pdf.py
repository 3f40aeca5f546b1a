"""A care record as a PDF for A4, made by typst. What people typed goes in as data and is never read as markup."""

from __future__ import annotations

import json
import shutil
import tempfile
from dataclasses import asdict
from pathlib import Path
from typing import Any, Final

import typst
from django.utils.formats import date_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from lifecycle.care.care_record.reads import Opened
from portal.reports import qr

from .page import RecordPage, page_of
from .words import INTRO, NOT_SAID

SOURCE: Final = Path(__file__).with_name("record.typ")
# Tagged for readers of screens; without it where a text holds a character that no font on this machine has.
STANDARDS: Final = ("ua-1", "1.7")


def _words() -> dict[str, str]:
    return {
        "page": _("page"), "layers": _("Layers"), "no_layers": _("No layer is on record."),
        "earlier": _("Earlier layers"), "paint": _("Paint, panel by panel"),
        "no_paint": _("The paint was never measured here, and no correction is on record."),
        "looks": _("Inspections"), "no_looks": _("No inspection is on record."),
        "looks_note": _(
            "Behind a report’s number stands the page that checks it. The report itself is with whoever signed for it."
        ),
        "cautions": _("Cautions"), "seal": _("Seal"), "digest": _("Digest (SHA-256)"), "check": _("To check a copy"),
    }  # fmt: skip


def _heads() -> dict[str, list[str]]:
    return {
        "layer_heads": [_("Where"), _("Layer"), _("Put on"), _("How it is"), _("Seen or estimated")],
        "earlier_heads": [_("Where"), _("Layer"), _("Put on"), _("Until")],
        "paint_heads": [_("Where"), _("Film readings"), _("Corrections"), _("Clear coat to spare")],
        "look_heads": [_("Day"), _("What"), _("Noted"), _("Sealed report")],
    }


def _warnings(found: Opened) -> list[str]:
    said = []
    if not found.unchanged:
        said.append(
            _("This is not what was sealed: the text has been changed since. Do not rely on it, and ask the studio.")
        )
    if found.newer_on is not None:
        told = {"day": date_format(found.newer_on, _("j F Y"))}
        said.append(_("A newer record of this vehicle was issued on %(day)s. Ask the keeper for it.") % told)
    return said


def _rows(page: RecordPage) -> dict[str, Any]:
    paint = [asdict(row) for row in page.paint]
    for row in paint:
        row["films"] = row["films"] or [_("none")]
        row["corrections"] = row["corrections"] or [_("none on record")]
        row["budget"] = row["budget"] or "–"
    return {
        "layers": [asdict(row) for row in page.layers], "earlier": [asdict(row) for row in page.earlier],
        "paint": paint, "looks": [asdict(row) for row in page.looks], "cautions": list(page.cautions),
        "bare": _("No layer on record: %(names)s.") % {"names": page.bare} if page.bare else "",
        "grimy": _("Grime may make these look worse than they are until they are cleaned: %(names)s.")
        % {"names": page.grimy} if page.grimy else "",
    }  # fmt: skip


def data_of(found: Opened, *, check_url: str) -> dict[str, Any]:
    """Everything that the printed record says, in the active language."""
    page = page_of(found.content)
    heading = _("Care record %(number)d") % {"number": page.number}
    issued = f"{date_format(found.issued_at, _('j F Y, H:i'))} {found.issued_at.tzname()}"
    return {
        **_rows(page), **_heads(),
        "language": (get_language() or "en").split("-")[0], "title": f"{heading}, {page.studio}", "heading": heading,
        "short": f"{heading}, {page.studio} · {found.digest[:16]}…", "studio": page.studio,
        "date": date_format(found.issued_at, _("j F Y")), "vehicle": page.vehicle, "facts": page.facts,
        "intro": str(INTRO), "not_said": str(NOT_SAID), "warnings": _warnings(found),
        "about": [
            [_("Issued on"), issued], [_("Forecast of"), page.forecast_of],
            [_("Last looked at by the studio"), page.seen], [_("Known to the studio since"), page.known_since],
        ],
        "digest": found.digest, "check_url": check_url,
        "qr_alt": _("QR code of the page with this record"),
        "seal_words": _(
            "The code opens this record as a page until %(day)s, or until the keeper ends it. The address below checks "
            "a copy afterwards too, and says whether a newer record exists."
        ) % {"day": date_format(found.ends_at, _("j F Y"))},
        "words": _words(),
    }  # fmt: skip


def make_pdf(found: Opened, *, page_url: str, check_url: str) -> bytes:
    """The PDF of a care record in the active language."""
    with tempfile.TemporaryDirectory(prefix="sheenward-record-") as name:
        folder = Path(name)
        shutil.copyfile(SOURCE, folder / SOURCE.name)
        (folder / "data.json").write_text(json.dumps(data_of(found, check_url=check_url), ensure_ascii=False))
        (folder / "qr.svg").write_bytes(qr.alone_of(page_url))
        return _compile(folder, int(found.issued_at.timestamp()))


def _compile(folder: Path, timestamp: int) -> bytes:
    for standard in STANDARDS:
        try:
            made: bytes = typst.compile(
                str(folder / SOURCE.name), root=str(folder), format="pdf", pdf_standards=[standard], timestamp=timestamp
            )
        except typst.TypstError:
            if standard == STANDARDS[-1]:
                raise
        else:
            return made
    raise AssertionError("unreachable: the last standard returns or raises")
