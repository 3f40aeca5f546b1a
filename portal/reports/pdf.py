"""A sealed report as a PDF for A4, made by typst. What people typed goes in as data and is never read as markup."""

from __future__ import annotations

import json
import shutil
import tempfile
from pathlib import Path
from typing import Any, Final

import typst
from django.utils.formats import date_format
from django.utils.translation import get_language
from django.utils.translation import gettext as _

from lifecycle.care.reports.pictures import small_jpegs
from lifecycle.care.reports.signature import HEIGHT, WIDTH
from lifecycle.care.reports.view import AddendumLine, FindingLine, PhotoLine, ReadingLine, ReportView, Seal
from portal.drawings import report_plan

from . import qr
from .words import report_words, signed_words

SOURCE: Final = Path(__file__).with_name("report.typ")
# Tagged for readers of screens; without it where a text holds a character that no font on this machine has.
STANDARDS: Final = ("ua-1", "1.7")


def _day_and_time(at: Any) -> str:
    return f"{date_format(at, _('j F Y, H:i'))} {at.tzname()}"


def _finding(row: FindingLine) -> dict[str, Any]:
    photos = ", ".join(str(n) for n in row.photos)
    return {
        "n": str(row.n), "what": row.what, "surface": row.surface, "size": row.size,
        "severity": _("%(n)d of 5") % {"n": row.severity}, "note": row.note, "ours": not row.pre_existing,
        "when": _("pre-existing") if row.pre_existing else _("noticed during or after the work"),
        "photos": _("Photo %(numbers)s") % {"numbers": photos} if photos else "",
    }  # fmt: skip


def _reading(row: ReadingLine) -> dict[str, str]:
    unit = f" {row.unit}" if row.unit else ""
    return {
        "surface": row.surface, "what": row.what, "values": ", ".join(row.values) + unit,
        "mean": row.mean, "lowest": row.lowest, "gauge": row.gauge,
    }  # fmt: skip


def _photo(row: PhotoLine, *, stored: bool) -> dict[str, str]:
    about = [row.caption] if row.caption else []
    about += [_("finding %(n)d") % {"n": row.finding}] if row.finding else []
    about += [row.surface] if row.surface else []
    about += [_("sent by the customer")] if row.by == "customer" else []
    return {
        "n": str(row.n), "file": f"photo{row.n}.jpg" if stored else "", "caption": ", ".join(about),
        "sha256": row.sha256, "alt": _("Photo %(n)d: %(about)s") % {"n": row.n, "about": ", ".join(about)},
    }  # fmt: skip


def _addendum(row: AddendumLine) -> dict[str, Any]:
    said = {"number": row.number, "when": _day_and_time(row.sealed_at), "who": row.by}
    numbers = ", ".join(str(n) for n in row.findings)
    return {
        "heading": _("Addendum %(number)d") % said, "sealed": _("Sealed on %(when)s by %(who)s") % said,
        "about": _("About finding %(numbers)s") % {"numbers": numbers} if numbers else "",
        "paragraphs": [part for part in row.text.split("\n") if part.strip()], "digest": row.digest,
    }  # fmt: skip


def _words() -> dict[str, str]:
    return {
        "page": _("page"), "findings": _("Findings"), "readings": _("Readings"), "photos": _("Photos"),
        "cautions": _("Cautions"), "signature": _("Signature"), "seal": _("Seal"),
        "no_findings": _("No finding was noted."), "digest": _("Digest (SHA-256)"),
        "previous": _("Digest of the report before"), "check": _("Check that it is unchanged"),
        "no_file": _("The file is missing or is not the one that was sealed."),
        "plan_key": _("Front to the left. A second ring: noticed during or after the work."),
    }  # fmt: skip


def _about(view: ReportView, seal: Seal) -> list[list[str]]:
    sealed = (_("Sealed by"), f"{seal.sealed_by}, {_day_and_time(seal.sealed_at)}")
    return [[name, value] for name, value in (*report_words(view), sealed)]


