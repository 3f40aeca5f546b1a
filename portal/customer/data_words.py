"""Words of the readable form of a customer's own data: titles of its parts, names of fields, values. The file for
programs keeps the names of the record."""

from __future__ import annotations

import re
from collections.abc import Mapping
from datetime import date, datetime
from math import floor, isfinite, log10
from typing import Any, Final

from django.utils import timezone
from django.utils.formats import date_format, localize
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from lifecycle.care.rules import TASKS
from lifecycle.care.tongue.names import layer_name, surface_name
from lifecycle.care.tongue.speak import say
from lifecycle.care.wording import LAYER_WORDS
from portal.templatetags.clocks import clock

_DAYLIKE: Final = re.compile(r"\d{4}-\d\d-\d\d(T\d\d:\d\d(:\d\d(\.\d+)?)?([+-]\d\d:\d\d|Z)?)?")
_CODE: Final = re.compile(r"[a-z]+(?:[_-][a-z0-9]+)*")
TITLES: Final = (
    _("Who you are"), _("What you agreed to"), _("Vehicles you keep or kept"), _("Complaints"), _("Mails to you"),
    _("What became of the mails"), _("Reminders, written or held back, and why"), _("Your signatures under reports"),
    _("What you said to paint work"), _("Your signatures for paint work"), _("Your calendar address"), _("Vehicles"),
    _("Surfaces"), _("Wheel sets on the vehicle"), _("Layers"), _("How the vehicle is used"), _("Times in storage"),
    _("Washes and other events"), _("Inspections"), _("Readings"), _("Doubts about readings"), _("Findings"),
    _("Photos"), _("Paint corrections"), _("Plans for paint corrections"), _("Surfaces of those plans"),
    _("Rules of contracts"), _("Dates of contracts"), _("Care that was due"), _("Work that is not offered"),
    _("Proposed visits"), _("Visits"), _("Advice and offers"), _("Answers to advice"), _("Forecasts"),
    _("Forecasts by layer"), _("Sealed reports"), _("Addresses that are not written to"),
    _("What was done by you or to your record"), _("Your account"), _("Where you are signed in"), _("Your passkeys"),
    _("Offers of a vehicle to a new keeper"), _("Links to a care record that you shared"),
    _("Your number in another list of the studio"), _("Numbers of the vehicles in other lists"),
    _("Looks beside the forecasts before them"), _("Whether reminders bring people: your care windows"),
    _("Care that the studio expects, and how likely"), _("Advice that was told to you"),
    _("Care records issued for a buyer"), _("Visits that the studio expects of you, and how likely"),
)  # fmt: skip
FIELDS: Final = (
    _("about"), _("added at"), _("after id"), _("air c"), _("applied"), _("as of"), _("assessment id"), _("assumed"),
    _("at"), _("attempts"), _("batch"), _("bay id"), _("before"), _("before id"), _("body"), _("booked at"),
    _("budget high um"), _("budget low um"), _("by"), _("caption"), _("changed at"), _("channel"), _("clean state"),
    _("climate"), _("closed at"), _("closed why"), _("coat gap h"), _("coats"), _("code"), _("colour"),
    _("consent id"), _("content"), _("contract on"), _("course"), _("created at"), _("cure h"), _("customer id"),
    _("decision"), _("description"), _("detail"), _("digest"), _("done on"), _("drops"), _("due"), _("due id"),
    _("dwell h"), _("earliest"), _("email"), _("end"), _("end p10"), _("end p50"), _("end p90"), _("ended"),
    _("ended at"), _("ended why"), _("ends on"), _("erased at"), _("error"), _("event id"), _("every months"),
    _("evidence says"), _("final"), _("finding id"), _("finish"), _("first seen"), _("fleet"), _("from email"),
    _("function p10"), _("function p50"), _("function p90"), _("gauge checked on"), _("gauge id"), _("gauge sd um"),
    _("given"), _("goes"), _("happened elsewhere"), _("headers"), _("height"), _("height m"), _("hours"), _("how"),
    _("html"), _("id"), _("ideal"), _("inputs"), _("inspection id"), _("ip"), _("kind"), _("km per year"),
    _("labour h"), _("language"), _("last seen at"), _("last sign in"), _("last used at"), _("lat"), _("latest"),
    _("layer id"), _("left after high"), _("left after low"), _("left before high"), _("left before low"), _("light"),
    _("lon"), _("made at"), _("marks"), _("message id"), _("method"), _("model version"), _("name"), _("next try at"),
    _("note"), _("notes"), _("number"), _("occurred at"), _("of id"), _("offer id"), _("offered"), _("on"),
    _("on outline"), _("open"), _("opened at"), _("orientation"), _("overridden"), _("override reason"), _("paid"),
    _("paint"), _("parking"), _("part"), _("part since"), _("passes"), _("paused until"), _("phone"), _("plan id"),
    _("planned bay id"), _("planned id"), _("planned on"), _("planned why"), _("plate"), _("powertrain"),
    _("pre existing"), _("prep"), _("price high"), _("price low"), _("product id"), _("proposal id"), _("provider"),
    _("provider id"), _("purpose"), _("quiet from"), _("quiet to"), _("rate median"), _("reason"), _("reason code"),
    _("reasons"), _("received at"), _("refinished on"), _("reminder id"), _("removal high um"), _("removal low um"),
    _("removed on"), _("renewal p10 months"), _("renewal p50 months"), _("renewal p90 months"), _("report id"),
    _("resends"), _("retired on"), _("rh pct"), _("road salt"), _("rough high"), _("rough low"), _("rule id"),
    _("says"), _("sea distance m"), _("sealed at"), _("season"), _("seen on"), _("send at"), _("sequence"),
    _("settled at"), _("severity"), _("sha256"), _("share high"), _("share low"), _("signature sha256"), _("since"),
    _("size"), _("size mm"), _("source"), _("spot"), _("stage"), _("start"), _("starts"), _("starts on"), _("state"),
    _("state at"), _("step"), _("stopped at"), _("strokes"), _("subject"), _("subject id"), _("substrate"),
    _("surface c"), _("surface id"), _("surfaces"), _("takes high um"), _("takes low um"), _("task"), _("tasks"),
    _("text"), _("tired p10"), _("tired p50"), _("tired p90"), _("title"), _("to email"), _("tolerance days"),
    _("trees birds"), _("typed"), _("uid"), _("unit"), _("until"), _("user agent"), _("value"), _("vehicle id"),
    _("verb"), _("visit id"), _("visit sequence"), _("wanted on"), _("wanted part"), _("wash method"), _("wash ph"),
    _("washes per year"), _("whole"), _("why"), _("width"), _("wish"), _("withdrawn at"), _("withdrawn why"),
    _("wording"), _("words"), _("written at"), _("written in"), _("x"), _("y"), _("zone"),
    _("latest at"), _("latest kind"), _("said yes"), _("usual days"),
    _("value per visit"), _("visits"), _("worth"),
)  # fmt: skip
# Keys inside what is kept as a whole: inputs and results of forecasts, reasons, climate.
INNER: Final = (
    _("about id"), _("approval for"), _("basis"), _("budget um"), _("came"), _("cause"), _("chance"),
    _("chance dates"), _("changed"), _("class"), _("clear um"), _("clogged"), _("contamination"), _("contracts"),
    _("cure days"), _("decontaminated on"), _("distance km"), _("diurnal range k"), _("earlier thickness"),
    _("end on"), _("ends at"), _("etch risk"), _("events"), _("expected"), _("forecast on"),
    _("found"), _("frost days"), _("function"), _("function left"), _("handover id"),
    _("hydrolysis"), _("if postponed"), _("implied"), _("issued at"), _("known"), _("layers"),
    _("lead"), _("left"), _("life consumed"), _("life mark"), _("life months"), _("made on"),
    _("mechanism"), _("mounted"), _("options"), _("overdue since"), _("p10"), _("p50"), _("p90"), _("parts"),
    _("period"), _("place"), _("prevents"), _("product"), _("rain days"), _("rain mm"), _("readings"),
    _("recommended by"), _("record id"), _("reminded"), _("removals"), _("removed um"), _("renewal months"),
    _("renewal on"), _("returns chance"), _("road"), _("scheme"), _("seen"), _("self check"), _("share"), _("split"),
    _("step id"), _("sunshine fraction"), _("surface"), _("take up"), _("taken"), _("taken um"), _("thickness"),
    _("tired on"), _("to customer id"), _("units"), _("values"), _("verdict"), _("wash chemistry"),
    _("wash contact"), _("wet hours"), _("what"), _("wind ms"), _("yearly stress"), _("heat"), _("sunlight"),
)  # fmt: skip
# What the record says by a code; kinds of layer, surfaces and care tasks have their names elsewhere.
CODES: Final = (
    _("own page"), _("email"), _("mail"), _("phone call"), _("factory"), _("touch up"), _("front"), _("rear"),
    _("flat"), _("side"), _("sill"), _("wheel"), _("screen"), _("inside"), _("garage"), _("garage nights"),
    _("carport"), _("mixed"), _("street"), _("under trees"), _("two bucket"), _("touch free neutral"),
    _("touch free high ph"), _("rinseless"), _("soft cloth tunnel"), _("bristle tunnel"), _("self service brush"),
    _("dish soap"), _("neutral"), _("alkaline"), _("acid"), _("unknown"), _("none"), _("some"), _("regular"),
    _("heavy"), _("customer"), _("keeper"), _("studio"), _("owner"), _("technician"), _("desk"), _("pre detail"),
    _("walk around"), _("after work"), _("thickness um"), _("contact angle deg"), _("gloss gu"), _("works"),
    _("swirls"), _("chip"), _("scratch"), _("bird etching"), _("gap fit"), _("edge lift"), _("sap"), _("iron specks"),
    _("glass replaced"), _("part removed"), _("touch up paint"), _("wear"), _("interval"), _("season"), _("clogging"),
    _("contract"), _("yearly"), _("first check"), _("storage"), _("event"), _("bare"), _("maker notice"),
    _("service"), _("promotion"), _("proposed"), _("accepted"), _("withdrawn"), _("closed"), _("expired"),
    _("recommended"), _("deferred"), _("any"), _("no show"), _("planned"), _("skipped"), _("waiting"), _("written"),
    _("ready"), _("handing over"), _("delivered"), _("bounced"), _("complained"), _("failed"), _("retry"),
    _("stopped"), _("unconfirmed"), _("sent"), _("opened"), _("report"), _("addendum"), _("signed"), _("drawn"),
    _("spoken"), _("first"), _("follow up"), _("last"), _("winter"), _("summer"), _("all year"), _("fresh"), _("end"),
    _("gone"), _("finishing"), _("one step"), _("cut and refine"), _("spot sanding"), _("unknown past"),
    _("not applicable"), _("finishing only"), _("one step with consent"), _("cut and refine with consent"),
    _("learned here"), _("not needed"), _("not said"), _("price"), _("elsewhere"), _("window open"),
    _("window opens"), _("window over"), _("window too short"), _("half way"), _("put off"), _("after pause"),
    _("another first"), _("time passed"), _("enrolled later"), _("first comes first"), _("no contract date"),
    _("contract date near"), _("in one mail"), _("consent unknown"), _("consent withdrawn"), _("complaint open"),
    _("previous keeper"), _("no address"), _("suppressed"), _("paused by person"), _("studio paused"),
    _("vehicle retired"), _("vehicle stored"), _("visit recent"), _("visit soon"), _("resting"), _("refused"),
    _("just done"), _("due done"), _("due withdrawn"), _("due booked"), _("due asked"), _("care due"),
    _("care event"), _("care due opened"), _("care due moved"), _("visit"), _("vehicle"), _("photo"), _("habits"),
    _("message"), _("reminder"), _("calendar feed"), _("consent"), _("complaint"), _("visit asked for"),
    _("visit booked"), _("visit cancelled"), _("visit declined"), _("visit moved"), _("visit request withdrawn"),
    _("visit request lapsed"), _("another day asked for"), _("offered day chosen"), _("other days offered"),
    _("consent given"), _("unsubscribed"), _("wishes changed"), _("sign-in opened"), _("signed in"),
    _("customer registered"), _("customer changed"), _("complaint opened"), _("complaint closed"),
    _("vehicle transferred"), _("event recorded"), _("habits recorded"), _("inspection recorded"),
    _("inspection withdrawn"), _("photo added"), _("photo removed"), _("calendar address made"),
    _("calendar address ended"), _("address suppressed"), _("person erased"), _("message written"),
    _("reminder planned"), _("reminder held back"),
)  # fmt: skip
MORE_CODES: Final = (
    _("right"), _("not right"), _("cannot tell"), _("likely"), _("possible"), _("cycle"), _("nothing now"),
    _("e-mail"), _("paper form"), _("in person"), _("telephone"), _("booking"), _("inspected"), _("outcome"),
    _("rough"), _("close"), _("fair"), _("class table"), _("first send"), _("care record issued"),
    _("care record shared"), _("record link ended"), _("vehicle offered to a new keeper"),
    _("handover accepted"), _("handover declined"), _("handover withdrawn"), _("handover over"), _("signatures erased"),
    _("correction agreed to"), _("storage recorded"), _("visit request ended by transfer"), _("visit passed on"),
    _("early"),
)  # fmt: skip
# Written for machines: the file holds it, eyes need not.
FILE_ONLY: Final = frozenset({"html", "headers", "course", "input_hash"})
_UNITS: Final = {"um": "µm", "deg": "°"}


