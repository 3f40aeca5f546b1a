"""The intake of a vehicle: walk-around, cleaning, inspection under light, findings placed on our own drawings.

Every form works by itself. A script sends the same forms one by one, keeps them while the link is lost, and asks for
JSON; the keys that come with them make each count once, however often it arrives.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Final
from uuid import UUID, uuid4, uuid5

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse, JsonResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.safestring import SafeString
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle import condition
from lifecycle.care import intake as verbs
from lifecycle.care import intake_reads as reads
from lifecycle.care.intake_reads import FindingRow, InspectionRow, Intake
from lifecycle.care.photos import add_photo
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access
from portal.drawings import finding_marks, places
from portal.drawings.finding_marks import Mark
from portal.drawings.places import Spot

from . import cautions
from .common import attempt, plain, studio_today
from .intake_forms import (
    LIGHTS,
    ChangeFindingForm,
    CleaningForm,
    FindingForm,
    FinishForm,
    OpenForm,
    PhotoForm,
    initial_of,
    spots_of,
)
from .register import kept_or_404, who_and_when

WORKER: Final = Path(__file__).resolve().parent.parent / "static" / "js" / "intake-worker.js"


CLEANING_STEPS: Final = ("wheels", "engine_bay", "wash", "decontamination")


@dataclass(frozen=True, slots=True)
class SeenRow:
    """A finding of the list: its mark, and in words where it is."""

    finding: FindingRow
    sign: SafeString
    where: str


@dataclass(frozen=True, slots=True)
class OutlineRow:
    spot: Spot
    drawing: SafeString


@dataclass(frozen=True, slots=True)
class Seen:
    """One inspection with its findings and the drawings that show them."""

    inspection: InspectionRow
    rows: tuple[SeenRow, ...]
    plan: SafeString
    outlines: tuple[OutlineRow, ...]


def _mark(finding: FindingRow) -> Mark:
    return Mark(finding.number, finding.kind, finding.surface_id, finding.on_outline, finding.x, finding.y,
                ours=not finding.pre_existing)  # fmt: skip


def _seen(inspection: InspectionRow, spots: list[Spot], view: Intake) -> Seen:
    by_id = {spot.id: spot for spot in spots}
    marks = [_mark(finding) for finding in inspection.findings]
    on_outline = {mark.surface_id for mark in marks if mark.on_outline}
    title = f"{view.vehicle} {view.plate} from above: findings of the {inspection.kind_words}"
    return Seen(
        inspection,
        tuple(
            SeenRow(finding, finding_marks.sign(_mark(finding)), where_words(finding, by_id, view.body))
            for finding in inspection.findings
        ),
        finding_marks.draw_plan(spots, marks, body=view.body, key=f"p{inspection.id}", title=title),
        tuple(
            OutlineRow(spot, finding_marks.draw_outline(spot, marks, body=view.body, key=f"m{inspection.id}-{spot.id}"))
            for spot in spots
            if spot.id in on_outline
        ),
    )


def where_words(finding: FindingRow, spots: dict[int, Spot], body: str) -> str:
    """Where on its surface a finding lies; empty where nobody said."""
    spot = spots.get(finding.surface_id or 0)
    if spot is None:
        return ""
    return places.words_of(spot, body, on_outline=finding.on_outline, x=finding.x, y=finding.y)


def _current(view: Intake, wanted: str) -> InspectionRow | None:
    """The inspection that findings go to: the one that was asked for, else the open one."""
    asked = next((row for row in view.inspections if str(row.key) == wanted and not row.sealed), None)
    return asked or next((row for row in view.inspections if row.open and not row.sealed), None)


def _page(request: MemberRequest, view: Intake, bound: dict[str, forms.Form], *, status: int = 200) -> HttpResponse:
    """The page, with the forms that were refused as they were typed."""
    today, spots = studio_today(request), spots_of(view)
    current = _current(view, request.GET.get("to", ""))
    key = {"inspection": current.key} if current else {}
    said = {name: getattr(current, name) for name in ("note", "rough_low", "rough_high")} if current else {}
    seen = [_seen(row, spots, view) for row in reversed(view.inspections)]
    marks = [_mark(finding) for finding in current.findings] if current else []
    context = {
        "view": view,
        "current": current,
        "seen": seen,
        "who": request.member.actor,
        "open_form": bound.get("open"),
        "keys": {"walk_around": uuid4(), "pre_detail": uuid4()},
        "lights": LIGHTS,
        "cleaning_form": bound.get("cleaning") or CleaningForm(today=today, initial={"washed": True}),
        "finish_form": bound.get("finish") or FinishForm(initial=key | said),
        "finding_form": bound.get("finding") or FindingForm(spots=spots, body=view.body, initial=key),
        "first_caution": cautions.for_steps("walk_around", powertrain=view.powertrain)[0],
        "walk_cautions": cautions.own_of("walk_around", powertrain=view.powertrain),
        "cleaning_cautions": cautions.own_of(*CLEANING_STEPS, powertrain=view.powertrain),
        "light_cautions": cautions.own_of("inspection", powertrain=view.powertrain),
        "off_plan": [spot for spot in spots if not places.pieces_of(spot.code, view.body)[0].outline],
        "today": today,
        "plan": finding_marks.draw_plan(
            spots, marks, body=view.body, key="plan", title=f"{view.vehicle} {view.plate} from above: tap to place"
        ),
        "outlines": [
            OutlineRow(spot, finding_marks.draw_outline(spot, marks, body=view.body, key=f"o{spot.id}"))
            for spot in spots
        ],
    }
    return render(request, "studio/intake.html", context, status=status)


def _open(request: MemberRequest, view: Intake) -> forms.Form:
    form = OpenForm(request.POST, today=studio_today(request))
    if form.is_valid():
        data = form.cleaned_data
        under_light = data["kind"] == "pre_detail"
        attempt(
            form,
            lambda: verbs.open_inspection(
                vehicle_id=view.vehicle_id, kind=data["kind"], on=data["on"], light=data["light"],
                # A walk-around looks at the vehicle as it comes; the light shows what washing has uncovered.
                clean_state="decontaminated" if under_light else "dirty", key=data["key"],
                member_id=request.member.id, **who_and_when(request),
            ),
        )  # fmt: skip
    return form


def _cleaning(request: MemberRequest, view: Intake) -> forms.Form:
    form = CleaningForm(request.POST, today=studio_today(request))
    if form.is_valid():
        data = form.cleaned_data
        attempt(
            form,
            lambda: verbs.note_cleaning(
                vehicle_id=view.vehicle_id, on=data["on"], washed=data["washed"], note=data["note"],
                decontaminated=data["decontaminated"], key=data["key"], **who_and_when(request),
            ),
        )  # fmt: skip
    return form


def _found(form: forms.Form, ask: Callable[..., int], view: Intake, request: MemberRequest, key: UUID) -> int | None:
    """The id behind a device's key; where there is none, the form says so and is kept."""
    try:
        return ask(request.member.studio, view.vehicle_id, key)
    except NotFoundHere as error:
        form.add_error(None, error.message)
        return None