def data_of(view: ReportView, seal: Seal, *, plan: report_plan.ReportPlan, stored: frozenset[int]) -> dict[str, Any]:
    """Everything that the printed report says. `stored`: numbers of the photos whose file is as sealed."""
    title = _("Report %(number)d") % {"number": seal.number}
    unplaced = ", ".join(str(n) for n in plan.unplaced)
    return {
        "language": (get_language() or "en").split("-")[0],
        "title": f"{title}, {view.studio}",
        "heading": title,
        "short": f"{title}, {view.studio} · {seal.digest[:16]}…",
        "studio": view.studio,
        "date": date_format(seal.sealed_at, _("j F Y")),
        "vehicle": f"{view.vehicle[:1].upper()}{view.vehicle[1:]}" + (f", {view.plate}" if view.plate else ""),
        "facts": ", ".join(view.facts),
        "about": _about(view, seal),
        "findings": [_finding(row) for row in view.findings],
        "finding_heads": [_("No."), _("What"), _("Where"), _("Size"), _("Severity"), _("When and what else")],
        "plan_alt": _("Plan of the vehicle with the numbers of the findings in the table below"),
        "unplaced": _("Without a place on the plan: %(numbers)s.") % {"numbers": unplaced} if unplaced else "",
        "readings": [_reading(row) for row in view.readings],
        "reading_heads": [_("Where"), _("What"), _("Values"), _("Mean"), _("Lowest"), _("Gauge")],
        "photos": [_photo(row, stored=row.n in stored) for row in view.photos],
        "statements": list(view.statements),
        "cautions": list(view.cautions),
        "signature": {
            "drawn": bool(view.signed and view.signed.strokes),
            "words": signed_words(view.signed, seal.sealed_at),
            "alt": _("The signature as it was drawn"),
        },
        "addenda": [_addendum(row) for row in view.addenda],
        "digest": seal.digest,
        "previous": seal.previous or _("none: this is the studio's first report"),
        "check_url": qr.check_url(seal.token),
        "qr_alt": _("QR code of the page that checks this report"),
        "seal_words": _("The page behind this code says whether anything differs from what was sealed."),
        "words": _words(),
    }


def make_pdf(view: ReportView) -> bytes:
    """The PDF of a sealed report.

    Raises:
        ValueError: the view is a draft's.
    """
    if view.seal is None:
        raise ValueError("a draft has no seal; only sealed reports are printed.")
    plan = report_plan.draw(view.findings, body=view.body, key="plan")
    pictures = small_jpegs(view.photos)
    data = data_of(view, view.seal, plan=plan, stored=frozenset(pictures))
    with tempfile.TemporaryDirectory(prefix="sheenward-report-") as name:
        folder = Path(name)
        shutil.copyfile(SOURCE, folder / SOURCE.name)
        (folder / "data.json").write_text(json.dumps(data, ensure_ascii=False))
        (folder / "plan.svg").write_text(plan.for_print())
        (folder / "qr.svg").write_bytes(qr.alone(view.seal.token))
        if view.signed and view.signed.strokes:
            drawn = report_plan.signature(view.signed.strokes, width=WIDTH, height=HEIGHT, alone=True)
            (folder / "signature.svg").write_text(drawn)
        for n, picture in pictures.items():
            (folder / f"photo{n}.jpg").write_bytes(picture)
        return _compile(folder, view.seal)


def _compile(folder: Path, seal: Seal) -> bytes:
    for standard in STANDARDS:
        try:
            made: bytes = typst.compile(
                str(folder / SOURCE.name), root=str(folder), format="pdf", pdf_standards=[standard],
                timestamp=int(seal.sealed_at.timestamp()),
            )  # fmt: skip
        except typst.TypstError:
            if standard == STANDARDS[-1]:
                raise
        else:
            return made
    raise AssertionError("unreachable: the last standard returns or raises")
