"""The care log: a keeper reports a wash, a mishap, a photo or a water test, sees what it changes, and may take it back
on the same day."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lifecycle.care import care_log
from lifecycle.care.care_log import LogView, TodaysEntry
from lifecycle.care.photos import add_photo
from lifecycle.care.told import Keeping, keeping, with_outcome
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import PortalRequest
from portal.access.registry import access
from portal.drawings.beading import beading_scale

from .answer_words import shift_words
from .common import today_of
from .first_aid import AID, CAUTIONS
from .log_forms import MishapForm, PhotoForm, WashForm, WaterForm

FORMS: Final = {"wash": WashForm, "mishap": MishapForm, "water": WaterForm, "photo": PhotoForm}
ACCEPTED: Final = "image/jpeg,image/png,image/webp"


def _keeper(request: PortalRequest, vehicle_id: int) -> Keeping:
    try:
        return keeping(request.customer_ids, vehicle_id)
    except NotFoundHere as error:
        raise Http404 from error


@dataclass(frozen=True, slots=True)
class _Here:
    """Whose log it is, what it shows, and when it was asked for."""

    keeper: Keeping
    view: LogView
    at: datetime


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def log(request: PortalRequest, vehicle_id: int) -> HttpResponse:
    """The log's page; a form that was not right comes back with what was typed."""
    at, today, keeper = timezone.now(), today_of(request), _keeper(request, vehicle_id)
    view = care_log.log_view(keeper=keeper, today=today, at=at)
    told = request.POST.get("report", "") if request.method == "POST" else ""
    if told == "take_back":
        return _take_back(request, keeper, at)
    shown = {name: form(today=today, surfaces=view.surfaces) for name, form in FORMS.items()}
    if told in FORMS:
        shown[told] = FORMS[told](request.POST, today=today, surfaces=view.surfaces)
        done = _report(request, told, shown[told], _Here(keeper, view, at))
        if done is not None:
            return done
    elif told or request.method == "POST":
        messages.error(request, _("That could not be read; nothing was changed. Please use the forms below."))
    return render(request, "customer/log.html", _context(request, view, shown, told))


def _context(request: PortalRequest, view: LogView, shown: dict[str, Any], told: str) -> dict[str, Any]:
    score = shown["water"]["score"]
    chosen = score.value() if shown["water"].is_bound else None
    after = request.GET.get("after", "")
    return {
        "view": view, "forms": shown, "told": told, "entries": [(entry, entry_words(entry)) for entry in view.entries],
        "scale": beading_scale(
            "score", chosen=int(chosen) if str(chosen).isdigit() else None, error="; ".join(score.errors)
        ),
        "after": AID.get(after), "aid": AID.values(), "cautions": CAUTIONS, "accepted": ACCEPTED,
        "ask": f"{reverse('customer:what_if', args=[view.vehicle_id])}?{_washes(view)}" if _washes(view) else "",
    }  # fmt: skip


def _washes(view: LogView) -> str:
    return f"washes_per_year={view.washes}" if view.washes else ""


def entry_words(entry: TodaysEntry) -> str:
    """One of today's entries in a line."""
    day = date_format(entry.on, _("j F Y"))
    if entry.kind == "habits":
        return _("How it is used, from %(day)s on") % {"day": day}
    where = entry.surface or _("whole vehicle")
    if entry.kind == "photo":
        return _("Photo (%(where)s)") % {"where": where}
    if entry.kind == "test":
        return _("Water test: %(score)s of 5 (%(where)s, %(day)s)") % {
            "score": entry.what, "where": where, "day": day,
        }  # fmt: skip
    if entry.what == "wash":
        return _("Wash on %(day)s") % {"day": day}
    return _("%(what)s (%(where)s, %(day)s)") % {"what": AID[entry.what].title, "where": where, "day": day}


def _report(request: PortalRequest, told: str, form: forms.Form, here: _Here) -> HttpResponse | None:
    upload = request.FILES.get("photo")
    if told == "photo" and upload is None:
        form.add_error(None, _("Choose a photo first."))
    if not form.is_valid():
        return None
    verb = _verb(told, form.cleaned_data, here, upload)
    address = reverse("customer:log", args=[here.view.vehicle_id])
    try:
        _done, moved = with_outcome(here.keeper.studio, here.view.vehicle_id, verb, at=here.at)
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        field = error.field if error.field in form.fields else None
        form.add_error(field, error.message.removeprefix(f"{error.field}: ") if error.field else error.message)
        return None
    if told == "photo":
        messages.success(request, _("The photo is on record; the studio sees it. A photo alone moves no figure."))
    elif told == "wash":
        messages.success(request, _("Thank you, the wash is on record."))
        messages.info(request, shift_words(moved) if moved else _one_wash(here.view))
    else:
        weight = _("A water test of your own counts at most a quarter of the studio’s.") if told == "water" else ""
        messages.success(request, f"{_('Thank you, it is on record.')} {weight}".strip())
        messages.info(request, shift_words(moved))
    return redirect(f"{address}?after={form.cleaned_data['kind']}" if told == "mishap" else address)


def _one_wash(view: LogView) -> str:
    """Why a wash moved no figure, and what would."""
    if view.counted is None:
        number = _("Nobody has told us how many there are a year; a usual number is assumed.")
    else:
        number = _("The forecast counts %(n)s a year.") % {"n": number_format(view.counted, 0)}
    return _(
        "One wash by itself moves no figure: wear follows from how the vehicle is washed all year. %(number)s See "
        "below whether that is right."
    ) % {"number": number}


def _verb(told: str, data: dict[str, Any], here: _Here, upload: Any) -> Callable[[], object]:
    keeper, view, at = here.keeper, here.view, here.at
    if told == "photo":
        return partial(
            add_photo, studio=keeper.studio, vehicle_id=view.vehicle_id, upload=upload, surface_id=data["surface"],
            caption=data["caption"], by="customer", key=data["key"], actor=f"customer:{keeper.customer_id}", at=at,
        )  # fmt: skip
    when: dict[str, Any] = {"keeper": keeper, "on": data["on"], "today": view.today, "at": at}
    if told == "water":
        return partial(
            care_log.report_water_test, surface_id=data["surface"], score=data["score"],
            clean_state=data["clean_state"], **when,
        )  # fmt: skip
    return partial(
        care_log.report_event, kind=data.get("kind", "wash"), surface_id=data.get("surface"),
        dwell_h=data.get("dwell_h"), key=data["key"], **when,
    )  # fmt: skip


def _take_back(request: PortalRequest, keeper: Keeping, at: datetime) -> HttpResponse:
    number = request.POST.get("id", "")
    try:
        verb = partial(
            care_log.take_back, keeper=keeper, kind=request.POST.get("kind", ""),
            entry_id=int(number) if number.isdigit() and len(number) < 19 else 0, at=at,
        )  # fmt: skip
        _done, moved = with_outcome(keeper.studio, keeper.vehicle_id, verb, at=at)
    except NotFoundHere:
        messages.error(request, _("That entry is not one of yours of today any more; nothing was changed."))
    except DomainError as error:
        messages.error(request, error.message)
    else:
        messages.success(request, _("It is taken back."))
        messages.info(request, shift_words(moved))
    return redirect("customer:log", vehicle_id=keeper.vehicle_id)
