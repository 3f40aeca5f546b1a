"""A gauge's text: what would be read is shown first; then it goes into the readings sheet, where it is recorded."""

from __future__ import annotations

from typing import Any, Final

from charset_normalizer import from_bytes
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpResponse
from django.shortcuts import render
from django.views.decorators.http import require_http_methods

from lifecycle.care.gauge_csv import MOST_CHARS, ROLES, CsvRead, GaugeCsvError, match_panels, read_csv
from lifecycle.care.reading_rows import MOST_SPOTS
from lifecycle.care.readings import Sheet
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import studio_today
from .reading_forms import PasteForm, SheetForm
from .reading_grid import USUAL_SPOTS, Grid
from .readings import GAUGE_MARK, UNIT_MARK, filled, page, sheet_or_404
from .register import sent

ROLE_WORDS: Final = {
    "panel": "panel",
    "spot": "spot number",
    "value": "value",
    "unit": "unit",
    "skip": "leave out",
}
SHOWN: Final = 60


def _text_of(upload: UploadedFile[Any] | None, pasted: str) -> str:
    """The text of a file, or what was pasted.

    Raises:
        GaugeCsvError: the file is too large or no text.
    """
    if upload is None:
        return pasted
    if (upload.size or 0) > 4 * MOST_CHARS:
        raise GaugeCsvError(f"The file is larger than {4 * MOST_CHARS // 1000} kB. Export fewer readings.")
    raw = upload.read()
    if b"\x00" in raw and not raw.startswith((b"\xff\xfe", b"\xfe\xff")):
        raise GaugeCsvError("This file is no text. Export the readings as CSV from the gauge.")
    try:
        return raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        best = from_bytes(raw).best()
        if best is None:
            raise GaugeCsvError("The characters of this file cannot be read. Save it as UTF-8 text.") from None
        return str(best)


def _roles(request: MemberRequest) -> dict[int, str]:
    return {n: role for n in range(1, 61) if (role := request.POST.get(f"role-{n}", "")) in ROLES}


def _panels(request: MemberRequest, read: CsvRead, sheet: Sheet) -> list[dict[str, Any]]:
    """Each panel name of the text with the surface it is taken for: what the person says, else what fits by name."""
    films = [panel for panel in sheet.panels if panel.films]
    guess = match_panels(read.panels, [panel.code for panel in films])
    by_code = {panel.code: panel.id for panel in films}
    ids = {str(panel.id) for panel in films}
    found = []
    for place, name in enumerate(read.panels):
        said = request.POST.get(f"panel-{place}")
        chosen = said if said in ids or said == "skip" else str(by_code.get(guess[name], ""))
        found.append({
            "field": f"panel-{place}", "name": name, "chosen": chosen,
            "spots": [(spot, values) for spot, values in read.spots_of(name).items()],
        })  # fmt: skip
    return found


def _into_sheet(panels: list[dict[str, Any]], unit: str) -> tuple[dict[str, str], int]:
    """The film fields of the sheet, in one unit, and how many spots it needs."""
    fields: dict[str, list[str]] = {}
    most = USUAL_SPOTS
    for panel in panels:
        for spot, values in panel["spots"]:
            if panel["chosen"].isdecimal() and spot <= MOST_SPOTS:
                typed = [one.typed if one.unit == unit else _converted(one.um, unit) for one in values]
                fields.setdefault(f"f-{panel['chosen']}-{spot}", []).extend(typed)
                most = max(most, spot)
    return {name: " ".join(typed) for name, typed in fields.items()}, most


def _converted(um: float, unit: str) -> str:
    return f"{um / 25.4:.3f}" if unit == "mil" else f"{um:.4f}".rstrip("0").rstrip(".")


def _missing(panels: list[dict[str, Any]]) -> list[str]:
    """Why the values cannot go into the sheet yet."""
    found = [
        f"Say which surface {panel['name'] or 'the values without a name'} is."
        for panel in panels
        if not panel["chosen"]
    ]
    beyond = [panel["name"] for panel in panels if any(spot > MOST_SPOTS for spot, _ in panel["spots"])]
    return found + [f"{name or 'The list'} has more than {MOST_SPOTS} spots; part it by panel." for name in beyond]


@access("technician")
@require_http_methods(["GET", "POST"])
def paste_readings(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Show what a gauge's text would be read as; take it into the sheet."""
    sheet = sheet_or_404(request, vehicle_id)
    unit = request.session.get(UNIT_MARK, "um")
    form = PasteForm(sent(request), request.FILES or None, initial={"unit": unit})
    context: dict[str, Any] = {"vehicle": sheet, "form": form, "role_words": ROLE_WORDS, "shown": SHOWN}
    if request.method == "POST" and form.is_valid():
        data = form.cleaned_data
        try:
            text = _text_of(data["file"], data["text"])
            read = read_csv(text, delimiter=data["delimiter"], roles=_roles(request), unit=data["unit"])
        except GaugeCsvError as error:
            form.add_error("file" if data["file"] else "text", str(error))
            return render(request, "studio/paste.html", context)
        panels = _panels(request, read, sheet)
        missing = _missing(panels)
        if "take" in request.POST and not missing and read.values:
            return _take(request, sheet, panels, read)
        # A file is sent once: its text goes on in the page.
        form = PasteForm({**request.POST.dict(), "text": text})
        form.is_valid()
        for says in missing if "take" in request.POST else ():
            form.add_error(None, says)
        context |= {"form": form, "read": read, "panels": panels, "films": [p for p in sheet.panels if p.films]}
    return render(request, "studio/paste.html", context)


def _take(request: MemberRequest, sheet: Sheet, panels: list[dict[str, Any]], read: CsvRead) -> HttpResponse:
    """The readings page with the values in its fields; nothing is recorded yet."""
    units = {value.unit for value in read.values}
    unit = "mil" if units == {"mil"} else "um"
    fields, spots = _into_sheet(panels, unit)
    today = studio_today(request)
    start = SheetForm.fresh(sheet, today=today, unit=unit, gauge=request.session.get(GAUGE_MARK, ""))
    head = SheetForm(sheet=sheet, today=today, initial=start)
    return page(request, sheet, head, Grid(sheet, filled(fields, spots=spots, unit=unit)))
