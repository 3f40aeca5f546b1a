"""The life of a vehicle: paint, parts, glass, unknown layers, wheel sets, and entries that were wrong."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial
from typing import Any, Final

from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import life_reads, parts, wheels, withdraw
from lifecycle.care.wording import day_words
from lifecycle.errors import NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access

from . import cautions
from .common import attempt, studio_today
from .life_forms import (
    AddSetForm,
    GlassForm,
    NameSetForm,
    RemovedForm,
    RepaintForm,
    SwapForm,
    SwapWheelsForm,
    UnknownForm,
    WhyForm,
)
from .register import assessed, kept_or_404, sent, who_and_when

# Common practice, no source; they never replace the maker's word or a licensed trade.
PAINT: Final = (
    "Paint is a painter's work: two-pack paints and clear coats hold isocyanates; trained people, supplied air.",
    "Nothing that seals goes on fresh paint before the painter and the maker of the paint say so.",
    cautions.FIRST,
)
GLASS: Final = (
    "Cameras and sensors behind or beside the pane are calibrated by a licensed practice after it was replaced; until "
    "then the driver cannot rely on them.",
    "No coat over a camera's or sensor's field unless the maker allows it; the adhesive cures first.",
    cautions.FIRST,
)


@dataclass(frozen=True, slots=True)
class Work:
    """One kind of work on a surface: its form, its verb, and the page's words."""

    form: type[Any]
    verb: Callable[..., Any]
    heading: str
    lead: str
    said: str
    cautions: tuple[str, ...] = ()


WORKS: Final = {
    "repaint": Work(
        RepaintForm, parts.repaint, "Painted anew",
        "New paint ends every coat of the panel; what was measured and polished before no longer speaks of it.",
        "The paint is on record.", PAINT,
    ),
    "swap": Work(
        SwapForm, parts.swap_part, "A part was swapped",
        "The new part starts without coats, readings and corrections; those of the old one stay in the history.",
        "The new part is on record.",
    ),
    "glass": Work(
        GlassForm, parts.replace_glass, "Glass was replaced", "A new pane starts without a coat.",
        "The new pane is on record.", GLASS,
    ),
    "removed": Work(
        RemovedForm, parts.remove_part, "A part was taken off",
        "Its record stays, and nothing is forecast for it any more. If one comes back, record it as swapped.",
        "The part is off; its record stays.",
    ),
    "unknown": Work(
        UnknownForm, parts.record_unknown_layers, "Something unknown lies on it",
        "From before the vehicle came here. Such a surface is not called bare; nothing is forecast for the layer, and "
        "only an inspection can tell more.",
        "The unknown layer is on record: no forecast, an inspection tells more.",
    ),
}  # fmt: skip


def or_404(read: Callable[[], Any]) -> Any:
    """What a scoped read finds; 404 where it finds nothing here."""
    try:
        return read()
    except NotFoundHere as error:
        raise Http404(error.message) from error


