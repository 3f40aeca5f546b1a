"""Names that codes of the record are shown by, marked for the catalogues, and the names themselves in the language that
is active. The words come from the tables that the rules use; a test compares."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from django.utils import translation
from django.utils.translation import gettext, npgettext, pgettext, pgettext_lazy
from django.utils.translation import gettext_noop as _

from lifecycle.care.wording import layer_words, spoken

LAYERS: Final = (
    _("wax"), _("polymer sealant"), _("booster"), _("entry ceramic coat"), _("mid ceramic coat"),
    _("top ceramic coat"), _("clear film"), _("film's water-repellent top"), _("vinyl wrap"), _("windscreen coat"),
    _("wipe-on screen treatment"), _("side glass coat"), _("wheel coat"), _("trim coat"), _("trim dressing"),
    _("headlamp coat"), _("leather coat"), _("leather guard"), _("textile proofing"), _("engine bay dressing"),
    _("engine bay coat"), _("metal sealant"), _("layer of unknown kind"), _("layer"),
)  # fmt: skip
# With their article, as a sentence needs them: "the wax is …".
THE_LAYERS: Final = (
    pgettext_lazy("the", "wax"), pgettext_lazy("the", "polymer sealant"),
    pgettext_lazy("the", "booster"), pgettext_lazy("the", "entry ceramic coat"),
    pgettext_lazy("the", "mid ceramic coat"), pgettext_lazy("the", "top ceramic coat"),
    pgettext_lazy("the", "clear film"),
    pgettext_lazy("the", "film's water-repellent top"), pgettext_lazy("the", "vinyl wrap"),
    pgettext_lazy("the", "windscreen coat"),
    pgettext_lazy("the", "wipe-on screen treatment"), pgettext_lazy("the", "side glass coat"),
    pgettext_lazy("the", "wheel coat"), pgettext_lazy("the", "trim coat"),
    pgettext_lazy("the", "trim dressing"), pgettext_lazy("the", "headlamp coat"),
    pgettext_lazy("the", "leather coat"), pgettext_lazy("the", "leather guard"),
    pgettext_lazy("the", "textile proofing"), pgettext_lazy("the", "engine bay dressing"),
    pgettext_lazy("the", "engine bay coat"),
    pgettext_lazy("the", "metal sealant"), pgettext_lazy("the", "layer of unknown kind"),
    pgettext_lazy("the", "layer"),
)  # fmt: skip
# Where something lies: "on the roof".
ON_SURFACES: Final = (
    pgettext_lazy("on the", "bed"), pgettext_lazy("on the", "bonnet"),
    pgettext_lazy("on the", "boot"), pgettext_lazy("on the", "left doors"),
    pgettext_lazy("on the", "right doors"), pgettext_lazy("on the", "doors"),
    pgettext_lazy("on the", "engine bay"), pgettext_lazy("on the", "front bumper"),
    pgettext_lazy("on the", "front wings"), pgettext_lazy("on the", "wings"),
    pgettext_lazy("on the", "headlamps"), pgettext_lazy("on the", "interior"),
    pgettext_lazy("on the", "leather"), pgettext_lazy("on the", "rear bumper"),
    pgettext_lazy("on the", "rear glass"), pgettext_lazy("on the", "rear wings"),
    pgettext_lazy("on the", "roof"), pgettext_lazy("on the", "side glass"),
    pgettext_lazy("on the", "left side panel"), pgettext_lazy("on the", "right side panel"),
    pgettext_lazy("on the", "sills"), pgettext_lazy("on the", "soft top"),
    pgettext_lazy("on the", "tailgate"), pgettext_lazy("on the", "trim"),
    pgettext_lazy("on the", "wheels"), pgettext_lazy("on the", "winter wheels"),
    pgettext_lazy("on the", "summer wheels"),
    pgettext_lazy("on the", "all year wheels"), pgettext_lazy("on the", "windscreen"),
)  # fmt: skip
MORE_SURFACES: Final = (
    _("doors"), _("wings"), _("winter wheels"), _("summer wheels"), _("all year wheels"), _("whole car"),
)  # fmt: skip
# One of each kind of work, as a sentence says it: "an inspection".
A_TASK: Final = (
    pgettext_lazy("a", "event response"), pgettext_lazy("a", "wheel swap"),
    pgettext_lazy("a", "wheel re-treat"), pgettext_lazy("a", "wheel re-treat off the car"),
    pgettext_lazy("a", "engine bay care"), pgettext_lazy("a", "maintenance wash"),
    pgettext_lazy("a", "wake-up visit"), pgettext_lazy("a", "decontamination wash"),
    pgettext_lazy("a", "iron removal"), pgettext_lazy("a", "first check"),
    pgettext_lazy("a", "inspection"), pgettext_lazy("a", "retest"),
    pgettext_lazy("a", "correction in one step"), pgettext_lazy("a", "correction in two steps"),
    pgettext_lazy("a", "headlamp care"),
    pgettext_lazy("a", "film edge check"), pgettext_lazy("a", "film top-up"),
    pgettext_lazy("a", "film renewal"), pgettext_lazy("a", "wax renewal"),
    pgettext_lazy("a", "sealant renewal"), pgettext_lazy("a", "booster top-up"),
    pgettext_lazy("a", "re-coat"), pgettext_lazy("a", "metal sealing"),
    pgettext_lazy("a", "trim coat"), pgettext_lazy("a", "windscreen re-treat"),
    pgettext_lazy("a", "side glass re-treat"), pgettext_lazy("a", "textile proofing"),
    pgettext_lazy("a", "leather guard"), pgettext_lazy("a", "note to the coat's maker"),
    pgettext_lazy("a", "lay-up visit"),
    pgettext_lazy("a", "look at what happened to it"),
)  # fmt: skip
MECHANISMS: Final = (
    _("sunlight"), _("long wetness"), _("heat"), _("rubbing while washing"), _("strong cleaners"), _("the road"),
    _("dirt and fallout"), _("Sunlight"), _("Long wetness"), _("Heat"), _("Rubbing while washing"),
    _("Strong cleaners"), _("The road"), _("Dirt and fallout"),
)  # fmt: skip
MARKS: Final = (
    _("published"), _("computed"), _("common practice"), _("judgement"), _("from memory"), _("learned here"),
    _("the product's sheet"),
)  # fmt: skip
HISTORY: Final = (
    _("wash"), _("iron removal"), _("iron specks felt or seen"), _("bird dropping"), _("tree sap"),
    _("industrial fallout"), _("overspray"), _("flood"), _("decontamination"), _("paint correction"), _("top-up"),
    _("repaint"), _("part swapped"), _("paint touched up in one place"), _("glass replaced"), _("part taken off"),
    _("finishing polish"), _("correction in one step"), _("correction in two steps"), _("spot sanding"),
    _("polishing of unknown depth in the past"), _("water contact angle"), _("beading score"), _("gloss"),
    _("film thickness"), _("still works"), _("no longer works"),
    # why a layer ended
    _("worn"), _("removed"), _("renewed"), _("part swap"), _("correction"), _("recalled"), _("glass replacement"),
)  # fmt: skip
FINDINGS: Final = (
    _("swirl marks"), _("scuff"), _("stone chip"), _("isolated deep scratch"), _("oxidation"), _("fading"),
    _("water etching"), _("bird dropping etching"), _("previous touch-up"), _("refinish"), _("buffer trails"),
    _("residue"), _("gap or fit"), _("staining"), _("film edge lifting"), _("crack"), _("other"),
)  # fmt: skip
INSPECTIONS: Final = (
    _("walk-around"), _("pre-detail inspection"), _("after the work"), _("check"), _("dirty"), _("washed"),
    _("decontaminated"), _(" of 5"), _("contact angle, degrees"),
    _("beading score, 0 to 5"), _("gloss at 20 degrees, GU"), _("still works (1) or not (0)"),
    _("total film thickness, µm"),
)  # fmt: skip
MISHAPS: Final = (_("a bird dropping"), _("a flood"), _("fallout"))
SOURCES: Final = (_("asked"), _("reported"), _("defaulted"))
GAUGES: Final = (_("magnetic"), _("eddy"), _("ultrasonic"))
SUBSTRATES: Final = (
    _("steel"), _("aluminium"), _("plastic"), _("composite"), _("glass"), _("leather"), _("textile"),
)  # fmt: skip
VEHICLES: Final = (
    _("saloon"), _("estate"), _("hatch"), _("suv"), _("van"), _("pickup"), _("roadster"), _("coupe"),
    _("combustion"), _("hybrid"), _("electric"), _("clear coat"), _("single stage"), _("matte"),
    _("white"), _("light"), _("mid"), _("dark"), _("black"),
)  # fmt: skip
# English spells these bodies otherwise than their codes, which are the words of the catalogue.
ENGLISH_BODIES: Final = {"suv": "SUV", "pickup": "pick-up", "coupe": "coupé"}
LIGHTS: Final = (_("inspection lamp"), _("swirl-finding lamp"), _("lit bay"), _("daylight"))


def surface_name(code: str) -> str:
    """A surface as people say it: "left doors"."""
    return gettext(spoken(code))


def body_name(body: str) -> str:
    """A kind of body in the language that is active."""
    return ENGLISH_BODIES.get(body, body) if speaks_english() else gettext(body)


def layer_name(kind: str) -> str:
    """A kind of layer in words: "wax"."""
    return gettext(layer_words(kind))


def the_layer(words: str) -> str:
    """A layer, by its English words, with its article: "the wax"."""
    said = pgettext("the", words)
    return _with_the(words) if said == words else said


def _with_the(words: str) -> str:
    return gettext("the %(thing)s") % {"thing": gettext(words)}


def listed(said: Sequence[str]) -> str:
    """ "roof", "roof and bonnet", "roof, bonnet and sills"."""
    if len(said) < 2:
        return "".join(said)
    return gettext("%(first)s and %(last)s") % {"first": ", ".join(said[:-1]), "last": said[-1]}


def _on(name: str) -> str:
    said = pgettext("on the", name)
    return gettext("on the %(surface)s") % {"surface": gettext(name)} if said == name else said


def on_surfaces(*surfaces: str) -> str:
    """Where something lies, by the surfaces' English words: "on the roof and the bonnet"."""
    if speaks_english():
        return f"on {listed([f'the {name}' for name in surfaces])}"
    return listed([_on(name) for name in surfaces])


def speaks_english() -> bool:
    """Whether the active language is English, in which the rules write."""
    return (translation.get_language() or "en").split("-")[0] == "en"


def within(said: str) -> str:
    """A sentence as the end of another one: English begins it with a small letter, German nouns keep their capital."""
    return said[:1].lower() + said[1:] if speaks_english() else said


def a_task(title: str) -> str:
    """One of a kind of work by its English title: "an inspection", "headlamp care"."""
    said = pgettext("a", title)
    return _with_a(title) if said == title else said


def _with_a(title: str) -> str:
    """As English says it; care that is not counted has no article."""
    if title.endswith(("care", "proofing", "sealing")):
        return title
    return f"an {title}" if title[:1] in "aeiou" else f"a {title}"


def more(count: int) -> str:
    """ "3 more", after a list of surfaces."""
    return npgettext("surfaces", "%(count)d more", "%(count)d more", count) % {"count": count}
