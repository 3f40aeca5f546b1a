"""The care guide: what the layers on a vehicle ask for, and until when fresh ones are left alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.http import Http404, HttpResponse
from django.shortcuts import render
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET

from lifecycle.care.cure_calendar import CureStep, FreshLayer, cure_calendar
from lifecycle.care.guide import guide_of
from lifecycle.care.told import keeping
from lifecycle.care.vehicle_reads import vehicle_for_customer
from lifecycle.errors import NotFoundHere
from portal.access.people import PortalRequest
from portal.access.registry import access

from .common import today_of

# What is waited with, by step of a cure.
WAIT: Final = {
    "dry": gettext_lazy("Keep it dry until %(day)s"),
    "rain": gettext_lazy("Keep soaking rain and dew off until %(day)s"),
    "wipers": gettext_lazy("Wait with the wipers until %(day)s"),
    "rubbing": gettext_lazy("Wait with rubbing and wiping until %(day)s"),
    "wash": gettext_lazy("Wait with washing until %(day)s"),
    "chemicals": gettext_lazy("Wait with cleaners and boosters until %(day)s"),
    "full": gettext_lazy("Fully cured about %(day)s"),
}


@dataclass(frozen=True, slots=True)
class StepWords:
    """One step: what is waited with until when, whether that is past, and where it comes from."""

    says: str
    over: bool
    source: str


@dataclass(frozen=True, slots=True)
class FreshWords:
    title: str
    steps: tuple[StepWords, ...]
    slower: bool


def step_words(step: CureStep) -> StepWords:
    """ "Wait with washing until 9 March 2026 (from 7 March at the earliest)." The later day counts."""
    said = str(WAIT[step.step]) % {"day": date_format(step.latest, _("j F Y"))}
    if step.earliest < step.latest:
        said = _("%(said)s (at the earliest %(day)s)") % {"said": said, "day": date_format(step.earliest, _("j F Y"))}
    return StepWords(f"{said}.", step.over, _("the product’s data sheet") if step.by_sheet else _("common practice"))


def fresh_words(fresh: FreshLayer) -> FreshWords:
    """A fresh layer with its steps."""
    title = _("%(layer)s of %(day)s: %(surfaces)s") % {
        "layer": fresh.product or fresh.layer, "day": date_format(fresh.applied, _("j F Y")),
        "surfaces": ", ".join(fresh.surfaces),
    }  # fmt: skip
    return FreshWords(title[:1].upper() + title[1:], tuple(step_words(step) for step in fresh.steps), fresh.slower)


@access("customer")
@require_GET
@never_cache
def guide(request: PortalRequest, vehicle_id: int) -> HttpResponse:
    """What to do and what to leave, layer by layer."""
    today = today_of(request)
    try:
        keeper = keeping(request.customer_ids, vehicle_id)
        vehicle = vehicle_for_customer(customer_ids=request.customer_ids, vehicle_id=vehicle_id, today=today)
    except NotFoundHere as error:
        raise Http404 from error
    fresh = cure_calendar(studio=keeper.studio, vehicle_id=vehicle_id, today=today)
    resting = [step.latest for one in fresh for step in one.steps if step.step == "wash" and not step.over]
    context = {
        "vehicle": vehicle,
        "guides": guide_of(vehicle.surfaces, powertrain=vehicle.powertrain),
        "fresh": [fresh_words(one) for one in fresh],
        "wash_from": max(resting, default=None),
    }
    return render(request, "customer/guide.html", context)