@access("member")
@require_GET
def life(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """Keepers, paint and parts, contract dates of one vehicle; also of one that left."""
    view = or_404(partial(life_reads.life, request.member.studio, vehicle_id))
    here = view.retired_on is None
    today = studio_today(request)
    context = {
        "life": view,
        "here": here,
        "may_desk": request.member.role in ROLES_OF["desk"],
        "coming": [row for row in view.terms if row.done_on is None and row.due >= today],
        "past": [row for row in reversed(view.terms) if row.done_on is not None or row.due < today],
    }
    return render(request, "studio/life.html", context)


@access("member")
@require_http_methods(["GET", "POST"])
def part(request: MemberRequest, vehicle_id: int, work: str) -> HttpResponse:
    """Record new paint, another part, a new pane, a part that is gone, or an unknown layer."""
    vehicle, today = kept_or_404(request, vehicle_id), studio_today(request)
    if work not in WORKS:
        raise Http404
    one = WORKS[work]
    extra: dict[str, Any] = {}
    if work == "swap":
        extra = {"removed": life_reads.life(request.member.studio, vehicle_id).removed}
    initial = {"on": today, "there_on": vehicle.first_seen, "surface": request.GET.get("surface", "")}
    form = one.form(sent(request), surfaces=vehicle.surfaces, today=today, initial=initial, **extra)
    if form.is_valid() and attempt(form, lambda: one.verb(**form.work(), **who_and_when(request))) is not None:
        return assessed(request, vehicle_id, f"{one.said} The forecast below counts it.")
    context = {
        "form": form, "vehicle": vehicle, "heading": one.heading, "lead": one.lead, "cautions": one.cautions,
        "button": "Record",
    }  # fmt: skip
    return render(request, "studio/record.html", context)


@access("member")
@require_http_methods(["GET", "POST"])
def wheel_sets(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """The wheel sets with their clocks; swaps them, adds one, says for which season one is."""
    vehicle, today, which = kept_or_404(request, vehicle_id), studio_today(request), request.POST.get("record")
    sets = life_reads.wheel_sets(request.member.studio, vehicle_id)
    swap = SwapWheelsForm(request.POST if which == "swap" else None, sets=sets, today=today, initial={"on": today})
    add = AddSetForm(request.POST if which == "add" else None, today=today)
    name = NameSetForm(request.POST if which == "name" else None, sets=sets, auto_id="name_%s")
    todo: tuple[tuple[Any, Callable[..., Any], str], ...] = (
        (swap, wheels.mount, "The swap is on record."),
        (add, partial(wheels.add_set, vehicle_id=vehicle_id), "The set is on record."),
        (name, wheels.name_season, "The set has its season."),
    )
    for form, verb, said in todo:
        if not form.is_valid():
            continue
        if attempt(form, partial(verb, **form.cleaned_data, **who_and_when(request))) is not None:
            assessed(request, vehicle_id, said)
            return redirect("studio:wheel_sets", vehicle_id=vehicle_id)
    context = {
        "vehicle": vehicle, "sets": sets, "swap_form": swap if len(sets) > 1 else None, "add_form": add,
        "name_form": name if sets else None,
    }  # fmt: skip
    return render(request, "studio/wheel_sets.html", context)


@access("member")
@require_GET
def entries(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """What was entered, each with its way back; and what was withdrawn, with the reason."""
    vehicle = kept_or_404(request, vehicle_id)
    context = {
        "vehicle": vehicle,
        "standing": life_reads.entries(request.member.studio, vehicle_id, withdrawn=False),
        "withdrawn": life_reads.entries(request.member.studio, vehicle_id, withdrawn=True),
    }
    return render(request, "studio/entries.html", context)


@access("member")
@require_http_methods(["GET", "POST"])
def take_back(request: MemberRequest, vehicle_id: int, kind: str, entry_id: int) -> HttpResponse:
    """Withdraw one wrong entry."""
    vehicle = kept_or_404(request, vehicle_id)
    entry = or_404(partial(life_reads.entry, request.member.studio, vehicle_id, kind, entry_id))
    form = WhyForm(sent(request))
    if form.is_valid():
        verb = partial(
            withdraw.withdraw, kind=kind, entry_id=entry_id, why=form.cleaned_data["why"], **who_and_when(request)
        )
        if attempt(form, verb) is not None:
            assessed(request, vehicle_id, "The entry is withdrawn; it stays on record with the reason.")
            return redirect("studio:entries", vehicle_id=vehicle_id)
    context = {
        "form": form,
        "vehicle": vehicle,
        "heading": "Withdraw an entry",
        "lead": f"{day_words(entry.on)}: {entry.what}. It counts no more, and stays on record with the reason. Coats "
        "that it ended live again, unless others were put on since.",
        "button": "Withdraw it",
        "back": reverse("studio:entries", args=[vehicle_id]),
    }
    return render(request, "studio/record.html", context)
