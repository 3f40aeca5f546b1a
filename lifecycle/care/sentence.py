"""The one sentence that a keeper reads first: the worst surface, the next thing to do and when, whether it can wait.

Pure: plain values in, words out, translated into the language that is active.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lifecycle.care.tongue.names import a_task, on_surfaces, the_layer
from lifecycle.care.vehicle_view import STAGES, DueView, SurfaceView, VehicleView
from lifecycle.care.wording import layer_words, spoken

SOON: Final = timedelta(days=14)
STAGE_WORDS: Final = {
    "fresh": gettext_lazy("fresh"),
    "settled": gettext_lazy("settled"),
    "tired": gettext_lazy("tired"),
    "end": gettext_lazy("at its end"),
    "gone": gettext_lazy("used up"),
}


@dataclass(frozen=True, slots=True)
class SurfaceState:
    """One surface for the sentence: name and layer in English words, as `wording` has them; stage
    ("clogged" and "unknown" included), whether grimy."""

    name: str
    stage: str
    layer: str = ""
    grimy: bool = False


@dataclass(frozen=True, slots=True)
class NextCare:
    """The next thing to do. `latest` is the last day on which it does most good, `by` the day of a contract."""

    title: str
    earliest: date
    latest: date
    by: date | None = None
    pressing: bool = False


def days(first: date, last: date) -> str:
    """A range of days in words: "between 3 and 28 April 2026"."""
    if first == last:
        return _("on %(day)s") % {"day": date_format(first, _("j F Y"))}
    if (first.year, first.month) == (last.year, last.month):
        start = date_format(first, _("j"))
    elif first.year == last.year:
        start = date_format(first, _("j F"))
    else:
        start = date_format(first, _("j F Y"))
    return _("between %(first)s and %(last)s") % {"first": start, "last": date_format(last, _("j F Y"))}


def _where(states: Sequence[SurfaceState], total: int) -> str:
    """ "on the roof", "on the roof and the bonnet", "on 5 of 8 surfaces"."""
    if len(states) == total and total > 1:
        return _("on all %(total)d surfaces") % {"total": total}
    if len(states) <= 3:
        return on_surfaces(*(state.name for state in states))
    return _("on %(count)d of %(total)d surfaces") % {"count": len(states), "total": total}


def _condition(states: Sequence[SurfaceState], stage: str, total: int) -> str:
    """What is in this stage and where: "the wax on all 5 surfaces is used up", "the layers on … are tired"."""
    where = _where(states, total)
    layers = {state.layer for state in states}
    if len(layers) == 1:
        return _("%(the_layer)s %(where)s is %(stage)s") % {
            "the_layer": the_layer(layers.pop() or "layer"), "where": where, "stage": STAGE_WORDS[stage],
        }  # fmt: skip
    words = _("at their end") if stage == "end" else STAGE_WORDS[stage]
    return _("the layers %(where)s are %(stage)s") % {"where": where, "stage": words}


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]


def _rest(rest: Sequence[SurfaceState], *, all_known: bool) -> str:
    worst = max(rest, key=lambda state: STAGES.index(state.stage)).stage
    same = all(state.stage == worst for state in rest)
    if all_known:
        words = _("the rest is %(stage)s") if same else _("the rest is %(stage)s or better")
    else:
        words = _("what else is known is %(stage)s") if same else _("what else is known is %(stage)s or better")
    return words % {"stage": STAGE_WORDS[worst]}


def condition_words(states: Sequence[SurfaceState]) -> str:
    """How the vehicle's surfaces are: what grime hides, then the worst, the rest, and what grime makes look worse."""
    if not states:
        return _("No surface is on record yet.")
    told = [state for state in states if state.stage in STAGES]
    hidden = [state for state in states if state.stage == "clogged"]
    if not told and not hidden:
        return _("How the protection is doing is not known yet.")
    said = []
    if hidden:
        said.append(_("Grime hides how much is left %(where)s") % {"where": _where(hidden, len(states))})
    if told:
        worst = max(told, key=lambda state: STAGES.index(state.stage)).stage
        those = [state for state in told if state.stage == worst]
        how = [_condition(those, worst, len(states))]
        rest = [state for state in told if state.stage != worst]
        if rest:
            how.append(_rest(rest, all_known=len(told) + len(hidden) == len(states)))
        grimy = [state for state in told if state.grimy]
        if grimy and not hidden:
            how.append(_("grime may make it look worse %(where)s") % {"where": _where(grimy, len(states))})
        said.append(_capital("; ".join(how)))
    return f"{'. '.join(said)}."