# Where a column's own name says too little, or is a code's too.
SAID: Final = {
    "taken": _("surfaces to be done"), "left": _("surfaces left out"), "rate": _("the share is that of"),
    "gone": _("why nothing is expected"), "alive": _("chance that you still are a customer"),
    "comes_12m": _("chance of a visit within 12 months"), "visits_12m": _("visits expected in 12 months"),
    "value_12m": _("money expected in 12 months"), "own": _("your own interval"),
    "slips": _("stays away longer than usual"), "uv_mj_m2": _("UV, MJ/m²"),
    "ghi_kwh_m2_day": _("sun, kWh/m² a day"), "koppen_class": _("Köppen class"), "ln_life_sd": _("spread of the life"),
    "answer_h": _("answer within, hours"), "error_word": _("how good the climate is"),
}  # fmt: skip


def field_words(name: str) -> str:
    """A field's name as people read it, in the language that is active."""
    if name in SAID:
        return gettext(SAID[name])
    said = gettext(name.replace("_", " "))
    return surface_name(name) if said == name.replace("_", " ") else said


def _day(value: date) -> str:
    if not isinstance(value, datetime):
        return date_format(value, gettext("j F Y"))
    written = gettext("j F Y, H:i")  # a time without a zone is by the clock of the site
    return clock(timezone.localtime(value), written) if timezone.is_aware(value) else date_format(value, written)


