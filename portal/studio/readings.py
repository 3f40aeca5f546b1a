"""The readings page: film values, gloss and water by panel, checked while they are typed; and the gauges."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.http import Http404, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_http_methods, require_POST

from lifecycle import condition
from lifecycle.care import gauges as gauge_verbs
from lifecycle.care.reading_checks import Doubt
from lifecycle.care.reading_rows import ReadingEntry
from lifecycle.care.readings import NotConfirmed, Sheet, doubts_about, reading_sheet, record_readings
from lifecycle.condition.film import USUAL_GAUGE_SD_UM
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access

from . import cautions
from .common import attempt, plain, studio_today
from .reading_forms import GaugeForm, RetireForm, SheetForm
from .reading_grid import Grid
from .register import kept_or_404, sent, who_and_when

UNIT_MARK, GAUGE_MARK = "film_unit", "film_gauge"


def sheet_or_404(request: MemberRequest, vehicle_id: int) -> Sheet:
    """The sheet of a vehicle, or 404 where it is another studio's or has left."""
    kept_or_404(request, vehicle_id)
    return reading_sheet(request.member.studio, vehicle_id, today=studio_today(request))


def _gauge_note(form: SheetForm, sheet: Sheet) -> str:
    """What is to be said of the chosen film gauge's last check on the day of the reading."""
    chosen = form.gauge_id("gauge")
    row = next((row for row in sheet.gauges if row.id == chosen), None)
    if row is None:
        return f"The gauge is not on record: ± {USUAL_GAUGE_SD_UM:g} µm is assumed."
    day = form.cleaned_data.get("on") if form.is_bound and form.is_valid() else None
    says = gauge_verbs.check_says(row.checked_on, on=day or form.today)
    return f"{row.name}: {says}" if says else ""


def page(request: MemberRequest, sheet: Sheet, form: SheetForm, grid: Grid) -> HttpResponse:
    """The readings page with what was typed."""
    doubts = [doubt for row in grid.rows for doubt in row.doubts if doubt.asks]
    context = {
        "vehicle": sheet,
        "form": form,
        "grid": grid,
        "doubts": doubts,
        "gauge_note": _gauge_note(form, sheet),
        "cautions": cautions.for_inspection(sheet.powertrain),
    }
    return render(request, "studio/readings.html", context)


def _doubts(request: MemberRequest, vehicle_id: int, form: SheetForm, entries: list[ReadingEntry]) -> tuple[Doubt, ...]:
    day = form.cleaned_data.get("on") if form.is_valid() else None
    return doubts_about(request.member.studio, vehicle_id, on=day or studio_today(request), entries=entries)


def _record(request: MemberRequest, sheet: Sheet, form: SheetForm, grid: Grid, entries: list[ReadingEntry]) -> bool:
    """Record a sheet that was sent; False where the page has to be shown again with the reason."""
    data = form.cleaned_data
    try:
        record_readings(
            vehicle_id=sheet.vehicle_id, entries=entries, on=data["on"], clean_state=data["clean_state"],
            note=data["note"], inspection_id=data["inspection"], member_id=request.member.id, key=data["key"],
            accepted=frozenset(request.POST.getlist("seen")), **who_and_when(request),
        )  # fmt: skip
    except NotFoundHere as error:
        raise Http404(error.message) from error
    except NotConfirmed as error:
        form.add_error(None, error.message)
    except DomainError as error:
        if not grid.refuse(error.field, plain(error)):
            form.add_error(error.field if error.field in form.fields else None, plain(error))
    else:
        return True
    return False


