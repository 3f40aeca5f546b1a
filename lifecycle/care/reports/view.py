"""A report as pages and the PDF show it: made from the sealed text (or the draft) alone, and who its keys stand for."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from decimal import Decimal
from typing import Any, Final
from uuid import UUID

from django.utils.formats import get_format
from django.utils.translation import gettext

from lifecycle.care.reports.content import Content
from lifecycle.care.tongue.names import body_name, surface_name
from lifecycle.care.tongue.speak import say
from lifecycle.models import FindingKind, InspectionKind, Photo, ReadingKind

UNITS: Final = {
    "thickness_um": "µm", "contact_angle_deg": "°", "gloss_gu": "GU", "beading_score": "", "works": "",
}  # fmt: skip
DECIMALS: Final = {"thickness_um": 1, "contact_angle_deg": 1, "gloss_gu": 1}


@dataclass(frozen=True, slots=True)
class FindingLine:
    """`n` is its number in the report; `photos` are the numbers of its photos; `x`, `y` shares of plan or outline."""

    n: int
    kind: str
    what: str
    code: str
    surface: str
    size: str
    severity: int
    pre_existing: bool
    note: str
    photos: tuple[int, ...]
    on_outline: bool
    x: float | None
    y: float | None


@dataclass(frozen=True, slots=True)
class ReadingLine:
    """All values of one kind on one surface, as they were typed; `mean` and `lowest` where there are several."""

    surface: str
    what: str
    unit: str
    values: tuple[str, ...]
    mean: str
    lowest: str
    gauge: str


@dataclass(frozen=True, slots=True)
class PhotoLine:
    """`uid` None: the row is gone."""

    n: int
    id: int
    uid: UUID | None
    sha256: str
    caption: str
    finding: int | None
    surface: str
    by: str


@dataclass(frozen=True, slots=True)
class Signed:
    """How it was signed. `name` and `strokes` are empty where they were `erased`."""

    how: str
    name: str
    strokes: tuple[tuple[tuple[int, int], ...], ...]
    erased: bool


@dataclass(frozen=True, slots=True)
class AddendumLine:
    id: int
    number: int
    sealed_at: datetime
    text: str
    findings: tuple[int, ...]
    by: str
    digest: str
    token: str


@dataclass(frozen=True, slots=True)
class Seal:
    """Number and seal of a sealed report; `sealed_at` in the studio's zone."""

    id: int
    number: int
    sealed_at: datetime
    digest: str
    previous: str
    token: str
    sealed_by: str


@dataclass(frozen=True, slots=True)
class ReportView:
    """`seal` and `signed` are None in a draft; `plate` is empty where it was erased."""

    studio: str
    vehicle_id: int
    vehicle: str
    plate: str
    body: str
    facts: tuple[str, ...]
    inspection_id: int
    inspection: str
    on: date
    clean_state: str
    light: str
    by: str
    note: str
    findings: tuple[FindingLine, ...]
    readings: tuple[ReadingLine, ...]
    photos: tuple[PhotoLine, ...]
    statements: tuple[str, ...]
    cautions: tuple[str, ...]
    seal: Seal | None = None
    signed: Signed | None = None
    addenda: tuple[AddendumLine, ...] = ()


def _word(choices: Any, code: str) -> str:
    return gettext(str(choices(code).label)) if code in choices.values else code.replace("_", " ")


def _share(text: str | None) -> float | None:
    return float(text) if text is not None else None


def _plain(number: Decimal, decimals: int) -> str:
    text = f"{number:.{decimals}f}"
    plain = text.rstrip("0").rstrip(".") if "." in text else text
    return plain.replace(".", str(get_format("DECIMAL_SEPARATOR")))