def _as_day(value: str) -> date | None:
    """A day or a time that is kept as text (RFC 3339), as in forecasts."""
    if not _DAYLIKE.fullmatch(value):
        return None
    try:
        return date.fromisoformat(value) if len(value) == 10 else datetime.fromisoformat(value)
    except ValueError:
        return None


def _text(value: str) -> str:
    """A text in the reader's language: a name, a day, a sentence of the rules, or a code."""
    day = _as_day(value)
    if day is not None:
        return _day(day)
    if value in TASKS:
        return gettext(TASKS[value].title)
    if value in LAYER_WORDS:
        return layer_name(value)
    if value in _UNITS:
        return _UNITS[value]
    said = say(value)
    if said != value or not _CODE.fullmatch(value):
        return said
    plain = value.replace("_", " ")
    return said if (said := gettext(plain)) != plain else surface_name(value)


def _number(value: float) -> str:
    """A number that was reckoned, with three digits that count."""
    short = round(value, max(0, 2 - floor(log10(abs(value))))) if value and isfinite(value) else value
    return str(localize(int(short) if isfinite(short) and short == int(short) else short))


def value_words(value: Any) -> str:
    """A value to read: days and numbers as the language writes them, texts of the rules and codes in its words."""
    if isinstance(value, Mapping):
        return "; ".join(f"{field_words(str(name))}: {value_words(one)}" for name, one in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(value_words(one) for one in value)
    if isinstance(value, bool):
        return gettext("yes") if value else gettext("no")
    if isinstance(value, str):
        said = _text(value)
    elif isinstance(value, date):
        said = _day(value)
    else:
        said = _number(value) if isinstance(value, float) else str(localize(value))
    return said
