"""Words of the readable form of a customer's own data: titles of its parts, names of fields, values. The file for
programs keeps the names of the record."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date, datetime
from typing import Any, Final

from django.utils.formats import date_format, localize
from django.utils.translation import gettext
from django.utils.translation import gettext_noop as _

from lifecycle.care.tongue.speak import say

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
)  # fmt: skip


def field_words(name: str) -> str:
    """A field's name as people read it, in the language that is active."""
    return gettext(name.replace("_", " "))


def value_words(value: Any) -> str:
    """A value to read: days and numbers as the language writes them, texts of the rules and codes in its words."""
    if isinstance(value, str):
        said = say(value)
        return gettext(value.replace("_", " ")) if said == value and value.isascii() and " " not in value else said
    if isinstance(value, date):
        return date_format(value, gettext("j F Y, H:i") if isinstance(value, datetime) else gettext("j F Y"))
    if isinstance(value, Mapping):
        return "; ".join(f"{field_words(str(name))}: {value_words(one)}" for name, one in value.items())
    if isinstance(value, list | tuple):
        return ", ".join(value_words(one) for one in value)
    return (gettext("yes") if value else gettext("no")) if isinstance(value, bool) else str(localize(value))
