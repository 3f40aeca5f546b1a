"""English that the rules, the wear model and the verbs wrote, said in the language that is active.

They know no Django and their texts are kept in rows; so a text is matched against the sentences of `rule_phrases`,
`wear_phrases` and `error_phrases`, what stands in the gaps is said by its own kind, and gettext gives the sentence. In
English a text stays as it is. A text that fits no sentence stays English; a test looks for such.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date
from functools import lru_cache
from typing import Final

from django.utils import translation
from django.utils.formats import date_format, get_format
from django.utils.translation import gettext

from lifecycle.care.rules import TASKS
from lifecycle.care.wording import LAYER_WORDS, MECHANISM_WORDS, MONTHS

from . import (
    error_phrases,
    measures,
    names,
    outlook_phrases,
    record_phrases,
    rule_phrases,
    table_words,
    wear_phrases,
)

# Parts of sentences that no phrase holds, while `unknown_in` asks for them.
_strange: ContextVar[list[str] | None] = ContextVar("strange", default=None)
_GAP: Final = re.compile(r"%\(([a-z_]+?)(\d?)\)s")
_DAY: Final = rf"\d{{1,2}} (?:{'|'.join(MONTHS)}) \d{{4}}"
_ISO: Final = r"\d{4}-\d\d-\d\d"
_NUMBER: Final = r"[+-]?\d+(?:[.,]\d+)*"
_SENTENCE_END: Final = re.compile(r"(?<=[.!?]) (?=[A-Z])")


def _note_strange(text: str) -> None:
    noted = _strange.get()
    if noted is not None:
        noted.append(text)


def _any(words: object) -> str:
    return "|".join(sorted((re.escape(str(word)) for word in words), key=len, reverse=True))  # type: ignore[attr-defined]


def _day(text: str) -> str:
    number, month, year = text.split()
    return date_format(date(int(year), MONTHS.index(month) + 1, int(number)), gettext("j F Y"))


def _iso(text: str) -> str:
    return date_format(date.fromisoformat(text), gettext("j F Y"))


def _span(text: str) -> str:
    days = re.findall(_DAY, text)
    if len(days) == 1:
        return gettext("on %(day)s itself") % {"day": _day(days[0])}
    return gettext("between %(first)s and %(last)s") % {"first": _day(days[0]), "last": _day(days[1])}


def _number(text: str) -> str:
    return text.replace(".", str(get_format("DECIMAL_SEPARATOR")))


def _where(text: str) -> str:
    parts = [part for one in text.split(", ") for part in one.split(" and ")]
    said = []
    for part in parts:
        rest = re.fullmatch(r"(\d+) more", part)
        said.append(names.more(int(rest[1])) if rest else gettext(part[:1].lower() + part[1:]))
    return names.listed(said)


def _wear(text: str) -> str:
    return names.listed([gettext(one) for one in re.findall(_any(MECHANISM_WORDS.values()), text)])


def _the_layer(text: str) -> str:
    return names.the_layer(text[4:])


def _lower(text: str) -> str:
    return gettext(text[:1].lower() + text[1:])


def _words(text: str) -> str:
    """A part of a sentence: by its own phrase, else by its parts between semicolons or commas."""
    said = _phrase(text)
    if said is not None:
        return said
    for mark in ("; ", ", "):
        if mark in text:
            return mark.join(_words(part) for part in text.split(mark))
    _note_strange(text)
    return gettext(text)


def _code(text: str) -> str:
    """A code that was written with spaces."""
    return text.replace(" ", "_")


def _tasks(text: str) -> str:
    known = [(one, TASKS.get(_code(one))) for one in text.split(", ")]
    return ", ".join(gettext(task.title if task is not None else one) for one, task in known)


def _said_rest(text: str) -> str:
    """The end of a sentence with the mark that parts it from the beginning."""
    said = _phrase(text)
    if said is None:
        _note_strange(text)
    return text if said is None else said


# By name of the gap: what it may hold, and how that is said.
GAPS: Final[Mapping[str, tuple[str, Callable[[str], str]]]] = {
    "day": (_DAY, _day),
    "iso": (_ISO, _iso),
    "span": (rf"between {_DAY} and {_DAY}|on {_DAY} itself", _span),
    "n": (_NUMBER, _number),
    "many": (r"[A-Z][a-z]+|\d+", _lower),
    "where": (r"[^:;.()]+?", _where),
    "surface": (r"[^:;.(),]+?", gettext),
    "layer": (_any(LAYER_WORDS.values()), gettext),
    "the_layer": (rf"[Tt]he (?:{_any(LAYER_WORDS.values())})", _the_layer),
    "title": (_any(task.title for task in TASKS.values()), gettext),
    "wear": (rf"(?:{_any(MECHANISM_WORDS.values())})(?: and (?:{_any(MECHANISM_WORDS.values())}))?", _wear),
    "mishap": (r"[Aa] bird dropping|[Tt]ree sap|[Ff]allout|[Oo]verspray|[Aa] flood", _lower),
    "hot": (r"(?: in hot weather)?", lambda text: gettext(text) if text else ""),
    "soon": (r"(?:, the same day|, within 24 to 48 hours)?", lambda text: gettext(text) if text else ""),
    "source": (_any(names.SOURCES), gettext),
    "gauge": (_any(names.GAUGES), gettext),
    "substrate": (_any(names.SUBSTRATES), gettext),
    "state": (_any(error_phrases.STATES), gettext),
    "kind": (_any(error_phrases.KINDS_OF_FILE), gettext),
    "class": (r"[A-Z][A-Za-z]{0,2}", str),
    "field": (r"[a-z ]+", gettext),
    "code": (r"[a-z_ ]+", lambda text: gettext(text.replace("_", " "))),
    "rest": (r"[,:](?:(?!\. [A-Z]).)+", _said_rest),
    "layercode": (r"[a-z ]+", lambda text: names.layer_name(_code(text))),
    "surfacecode": (r"[a-z ]+", lambda text: names.surface_name(_code(text))),
    "tasks": (r"[a-z, ]+", _tasks),
    "weekday": (r"[A-Z][a-z]+day", gettext),
    "text": (r".+?", str),
    "name": (r"(?:(?!\. [A-Z]).)+?", str),
    "words": (r"(?:(?!\. [A-Z]).)+?", _words),  # never across the end of a sentence
}


@dataclass(frozen=True, slots=True)
class _Phrase:
    msgid: str
    pattern: re.Pattern[str]
    gaps: tuple[tuple[str, str], ...]


def _compiled(msgid: str) -> _Phrase:
    """A sentence as a pattern; its first letter may be a capital."""
    pattern, gaps, at = "", [], 0
    for gap in _GAP.finditer(msgid):
        pattern += re.escape(msgid[at : gap.start()].replace("%%", "%"))
        name = f"{gap[1]}{gap[2]}"
        pattern += f"(?P<{name}>{GAPS[gap[1]][0]})"
        gaps.append((name, gap[1]))
        at = gap.end()
    pattern += re.escape(msgid[at:].replace("%%", "%"))
    if msgid[0].islower():
        pattern = f"[{msgid[0]}{msgid[0].upper()}]{pattern[1:]}"
    return _Phrase(msgid, re.compile(pattern, re.DOTALL), tuple(gaps))


@lru_cache(maxsize=1)
def _table() -> tuple[dict[str, str], tuple[_Phrase, ...]]:
    """Sentences without gaps by their text, and those with gaps, the most of fixed words first."""
    told = (*rule_phrases.PHRASES, *wear_phrases.PHRASES)
    noted = (*record_phrases.PHRASES, *outlook_phrases.PHRASES)
    every = (*told, *error_phrases.PHRASES, *noted, *table_words.TABLES)
    fixed = {msgid: msgid for msgid in every if not _GAP.search(msgid)}
    fixed |= {f"{msgid[:1].upper()}{msgid[1:]}": msgid for msgid in fixed}
    gapped = sorted((msgid for msgid in every if _GAP.search(msgid)), key=lambda one: -len(_GAP.sub("", one)))
    return fixed, tuple(_compiled(msgid) for msgid in gapped)


def _capital_as(text: str, said: str) -> str:
    return said[:1].upper() + said[1:] if text[:1].isupper() else said


def _matched(text: str) -> str | None:
    fixed, gapped = _table()
    if text in fixed:
        return _capital_as(text, gettext(fixed[text]))
    for phrase in gapped:
        match = phrase.pattern.fullmatch(text)
        if match is not None:
            told = {name: GAPS[kind][1](match[name]) for name, kind in phrase.gaps}
            return _capital_as(text, gettext(phrase.msgid) % told)
    return None


def _phrase(text: str) -> str | None:
    """One phrase, with or without the full stop that it is marked with."""
    said = _matched(text)
    if said is not None:
        return said
    if text.endswith("."):
        said = _matched(text[:-1])
        return None if said is None else f"{said}."
    said = _matched(f"{text}.")
    return None if said is None else said.removesuffix(".")


def _paragraph(text: str) -> str | None:
    """Sentence after sentence, the longest run that is one phrase first; None where one is not known."""
    whole = _phrase(text)
    if whole is not None:
        return whole
    parts = _SENTENCE_END.split(text)
    for upto in range(len(parts) - 1, 0, -1):
        first = _phrase(" ".join(parts[:upto]))
        if first is not None:
            rest = _paragraph(" ".join(parts[upto:]))
            return None if rest is None else f"{first} {rest}"
    return None


@lru_cache(maxsize=8192)
def _said(text: str, language: str) -> str:
    whole = gettext(text)
    if whole != text:
        return whole  # a text of the tables, which the catalogue holds as it is
    found = _paragraph(text)
    return text if found is None else found


def say(text: str) -> str:
    """A text of the rules, the model or a verb in the language and the units that are active; unknown texts stay."""
    said = text if not text or names.speaks_english() else _said(text, translation.get_language() or "en")
    return measures.in_text(said)


def unknown_in(text: str) -> tuple[str, ...]:
    """The parts of a text that no phrase holds; () where all of it is known."""
    token = _strange.set([])
    try:
        if text and _paragraph(text) is None:
            return (text,)
        return tuple(_strange.get() or ())
    finally:
        _strange.reset(token)


def say_whole(text: str) -> str | None:
    """`say`, or None where some of the text would stay English in another language."""
    if not names.speaks_english() and unknown_in(text):
        return None
    return say(text)