@access("technician")
@require_http_methods(["GET", "POST"])
def readings(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Record readings by panel and spot; what looks wrong is said first and kept if it is recorded all the same."""
    sheet, today = sheet_or_404(request, vehicle_id), studio_today(request)
    start = SheetForm.fresh(
        sheet, today=today, unit=request.session.get(UNIT_MARK, "um"), gauge=request.session.get(GAUGE_MARK, ""),
        inspection=request.GET.get("inspection", "")[:12],
    )  # fmt: skip
    form = SheetForm(sent(request), sheet=sheet, today=today, initial=start)
    grid = Grid(sheet, sent(request))
    if request.method != "POST":
        return page(request, sheet, form, grid)
    request.session[UNIT_MARK], request.session[GAUGE_MARK] = form.typed_unit(), request.POST.get("gauge", "")[:20]
    entries = grid.entries(form)
    grid.show(_doubts(request, vehicle_id, form, entries))
    if "more_spots" in request.POST or not form.is_valid() or grid.wrong:
        return page(request, sheet, form, grid)
    if not entries:
        form.add_error(None, "Nothing was typed yet: enter at least one reading.")
        return page(request, sheet, form, grid)
    if not _record(request, sheet, form, grid, entries):
        return page(request, sheet, form, grid)
    condition.assess_one(studio=request.member.studio, vehicle_id=vehicle_id, at=timezone.now())
    count = f"{len(entries)} reading{'s' if len(entries) > 1 else ''}"
    messages.success(request, f"{count} recorded for {sheet.vehicle}, {sheet.plate}. The forecast below counts them.")
    return redirect("studio:vehicle", vehicle_id=vehicle_id)


@access("technician")
@require_POST
def check_readings(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """What looks wrong about the sheet so far, as pieces that the page puts beside its fields. Records nothing."""
    sheet = sheet_or_404(request, vehicle_id)
    form = SheetForm(request.POST, sheet=sheet, today=studio_today(request))
    grid = Grid(sheet, request.POST)
    entries = grid.entries(form)
    grid.show(_doubts(request, vehicle_id, form, entries))
    doubts = [doubt for row in grid.rows for doubt in row.doubts if doubt.asks]
    context = {"grid": grid, "doubts": doubts, "gauge_note": _gauge_note(form, sheet)}
    return render(request, "studio/readings_check.html", context)


def filled(values: dict[str, str], *, spots: int, unit: str) -> QueryDict:
    """What a sheet would send with these film values typed."""
    data = QueryDict(mutable=True)
    data.update({**values, "spots": str(spots), "unit": unit})
    return data


@access("technician")
@require_http_methods(["GET"])
def gauges(request: MemberRequest) -> HttpResponse:
    """The studio's instruments."""
    rows = gauge_verbs.gauges(request.member.studio, today=studio_today(request))
    return render(request, "studio/gauges.html", {"rows": rows})


def _save(request: MemberRequest, form: GaugeForm, gauge_id: int | None) -> HttpResponse | None:
    verb = partial(gauge_verbs.save_gauge, gauge_id=gauge_id, **form.cleaned_data, **who_and_when(request))
    gauge = attempt(form, verb)
    if gauge is None:
        return None
    messages.success(request, f"{gauge.name} is on record.")
    return redirect("studio:gauges")


@access("technician")
@require_http_methods(["GET", "POST"])
def new_gauge(request: MemberRequest) -> HttpResponse:
    """Put an instrument on record."""
    form = GaugeForm(sent(request))
    done = _save(request, form, None) if form.is_valid() else None
    return done or render(request, "studio/gauge.html", {"form": form, "row": None})


def _retire(request: MemberRequest, row: gauge_verbs.GaugeRow, form: RetireForm) -> HttpResponse | None:
    back = "back" in request.POST
    if not back and not form.is_valid():
        return None
    day: Any = None if back else form.cleaned_data["on"]
    if attempt(form, partial(gauge_verbs.retire_gauge, gauge_id=row.id, on=day, **who_and_when(request))) is None:
        return None
    messages.success(request, f"{row.name} is in use again." if back else f"{row.name} is out of use since {day}.")
    return redirect("studio:gauges")


@access("technician")
@require_http_methods(["GET", "POST"])
def gauge(request: MemberRequest, gauge_id: int) -> HttpResponse:
    """Change an instrument, note its check, or retire it."""
    today = studio_today(request)
    try:
        row = gauge_verbs.gauge_row(request.member.studio, gauge_id, today=today)
    except NotFoundHere as error:
        raise Http404 from error
    retiring = request.method == "POST" and ("retire" in request.POST or "back" in request.POST)
    start = {name: getattr(row, name) for name in GaugeForm.base_fields}
    form = GaugeForm(None if retiring else sent(request), initial=start)
    retire = RetireForm(request.POST if retiring else None, initial={"on": today}, prefix="retire")
    done = _retire(request, row, retire) if retiring else _save(request, form, gauge_id) if form.is_valid() else None
    return done or render(request, "studio/gauge.html", {"form": form, "row": row, "retire": retire})
