"""Words of a care record that the page and the print share, for codes that are sealed."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_lazy as _

BODIES: Final = {
    "saloon": _("saloon"), "estate": _("estate"), "suv": _("SUV"), "hatch": _("hatchback"), "coupe": _("coupé"),
    "roadster": _("roadster"), "convertible": _("convertible"), "pickup": _("pick-up"), "van": _("van"),
}  # fmt: skip
COLOURS: Final = {
    "white": _("white"), "light": _("light colour"), "mid": _("medium colour"), "dark": _("dark colour"),
    "black": _("black"),
}  # fmt: skip
PAINTS: Final = {
    "clear_coat": _("clear-coated paint"), "single_stage": _("single-stage paint"), "matte": _("matte paint"),
}  # fmt: skip
POWERTRAINS: Final = {
    "combustion": _("combustion engine"), "hybrid": _("hybrid drive"), "electric": _("electric drive"),
}  # fmt: skip
LOOKS: Final = {
    "walk_around": _("walk-around"), "pre_detail": _("inspection before work"), "after_work": _("look after work"),
    "check": _("check"),
}  # fmt: skip
STATES: Final = {
    "dirty": _("not washed"), "washed": _("washed"), "decontaminated": _("washed and decontaminated"),
}  # fmt: skip
METHODS: Final = {
    "magnetic": _("magnetic gauge"), "eddy": _("eddy-current gauge"), "eddy_current": _("eddy-current gauge"),
    "ultrasonic": _("ultrasonic gauge"),
}  # fmt: skip
CORRECTIONS: Final = {
    "finishing": _("finishing polish"), "one_step": _("correction in one step"),
    "cut_and_refine": _("correction in two steps"), "spot_sanding": _("spot sanding"),
    "unknown_past": _("polishing of unknown depth in the past"),
}  # fmt: skip
DECISIONS: Final = {
    "unknown": _("how much clear coat may still come off is not known"),
    "none": _("no further correction is offered"),
    "finishing_only": _("a finishing polish at most"),
    "one_step_with_consent": _("a correction in one step at most, with the owner’s consent"),
    "cut_and_refine_with_consent": _("a correction in two steps at most, with the owner’s consent"),
}
MARKS: Final = {
    "published": _("published"), "computed": _("computed"), "common practice": _("common practice"),
    "judgement": _("judgement"), "from memory": _("from memory"), "learned here": _("learned here"),
    "measured": _("measured"), "own figure": _("the studio’s own figure"),
}  # fmt: skip
FINISHES: Final = {
    "refinish": _("Repainted."), "touch_up": _("Touched up."),
    "unknown": _("Nobody knows whether it was ever repainted."),
}  # fmt: skip
INTRO: Final = _(
    "What the studio has on record about the protection and the paint of this vehicle. A figure is an estimate with a "
    "range that holds 8 of 10 cases, unless it says when it was seen or measured."
)
NOT_SAID: Final = _(
    "It holds no personal data: no keeper, no plate, no address, no photos. It does not say how the vehicle was used, "
    "judges no warranty and is no valuation."
)
CAUTIONS: Final = (
    _(
        "Before any product goes on or comes off: read the safety data sheet and the guide of the product’s maker. "
        "They overrule what stands here, and so do local rules and licensed trades."
    ),
    _(
        "A film reading is the whole build-up at one spot; nobody can read from it alone how much clear coat is left. "
        "Measure again before any machine polishing."
    ),
    _("The ranges are as of the day of the forecast. How the vehicle is used and washed from then on moves them."),
)
FILM_CAUTION: Final = _("Clear film: do not pull at a lifting edge, and keep the pressure washer away from it.")
ELECTRIC_CAUTION: Final = _(
    "Orange cables carry high voltage: no steam and no pressure water in the engine bay by untrained people, and never "
    "while charging."
)


def word(words: object, code: str) -> str:
    """The word of a code; an unknown code as it stands, with spaces."""
    found = words.get(code) if isinstance(words, dict) else None
    return str(found) if found is not None else code.replace("_", " ")
