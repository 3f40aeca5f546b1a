"""A care record in words, made from the sealed content alone; the page and the PDF show the same."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Any, Final

from django.conf import settings
from django.urls import reverse
from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from lifecycle.care.wording import capital, layer_words, spoken
from lifecycle.wear.types import Band, DateBand
from portal.drawings.words import STAGE_WORDS, day, months_between, share_range, um_range

from . import words

SEEN_RECENTLY_DAYS: Final = 180
FILM_KINDS: Final = frozenset({"film_body", "wrap"})
Content = Mapping[str, Any]


@dataclass(frozen=True, slots=True)
class LayerRow:
    """One layer that several surfaces share in all that is said of it."""

    where: str
    name: str
    applied: str
    state: str
    expected: str
    known: str
    marks: str


@dataclass(frozen=True, slots=True)
class EarlierRow:
    where: str
    name: str
    applied: str
    ended: str


@dataclass(frozen=True, slots=True)
class PaintRow:
    """The evidence of one painted panel."""

    where: str
    films: tuple[str, ...]
    corrections: tuple[str, ...]
    budget: str
    marks: str


@dataclass(frozen=True, slots=True)
class LookRow:
    on: str
    what: str
    counted: str
    report: str
    check_url: str


@dataclass(frozen=True, slots=True)
class RecordPage:
    """Everything that a record says; `bare`: surfaces without a layer on record; `grimy`: those that grime may make
    look worse than they are."""

    number: int
    studio: str
    vehicle: str
    facts: str
    known_since: str
    forecast_of: str
    seen: str
    layers: tuple[LayerRow, ...]
    bare: str
    grimy: str
    earlier: tuple[EarlierRow, ...]
    paint: tuple[PaintRow, ...]
    looks: tuple[LookRow, ...]
    cautions: tuple[str, ...]


def _on(text: str) -> date:
    return date.fromisoformat(text)


def _long(text: str) -> str:
    return date_format(_on(text), _("j F Y"))


def _band(values: Sequence[str] | None) -> Band | None:
    return Band(*(float(value) for value in values)) if values else None


def _days(values: Sequence[str] | None) -> DateBand | None:
    return DateBand(*(_on(value) for value in values)) if values else None


def _plain(text: str) -> str:
    """A fixed text without needless zeros."""
    number = Decimal(text)
    return f"{number.normalize():f}" if number != number.to_integral() else f"{number:.0f}"


def _named(kind: str, product: str, coats: int = 1) -> str:
    name = capital(layer_words(kind))
    if product and product.lower() != name.lower():
        name += f" ({product})"
    if coats > 1:
        name += ", " + ngettext("%(n)d coat", "%(n)d coats", coats) % {"n": coats}
    return name


def known_words(applied: date, seen: date | None, issued: date) -> str:
    """Whether what is said of a layer was seen, and when, or is an estimate."""
    if seen is None:
        return _("Estimate, not seen since it was put on.")
    if (issued - seen).days > SEEN_RECENTLY_DAYS:
        return _("Estimate, last seen on %(day)s.") % {"day": day(seen)}
    return _("Seen on %(day)s.") % {"day": day(seen)}


def _marks(marks: Iterable[str]) -> str:
    return ", ".join(words.word(words.MARKS, mark) for mark in marks)


def _layer(row: Content, issued: date) -> tuple[str, ...]:
    left, tired, end = _band(row["function_left"]), _days(row["tired"]), _days(row["end"])
    state = str(STAGE_WORDS.get(row["stage"], row["stage"]))
    if left is not None:
        state = _("%(stage)s, %(range)s of its function left") % {"stage": state, "range": share_range(left)}
    expected = []
    if tired is not None and tired.p90 > issued and row["stage"] in ("fresh", "settled"):
        expected.append(_("likely tired %(range)s") % {"range": months_between(tired)})
    if end is not None and end.p90 > issued:
        expected.append(_("renewal likely sensible %(range)s") % {"range": months_between(end)})
    seen = _on(row["seen"]) if row["seen"] else None
    return (
        _named(row["kind"], row["product"], row["coats"]), day(_on(row["applied"])), capital(state),
        capital("; ".join(expected)), known_words(_on(row["applied"]), seen, issued), _marks(row["marks"]),
    )  # fmt: skip


def _together(pairs: Iterable[tuple[tuple[str, ...], str]]) -> list[tuple[str, tuple[str, ...]]]:
    """Equal rows once, with all the surfaces that they are true of."""
    found: dict[tuple[str, ...], list[str]] = {}
    for row, where in pairs:
        found.setdefault(row, []).append(where)
    return [(capital(", ".join(dict.fromkeys(names))), row) for row, names in found.items()]


def _film(row: Content) -> str:
    said = {
        "mean": round(float(row["mean_um"])), "lowest": round(float(row["lowest_um"])), "day": day(_on(row["on"])),
        "count": row["readings"],
    }  # fmt: skip
    if row["readings"] > 1:
        text = _("%(day)s: mean %(mean)d µm, lowest %(lowest)d µm, %(count)d readings") % said
    else:
        text = _("%(day)s: %(mean)d µm, one reading") % said
    gauge = [row["gauge"]] if row["gauge"] else []
    gauge += [words.word(words.METHODS, row["method"])] if row["method"] else []
    gauge += [f"± {_plain(row['gauge_sd_um'])} µm"] if row["gauge_sd_um"] else []
    return f"{text} ({', '.join(gauge)})" if gauge else text


def _correction(row: Content) -> str:
    said = words.word(words.CORRECTIONS, row["stage"])
    if row["passes"] > 1:
        said += ", " + ngettext("%(n)d pass", "%(n)d passes", row["passes"]) % {"n": row["passes"]}
    took = {"low": _plain(row["low_um"]), "high": _plain(row["high_um"])}
    amount = _("%(low)s to %(high)s µm measured") if row["measured"] else _("%(low)s to %(high)s µm by estimate")
    said = f"{day(_on(row['on']))}: {said}, {amount % took}"
    return said + (", " + _("done elsewhere or earlier") if row["elsewhere"] else "")


def _paint(surface: Content) -> PaintRow | None:
    clear, films = surface["clear"], surface["films"]
    if clear is None and not films and not surface["corrections"]:
        return None
    budget = []
    if surface["finish"] == "refinish" and surface["refinished_on"]:
        budget.append(_("Repainted on %(day)s.") % {"day": day(_on(surface["refinished_on"]))})
    elif surface["finish"] in words.FINISHES:
        budget.append(str(words.FINISHES[surface["finish"]]))
    band = _band(clear["budget_um"]) if clear else None
    if band is not None and band.p50 > 0:
        budget.append(_("To spare: %(range)s.") % {"range": um_range(band)})
    if clear:
        budget.append(capital(words.word(words.DECISIONS, clear["decision"])) + ".")
    return PaintRow(
        where=capital(spoken(surface["code"])), films=tuple(_film(row) for row in films),
        corrections=tuple(_correction(row) for row in surface["corrections"]), budget=" ".join(budget),
        marks=_marks(clear["marks"]) if clear else "",
    )  # fmt: skip


def _look(row: Content) -> LookRow:
    counted = [ngettext("%(n)d reading", "%(n)d readings", row["readings"]) % {"n": row["readings"]}]
    counted += [ngettext("%(n)d finding", "%(n)d findings", row["findings"]) % {"n": row["findings"]}]
    sealed = row["report"]
    return LookRow(
        on=day(_on(row["on"])),
        what=f"{capital(words.word(words.LOOKS, row['kind']))}, {words.word(words.STATES, row['clean_state'])}",
        counted=", ".join(counted),
        report=_("report %(number)d of %(day)s") % {"number": sealed["number"], "day": day(_on(sealed["sealed_on"]))}
        if sealed else "",
        check_url=f"{settings.SITE_ADDRESS}{reverse('report_check', args=[sealed['token']])}" if sealed else "",
    )  # fmt: skip


def _cautions(content: Content) -> tuple[str, ...]:
    kinds = {layer["kind"] for surface in content["surfaces"] for layer in surface["layers"]}
    said = [*words.CAUTIONS, *([words.FILM_CAUTION] if kinds & FILM_KINDS else [])]
    said += [words.ELECTRIC_CAUTION] if content["vehicle"]["powertrain"] in ("electric", "hybrid") else []
    return tuple(str(text) for text in said)


def _facts(vehicle: Content) -> str:
    said = [
        words.word(words.BODIES, vehicle["body"]), _("size %(size)s") % {"size": vehicle["size"]},
        words.word(words.COLOURS, vehicle["colour"]), words.word(words.PAINTS, vehicle["paint"]),
        words.word(words.POWERTRAINS, vehicle["powertrain"]),
    ]  # fmt: skip
    return ", ".join(said)


def page_of(content: Content) -> RecordPage:
    """The content of a record of form 1 in the active language."""
    issued, surfaces = _on(content["issued_on"]), content["surfaces"]
    layers = _together(
        (_layer(layer, issued), spoken(surface["code"]))
        for surface in surfaces for layer in reversed(surface["layers"])
    )  # fmt: skip
    earlier = _together(
        ((_named(row["kind"], row["product"]), day(_on(row["applied"])), day(_on(row["ended"]))), spoken(one["code"]))
        for one in surfaces for row in one["earlier"]
    )  # fmt: skip
    seen, as_of = content["seen"], content["forecast"]["as_of"]
    return RecordPage(
        number=content["number"], studio=content["studio"]["name"],
        vehicle=capital(content["vehicle"]["description"]), facts=_facts(content["vehicle"]),
        known_since=_long(content["vehicle"]["known_since"]),
        forecast_of=_long(as_of) if as_of else _("none yet"),
        seen=_long(seen) if seen else _("not yet; everything about wear is an estimate"),
        layers=tuple(LayerRow(where, *row) for where, row in layers),
        bare=", ".join(spoken(one["code"]) for one in surfaces if not one["layers"]),
        grimy=", ".join(spoken(one["code"]) for one in surfaces if one["grimy"]),
        earlier=tuple(EarlierRow(where, *row) for where, row in earlier),
        paint=tuple(row for one in surfaces if (row := _paint(one)) is not None),
        looks=tuple(_look(row) for row in content["inspections"]), cautions=_cautions(content),
    )  # fmt: skip