def _pressing_words(care: NextCare, what: str, today: date) -> str:
    if care.latest <= today:
        return _("Best done now: %(what)s.") % {"what": what}
    return _("Best done soon: %(what)s before %(day)s.") % {"what": what, "day": date_format(care.latest, _("j F Y"))}


def next_words(care: NextCare | None, *, booked_on: date | None, today: date) -> str:
    """What to do next, and that it can wait where it can."""
    if booked_on is not None:
        booked = _("A visit is booked for %(day)s") % {"day": date_format(booked_on, _("j F Y"))}
        return f"{booked}." if care is not None else _("%(booked)s; nothing else needs doing now.") % {"booked": booked}
    if care is None:
        return _("Nothing needs doing now.")
    what = a_task(care.title)
    if care.by is not None:
        if care.by < today:
            return _("The contract asked for %(what)s by %(day)s; call the studio about it.") % {
                "what": what, "day": date_format(care.by, _("j F Y")),
            }  # fmt: skip
        return _("The contract asks for %(what)s by %(day)s; %(days)s fits.") % {
            "what": what, "day": date_format(care.by, _("j F Y")), "days": days(max(care.earliest, today), care.latest),
        }  # fmt: skip
    if care.pressing or care.latest - today <= SOON:
        return _pressing_words(care, what, today)
    when = days(max(care.earliest, today), care.latest)
    return _("Nothing is urgent; %(what)s %(days)s would do most good.") % {"what": what, "days": when}


def sentence(states: Sequence[SurfaceState], care: NextCare | None, *, booked_on: date | None, today: date) -> str:
    """The whole sentence (two, in truth): how it is, and what next."""
    return f"{condition_words(states)} {next_words(care, booked_on=booked_on, today=today)}"


def next_care(title: str, reason_code: str, earliest: date, latest: date, by: date | None) -> NextCare:
    """A due as the sentence says it: after a mishap first comes a look at it."""
    pressing = reason_code == "event"
    said = "look at what happened to it" if pressing else title
    return NextCare(title=said, earliest=earliest, latest=latest, by=by, pressing=pressing)


def state_of(surface: SurfaceView) -> SurfaceState:
    """What the sentence needs of a surface."""
    ruling = surface.ruling
    layer = layer_words(ruling.kind) if ruling is not None else ""
    return SurfaceState(spoken(surface.code), surface.shown_stage, layer, surface.grimy)


def next_due(dues: Sequence[DueView], today: date) -> DueView | None:
    """The care that comes first: what happened to the paint, then the earliest ideal day. Booked care is settled."""
    open_dues = [due for due in dues if due.booked_on is None]
    return min(open_dues, key=lambda due: (due.reason_code != "event", due.ideal, due.id), default=None)


def vehicle_sentence(vehicle: VehicleView) -> str:
    """The first sentence of a vehicle's page."""
    due = next_due(vehicle.dues, vehicle.today)
    care = None
    if due is not None:
        care = next_care(due.task_title, due.reason_code, due.earliest, due.latest, due.contract_on)
    booked = min((visit.on for visit in vehicle.visits), default=None)
    states = [state_of(surface) for surface in vehicle.surfaces]
    return sentence(states, care, booked_on=booked, today=vehicle.today)