def _finding(request: MemberRequest, view: Intake) -> forms.Form:
    form = FindingForm(request.POST, request.FILES, spots=spots_of(view), body=view.body)
    if not form.is_valid():
        return form
    key = form.cleaned_data["key"]
    inspection_id = _found(form, reads.inspection_id_of, view, request, form.cleaned_data["inspection"])
    if inspection_id is None:
        return form
    finding = attempt(
        form,
        lambda: verbs.add_finding(
            inspection_id=inspection_id, details=form.details(), key=key, **who_and_when(request)
        ),
    )
    if finding is not None:
        keep_photos(request, view.vehicle_id, finding_id=finding.pk, key=key)
    return form


def keep_photos(request: MemberRequest, vehicle_id: int, *, finding_id: int, key: UUID) -> None:
    """Keep the photos that came with a plain form. One that is refused is named; the others and the rest stay."""
    for number, upload in enumerate(request.FILES.getlist("photos")):
        try:
            add_photo(vehicle_id=vehicle_id, upload=upload, finding_id=finding_id, key=uuid5(key, f"photo {number}"),
                      **who_and_when(request))  # fmt: skip
        except DomainError as error:
            messages.error(request, f"{upload.name}: {plain(error)} The finding itself is kept; add the photo to it.")


def _photo(request: MemberRequest, view: Intake) -> forms.Form:
    form = PhotoForm(request.POST, request.FILES)
    if not form.is_valid():
        return form
    data = form.cleaned_data
    inspection_id = _found(form, reads.inspection_id_of, view, request, data["inspection"])
    finding_id = _found(form, reads.finding_id_of, view, request, data["finding"]) if data["finding"] else None
    if not form.errors:
        attempt(
            form,
            lambda: add_photo(
                vehicle_id=view.vehicle_id, upload=data["photo"], inspection_id=inspection_id, finding_id=finding_id,
                key=data["key"], **who_and_when(request),
            ),
        )  # fmt: skip
    return form


