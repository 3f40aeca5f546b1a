"""What the clear-coat budget allows: refusals of corrections, and whether a re-coat may be talked about."""

from __future__ import annotations

from collections.abc import Iterator

from lifecycle.care.due import WHERE, Refused
from lifecycle.care.facts import FILM, CareFacts, SurfaceFacts

WHY_SINGLE_STAGE = "single-stage paint has no clear coat over its colour: polishing takes the colour itself"
WHY_MATTE = "matte paint is never polished: it would turn glossy in patches"
COMES_OFF = "the old coat comes off by light polishing"
REFUSALS = {
    "unknown": (
        "correction",
        f"No correction on {WHERE}: the clear-coat budget is not known, and film readings come first",
    ),
    "none": ("correction", f"No correction on {WHERE}: the low end of the clear-coat budget is used up"),
    "finishing_only": (
        "correction",
        f"No correction on {WHERE}: the low end of the clear-coat budget leaves room for light finishing only",
    ),
    "one_step_with_consent": (
        "cut_and_refine",
        f"No cut and refine on {WHERE}: the clear-coat budget leaves room for one step at most, with consent",
    ),
}


def _plain(why: str) -> str:
    """Somebody else's sentence as the end of ours; percentages are never shown bare, so such a sentence is left out."""
    why = why.strip().rstrip(".")
    return f" ({why})" if why and "%" not in why else ""


def correction_refusals(facts: CareFacts) -> Iterator[Refused]:
    """No correction is offered on single-stage or matte paint, over budget, or where the budget is not known."""
    paint = facts.vehicle.paint
    if paint in ("single_stage", "matte"):
        why = WHY_SINGLE_STAGE if paint == "single_stage" else WHY_MATTE
        for code in facts.body_codes():
            yield Refused("correction", (code,), f"No correction on {WHERE}: {why}.")
        return
    for surface in facts.painted():
        coat = surface.forecast.clear_coat
        if coat is not None and coat.decision in REFUSALS:
            task, text = REFUSALS[coat.decision]
            yield Refused(task, (surface.code,), f"{text}{_plain(coat.why)}.")


def why_no_recoat(surface: SurfaceFacts, facts: CareFacts) -> str | None:
    """Why a re-coat, whose light polish takes clear coat, is not offered here; None where the budget has room for it.

    On film the old coat comes off the film's own top, not off the clear coat.
    """
    if surface.live(FILM) is not None:
        return None
    if facts.vehicle.paint == "single_stage":
        return WHY_SINGLE_STAGE
    if facts.vehicle.paint == "matte":
        return WHY_MATTE
    coat = surface.forecast.clear_coat
    if coat is None or coat.decision == "unknown":
        return f"the clear-coat budget is not known, and {COMES_OFF}; film readings come first"
    if coat.decision == "none":
        return f"the low end of the clear-coat budget is used up, and {COMES_OFF}{_plain(coat.why)}"
    return None