def _findings(rows: Sequence[Content], photos: Sequence[Content]) -> tuple[FindingLine, ...]:
    return tuple(
        FindingLine(
            n=row["n"], kind=row["kind"], what=_word(FindingKind, row["kind"]), code=row["surface"] or "",
            surface=surface_name(row["surface"]) if row["surface"] else "",
            size=f"{_plain(Decimal(row['size_mm']), 1)} mm" if row["size_mm"] else "",
            severity=row["severity"], pre_existing=row["pre_existing"], note=row["note"],
            photos=tuple(photo["n"] for photo in photos if photo["finding"] == row["n"]),
            on_outline=row["on_outline"], x=_share(row["x"]), y=_share(row["y"]),
        )
        for row in rows
    )  # fmt: skip


def _mean(kind: str, values: Sequence[Decimal]) -> str:
    """The mean of several values; "" where there is but one, or where a mean says nothing."""
    if kind not in DECIMALS or len(values) < 2:
        return ""
    return _plain(sum(values, Decimal()) / len(values), DECIMALS[kind])


def _readings(rows: Sequence[Content]) -> tuple[ReadingLine, ...]:
    groups: dict[tuple[str, str, str, str], list[Decimal]] = {}
    for row in rows:
        key = (row["surface"], row["kind"], row["gauge"] or "", row["method"])
        groups.setdefault(key, []).append(Decimal(row["value"]))
    return tuple(
        ReadingLine(
            surface=surface_name(surface), what=_word(ReadingKind, kind).split(",")[0], unit=UNITS.get(kind, ""),
            values=tuple(_plain(value, 3) for value in values),
            mean=_mean(kind, values),
            lowest=_plain(min(values), 3) if kind in DECIMALS and len(values) > 1 else "",
            gauge=", ".join(part for part in (gauge, gettext(method) if method else "") if part),
        )
        for (surface, kind, gauge, method), values in groups.items()
    )  # fmt: skip


def _photos(rows: Sequence[Content]) -> tuple[PhotoLine, ...]:
    uids = dict(Photo.objects.filter(pk__in=[row["id"] for row in rows]).values_list("pk", "uid")) if rows else {}
    return tuple(
        PhotoLine(
            n=row["n"], id=row["id"], uid=uids.get(row["id"]), sha256=row["sha256"], caption=row["caption"],
            finding=row["finding"], surface=surface_name(row["surface"]) if row["surface"] else "", by=row["by"],
        )
        for row in rows
    )  # fmt: skip


def of_content(
    content: Content,
    *,
    plate: str,
    names: Mapping[int, str],
    seal: Seal | None = None,
    signed: Signed | None = None,
    addenda: tuple[AddendumLine, ...] = (),
) -> ReportView:
    """A report's content of form 1 as a view.

    Args:
        names: of members, by key.
    """
    vehicle, inspection = content["vehicle"], content["inspection"]
    return ReportView(
        studio=content["studio"]["name"],
        vehicle_id=vehicle["id"],
        vehicle=vehicle["description"],
        plate=plate,
        body=vehicle["body"],
        facts=(
            body_name(vehicle["body"]),
            gettext("size %(size)s") % {"size": vehicle["size"]},
            gettext("%(colour)s colour") % {"colour": gettext(vehicle["colour"])},
            gettext(vehicle["paint"].replace("_", " ")),
            gettext(vehicle["powertrain"]),
        ),
        inspection_id=inspection["id"],
        inspection=_word(InspectionKind, inspection["kind"]),
        on=date.fromisoformat(inspection["on"]),
        clean_state=inspection["clean_state"],
        light=gettext(inspection["light"]) if inspection["light"] else "",
        by=names.get(inspection["member"] or 0, ""),
        note=inspection["note"],
        findings=_findings(content["findings"], content["photos"]),
        readings=_readings(content["readings"]),
        photos=_photos(content["photos"]),
        statements=tuple(say(one) for one in content["statements"]),
        cautions=tuple(say(one) for one in content["cautions"]),
        seal=seal,
        signed=signed,
        addenda=addenda,
    )
