"""What may go over what: a new layer against the stack that stands, the finish, the paint and what was done before it.

Pure: no Django. All rules are common practice without a source unless a finding says otherwise; the data sheet of a
product may permit what they refuse (`Sheet.allowed_over`, `Sheet.matte_fit`).
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date
from typing import Final

from lifecycle.care.cure_rules import REFERENCE_C, cured_days
from lifecycle.care.stack_rules import (
    BASE_COATS,
    CERAMIC,
    FILM,
    GLASS,
    LAID_BARE,
    NO_SHEET,
    PAINT_COATS,
    SACRIFICIAL,
    Finding,
    Level,
    Sheet,
    by_practice,
    by_sheet,
    by_table,
    figure,
    slot,
    spoken,
    standing,
)
from lifecycle.care.tasks_table import figure as interval_figure
from lifecycle.care.wording import day_words

WORN_OUT: Final = ("end", "gone")
ALLOWED: Final = "the trade's rules of what goes over what"
# Where a kind belongs; the others go on paint, trim and metal.
PLACES: Final = {
    **dict.fromkeys(GLASS, ("glass",)),
    "leather_coat": ("leather",),
    "leather_guard": ("leather",),
    "textile_guard": ("textile",),
    **dict.fromkeys(PAINT_COATS, ("steel", "aluminium", "plastic", "composite")),
}


@dataclass(frozen=True, slots=True)
class Standing:
    """A live layer. `stage` is the forecast's word, "" where there is none; `air_c` the mean air since it went on, °C
    (None: 20 °C)."""

    kind: str
    applied: date
    stage: str = ""
    air_c: float | None = None
    sheet: Sheet = NO_SHEET


@dataclass(frozen=True, slots=True)
class Ground:
    """A surface as it stands before the new layer: live layers from the bottom up, and what is known of the paint.

    `paint`: clear_coat, single_stage or matte.  `decontaminated_on`: the last time on record.
    """

    stack: tuple[Standing, ...] = ()
    substrate: str = "steel"
    finish: str = "factory"
    refinished_on: date | None = None
    paint: str = "clear_coat"
    decontaminated_on: date | None = None

    def live(self, kinds: frozenset[str]) -> Standing | None:
        """The topmost live layer of these kinds."""
        return next((one for one in reversed(self.stack) if one.kind in kinds), None)


@dataclass(frozen=True, slots=True)
class Laying:
    """The layer that is to go on. `prep`: words of `stack_rules.PREPS`; empty where nobody noted it."""

    kind: str
    on: date
    prep: frozenset[str] = frozenset()
    sheet: Sheet = NO_SHEET

    @property
    def laid_bare(self) -> bool:
        """What stood above the clear coat was taken off first."""
        return bool(self.prep & LAID_BARE)

    def permits(self, kind: str) -> bool:
        """The data sheet names this kind as a ground."""
        return kind in self.sheet.allowed_over


def stays(kind: str, prep: frozenset[str]) -> bool:
    """Whether a live layer of a kind is still there after the preparation: a polish or strip takes every coat above the
    clear coat but no film; taking the film off takes all."""
    if "film_removed" in prep:
        return False
    return kind in FILM or not prep & LAID_BARE


def _still_there(standing: Standing, new: Laying) -> bool:
    # What was put on the same day came after the preparation.
    return stays(standing.kind, new.prep) or standing.applied >= new.on


def _place(new: Laying, ground: Ground) -> Iterator[Finding]:
    places = PLACES.get(new.kind)
    if places is not None and ground.substrate not in places:
        text = f"{spoken(new.kind).capitalize()} belongs on {' or '.join(places)}; this surface is {ground.substrate}."
        yield by_practice("wrong_ground", Level.WARN, text, "the kind of layer and what the surface is made of")
    if new.kind in GLASS and new.kind != "windscreen_wipe_on" and "polished" not in new.prep:
        text = "A glass coat goes only on polished glass: the old film and minerals part it from the pane."
        yield by_practice("glass_unpolished", Level.BLOCK if new.prep else Level.WARN, text, ALLOWED)


def _finish(new: Laying, ground: Ground) -> Iterator[Finding]:
    if new.kind not in PAINT_COATS:
        return
    painted = ground.refinished_on
    if painted is not None:
        age, rest = (new.on - painted).days, interval_figure("refinish.rest_days")
        if age < rest.value:
            what = "painted" if ground.finish in ("refinish", "touch_up") else "renewed, perhaps with fresh paint,"
            text = (
                f"This surface was {what} on {day_words(painted)}, {age} days before: fresh refinish still breathes out"
                f" solvent, so nothing that seals goes on for {rest.low:g} to {rest.high:g} days. Ask the painter."
            )
            level = Level.WARN if ground.finish == "unknown" else Level.BLOCK
            yield Finding("fresh_refinish", level, text, f"{rest.value:g} days", rest.mark.value, rest.source)
    elif ground.finish == "refinish":
        text = "This surface is refinished and nobody noted when: ask how old the paint is before sealing it."
        yield by_practice("refinish_undated", Level.WARN, text, "no sealing coat on fresh refinish")
    if ground.paint == "matte":
        if "polished" in new.prep:
            text = "Matte paint is never polished: the shine that comes does not go away again."
            yield by_practice("matte_polished", Level.BLOCK, text, "matte paint is never polished")
        if not new.sheet.matte_fit and new.kind not in FILM:
            level = Level.BLOCK if new.kind == "wax" else Level.WARN
            text = f"The paint is matte and {spoken(new.kind)} may add gloss; use only what its maker names for matte."
            yield by_practice("matte_gloss", level, text, "only products made for matte paint or film")


def _fresh(new: Laying, ground: Ground) -> Iterator[Finding]:
    """Nothing goes onto a coat in cure; onto film not before it has settled."""
    for below in ground.stack:
        if below.kind not in BASE_COATS or slot(below.kind) == slot(new.kind):
            continue
        air_c = below.air_c if below.air_c is not None else REFERENCE_C
        days = cured_days(below.kind, air_c=air_c, sheet=below.sheet)
        age = (new.on - below.applied).days
        if age < days:
            text = (
                f"The {spoken(below.kind)} below is {age} days old and cures for about {days:.0f}: nothing goes onto a"
                " coat in cure."
            )
            own = below.sheet.no_chemicals_days
            if own is not None:
                yield by_sheet("base_in_cure", Level.BLOCK, text, f"{days:.0f} days")
            elif below.kind in CERAMIC:
                yield by_table("base_in_cure", Level.BLOCK, text, "cure.ceramic.chemicals_days")
            else:
                yield by_practice("base_in_cure", Level.BLOCK, text, "nothing goes onto a coat in cure")


def _ceramic(new: Laying, ground: Ground) -> Iterator[Finding]:
    below = ground.live(SACRIFICIAL)
    if below is not None and not new.permits(below.kind):
        text = (
            f"{standing(below.kind)}: a ceramic coat bonds only to bare, panel-wiped clear coat, never to"
            " wax, sealant or a filling glaze. Polish or strip first."
        )
        yield by_practice("ceramic_over_wax", Level.BLOCK, text, ALLOWED)
    old = ground.live(CERAMIC)
    if old is not None and not new.permits(old.kind):
        text = "A ceramic coat stands here: the next needs it stripped or polished off, and a polish takes clear coat."
        yield by_practice("ceramic_over_ceramic", Level.BLOCK if new.prep else Level.WARN, text, ALLOWED)
    if new.prep and "panel_wiped" not in new.prep:
        text = "The panel was not wiped before the ceramic coat: oils and polish residue part it from the clear coat."
        yield by_practice("not_panel_wiped", Level.BLOCK, text, ALLOWED)
    yield from _over_film(new, ground)


def _over_film(new: Laying, ground: Ground) -> Iterator[Finding]:
    film = ground.live(FILM)
    if film is None:
        return
    age = (new.on - film.applied).days
    if age < figure("film.settle_days").value:
        text = f"The film below is {age} days old: water and solvent still leave it; a coat waits until it has settled."
        yield by_table("film_unsettled", Level.BLOCK, text, "film.settle_days")
    elif age < figure("film.settle_good_days").value:
        text = f"The film below is {age} days old: settled enough, though a week is better."
        yield by_table("film_unsettled", Level.WARN, text, "film.settle_good_days")
    if not new.permits(film.kind):
        text = "The data sheet on record does not name film as a ground: read it before coating a film."
        yield by_practice("film_not_named", Level.WARN, text, ALLOWED)


def _film(new: Laying, ground: Ground) -> Iterator[Finding]:
    for below in ground.stack:
        if below.kind in FILM:
            text = f"{standing(below.kind)}: take it off before the next film."
            level = Level.BLOCK if new.prep else Level.WARN
            yield by_practice("film_over_film", level, text, ALLOWED)
        elif below.kind in CERAMIC | SACRIFICIAL and not new.permits(below.kind):
            text = (
                f"{standing(below.kind)}: film bonds poorly to it and its edges lift; polish it off first,"
                " unless the film's data sheet permits it."
            )
            yield by_practice("film_over_coat", Level.BLOCK, text, ALLOWED)


def _booster(new: Laying, ground: Ground) -> Iterator[Finding]:
    base = ground.live(CERAMIC)
    if base is not None:
        if base.stage in WORN_OUT:
            text = f"The {spoken(base.kind)} below has come to its end ({base.stage}): a top-up does not rescue it."
            yield by_practice("base_worn_out", Level.BLOCK, text, "a booster only over a base that is still bonded")
        text = f"The {spoken(base.kind)} keeps its age, since {day_words(base.applied)}: a top-up does not restart it."
        yield by_practice("base_age_stays", Level.NOTE, text, "a top-up never resets the base")
    wax = ground.live(frozenset({"wax"}))
    if wax is not None and not new.permits("wax"):
        text = "A wax stands here: a booster does not bond through it; wash it off with a proven strip first."
        yield by_practice("booster_over_wax", Level.BLOCK, text, ALLOWED)
    yield from _decontaminated(new, ground, base)


def _decontaminated(new: Laying, ground: Ground, base: Standing | None) -> Iterator[Finding]:
    if base is None or new.laid_bare:
        return
    last = new.on if "decontaminated" in new.prep else ground.decontaminated_on
    if last is None or (new.on - last).days > figure("clean.holds_days").value:
        known = f"last on record {day_words(last)}" if last is not None else "none is on record"
        text = f"A booster goes only onto a decontaminated base ({known}): bound dirt is sealed in otherwise."
        yield by_table("not_decontaminated", Level.BLOCK if new.prep else Level.WARN, text, "clean.holds_days")
    if "clayed" in new.prep:
        text = "Clay abrades the coat below: before a top-up only chemicals take the grime."
        yield by_practice("clayed_base", Level.WARN, text, "clay only where a polish or new coat follows")


def _sealant(new: Laying, ground: Ground) -> Iterator[Finding]:
    if ground.live(frozenset({"wax"})) is not None and not new.permits("wax"):
        text = "A wax stands here: a sealant does not bond to it. Strip or polish first, or renew the wax."
        yield by_practice("sealant_over_wax", Level.BLOCK, text, ALLOWED)
    base = ground.live(CERAMIC)
    if base is not None and not new.permits(base.kind):
        text = f"{standing(base.kind)}: a sealant over it hides how the coat itself behaves."
        yield by_practice("sealant_over_ceramic", Level.WARN, text, ALLOWED)


def _wax(new: Laying, ground: Ground) -> Iterator[Finding]:
    base = ground.live(CERAMIC)
    if base is not None and not new.permits(base.kind):
        text = f"{standing(base.kind)}: wax over it adds little and hides how the coat itself behaves."
        yield by_practice("wax_over_ceramic", Level.WARN, text, ALLOWED)


def _unknown(new: Laying, ground: Ground) -> Iterator[Finding]:
    if ground.live(frozenset({"unknown"})) is None or new.kind not in PAINT_COATS:
        return
    bonds = new.kind in CERAMIC | FILM
    text = "An unknown earlier layer stands here: nobody can tell what the new one would bond to."
    if bonds:
        text += " Polish or strip it first and prove it with a wipe test."
    yield by_practice("over_unknown", Level.BLOCK if bonds else Level.WARN, text, ALLOWED)


def _other_base(new: Laying, ground: Ground) -> Iterator[Finding]:
    """A base coat where one of another kind lives: it would be replaced on record, so it has to be off the surface."""
    if slot(new.kind) != "base" or new.kind in CERAMIC:
        return
    for below in ground.stack:
        if slot(below.kind) == "base" and below.kind != new.kind and not new.permits(below.kind):
            text = f"{standing(below.kind)}: take it off first; two base coats never stand on one surface."
            yield by_practice("other_base", Level.BLOCK, text, ALLOWED)


RULES: Final = {
    **dict.fromkeys(CERAMIC, _ceramic),
    **dict.fromkeys(FILM, _film),
    "booster": _booster,
    "sealant": _sealant,
    "wax": _wax,
}


def may_go_over(*, new: Laying, ground: Ground) -> tuple[Finding, ...]:
    """What speaks against putting a layer onto a surface as it stands, gravest first.

    Nothing is refused to a layer of unknown kind: it is found, not put on. What a polish, a strip or taking the film
    off removes is no longer in the way.
    """
    if new.kind == "unknown":
        return ()
    now = replace(ground, stack=tuple(one for one in ground.stack if _still_there(one, new)))
    found = [*_place(new, now), *_finish(new, now), *_fresh(new, now), *_unknown(new, now), *_other_base(new, now)]
    rule = RULES.get(new.kind)
    if rule is not None:
        found += rule(new, now)
    return tuple(sorted(found, key=lambda one: list(Level).index(one.level), reverse=True))


def after(*, new: Laying, ground: Ground) -> Ground:
    """The surface with the new layer on it: what the preparation took is gone, and so is what stood in its slot."""
    left = [
        one for one in ground.stack
        if _still_there(one, new) and (new.kind == "unknown" or slot(one.kind) != slot(new.kind))
    ]  # fmt: skip
    stack = (*left, Standing(new.kind, new.on, sheet=new.sheet))
    cleaned = new.on if new.prep & (LAID_BARE | {"decontaminated"}) else ground.decontaminated_on
    return replace(ground, stack=stack, decontaminated_on=cleaned)