def _finish(request: MemberRequest, view: Intake) -> forms.Form:
    form = FinishForm(request.POST)
    if not form.is_valid():
        return form
    data = form.cleaned_data
    inspection_id = _found(form, reads.inspection_id_of, view, request, data["inspection"])
    if inspection_id is not None:
        done = attempt(
            form,
            lambda: verbs.finish_inspection(
                inspection_id=inspection_id, note=data["note"], rough_low=data["rough_low"],
                rough_high=data["rough_high"], **who_and_when(request),
            ),
        )  # fmt: skip
        if done is not None:
            condition.assess_one(studio=request.member.studio, vehicle_id=view.vehicle_id, at=timezone.now())
    return form


STEPS: Final[dict[str, Callable[[MemberRequest, Intake], forms.Form]]] = {
    "open": _open,
    "cleaning": _cleaning,
    "finding": _finding,
    "photo": _photo,
    "finish": _finish,
}


def _intake_or_404(request: MemberRequest, vehicle_id: int) -> Intake:
    kept_or_404(request, vehicle_id)
    return reads.intake(request.member.studio, vehicle_id)


@access("technician")
@require_http_methods(["GET", "POST"])
def intake(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """The intake page; `what` in a form says which of its steps was sent."""
    view = _intake_or_404(request, vehicle_id)
    if request.method == "GET":
        return _page(request, view, {})
    what = request.POST.get("what", "")
    wants_json = request.headers.get("Accept") == "application/json"
    if what not in STEPS:
        says = "This form says no step of the intake; load the page anew."
        return _refused({"__all__": [says]}) if wants_json else HttpResponse(says, status=400)
    form = STEPS[what](request, view)
    if wants_json:
        return _refused(form.errors) if form.errors else JsonResponse({"kept": request.POST["key"]})
    if form.errors:
        return _page(request, reads.intake(request.member.studio, vehicle_id), {what: form})
    to = request.GET.get("to", "")
    return redirect(f"{request.path}{f'?to={to}' if to and what == 'finding' else ''}{ANCHORS.get(what, '')}")


ANCHORS: Final = {"open": "#place", "finding": "#place", "photo": "#seen"}


def _refused(errors: dict[str, list[str]]) -> JsonResponse:
    """What is wrong, by field: the device keeps the entry and shows it beside it."""
    return JsonResponse({"errors": {name: [str(each) for each in said] for name, said in errors.items()}}, status=422)


@access("technician")
@require_http_methods(["GET", "POST"])
def intake_finding(request: MemberRequest, vehicle_id: int, finding_id: int) -> HttpResponse:
    """Say anew what a finding is, add photos to it, or take it out, while no sealed report holds it."""
    view = _intake_or_404(request, vehicle_id)
    studio = request.member.studio
    try:
        finding, sealed = reads.finding_of(studio, vehicle_id, finding_id)
    except NotFoundHere as error:
        raise Http404 from error
    back = f"{reverse('studio:intake', args=[vehicle_id])}#seen"
    spots = spots_of(view)
    form = ChangeFindingForm(
        request.POST or None, request.FILES or None, spots=spots, body=view.body, initial=initial_of(finding)
    )
    if request.method == "POST" and "remove" in request.POST:
        try:
            verbs.remove_finding(finding_id=finding_id, **who_and_when(request))
        except DomainError as error:
            messages.error(request, plain(error))
        return redirect(back)
    if request.method == "POST" and form.is_valid():
        verb = lambda: verbs.alter_finding(  # noqa: E731
            finding_id=finding_id, details=form.details(), **who_and_when(request)
        )
        if attempt(form, verb) is not None:
            keep_photos(request, vehicle_id, finding_id=finding_id, key=form.cleaned_data["key"])
            return redirect(back)
    where = where_words(finding, {spot.id: spot for spot in spots}, view.body)
    context = {"view": view, "finding": finding, "form": form, "sealed": sealed, "where": where, "back": back}
    return render(request, "studio/intake_finding.html", context)


@access("technician")
@require_GET
def intake_worker(request: MemberRequest) -> HttpResponse:
    """The service worker. Served from here, for a worker reaches no further than the folder that it comes from."""
    answer = HttpResponse(WORKER.read_bytes(), content_type="text/javascript; charset=utf-8")
    answer["Cache-Control"] = "no-cache"
    return answer
