"""Everything that a vehicle page shows, in words and pictures; the customer's page and the studio's page share it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _

from lifecycle.care.vehicle_view import STAGES, LayerView, SurfaceView, VehicleView
from lifecycle.care.wording import MECHANISM_WORDS, capital, layer_words
from lifecycle.wear.types import Mechanism

from . import course, plan, section, strata
from .course import CourseRow
from .plan import PlanItem
from .strata import Stratum
from .words import (
    STAGE_SAYS,
    STAGE_WORDS,
    day,
    months_between,
    months_range,
    share_range,
)

SEEN_RECENTLY_DAYS: Final = 180
KEY_ORDER: Final = ("gone", "end", "tired", "clogged", "settled", "fresh", "unknown", "bare", "over")
MECHANISM_SAYS: Final = {mechanism: capital(words) for mechanism, words in MECHANISM_WORDS.items()}


@dataclass(frozen=True, slots=True)
class ReasonBar:
    """One reason's share of the wear, as a length from 0 to 100."""

    name: str
    length: int
    word: str
    says: str


@dataclass(frozen=True, slots=True)
class LayerPage:
    """One layer in words. `seen` says when it was last looked at, or that it is an estimate."""

    key: str
    name: str
    product: str
    applied: str
    coats: int
    stage: str
    word: str
    left: str
    tired: str
    end: str
    life: str
    seen: str
    evidence: str
    reasons: tuple[ReasonBar, ...]
    marks: tuple[str, ...]
    notes: tuple[str, ...]
    picture: SafeString | None
    rows: tuple[CourseRow, ...]


@dataclass(frozen=True, slots=True)
class SurfacePage:
    """One surface. `whole` false: folded, without its drawings and layers."""

    id: int
    number: int
    key: str
    name: str
    stage: str
    word: str
    says: str
    heading: str
    grimy: bool
    first: bool
    estimate: str
    repainted: str
    section: SafeString
    strata: tuple[Stratum, ...]
    clear: str
    film: str
    notes: tuple[str, ...]
    layers: tuple[LayerPage, ...]
    whole: bool = True


@dataclass(frozen=True, slots=True)
class Swatch:
    """One stage of the plan's key and the surfaces that are in it."""

    stage: str
    word: str
    says: str
    surfaces: tuple[SurfacePage, ...]


@dataclass(frozen=True, slots=True)
class VehiclePage:
    vehicle: VehicleView
    plan: SafeString
    surfaces: tuple[SurfacePage, ...]
    legend: tuple[Swatch, ...]
    seen: str


def stage_of(surface: SurfaceView) -> str:
    """The stage that the plan shows: "clogged" where grime is why nothing is known."""
    return surface.shown_stage


def seen_words(layer: LayerView, vehicle: VehicleView) -> str:
    """When a studio last saw this layer, or that all of it is an estimate."""
    if layer.seen_on is None:
        return _("An estimate, not seen since it was put on (%(day)s).") % {"day": day(layer.applied)}
    if (vehicle.today - layer.seen_on).days > SEEN_RECENTLY_DAYS:
        return _("An estimate, not seen since %(day)s.") % {"day": day(layer.seen_on)}
    return _("Last seen on %(day)s.") % {"day": day(layer.seen_on)}


def share_word(share: float) -> str:
    """How much of the wear a reason makes up, in words."""
    if share >= 0.5:
        return _("most of it")
    if share >= 0.3:
        return _("about a third or more")
    if share >= 0.17:
        return _("about a quarter")
    return _("about a tenth") if share >= 0.07 else _("a little")


def _reasons(layer: LayerView) -> tuple[ReasonBar, ...]:
    return tuple(
        ReasonBar(
            name=str(MECHANISM_SAYS.get(Mechanism(reason.mechanism), reason.mechanism)),
            length=max(1, round(reason.share * 100)),
            word=share_word(reason.share),
            says=reason.says,
        )
        for reason in layer.reasons
        if reason.share >= 0.03
    )


def layer_page(layer: LayerView, surface: SurfaceView, vehicle: VehicleView) -> LayerPage:
    """One layer in words, with its course where there is a forecast."""
    name = capital(layer_words(layer.kind))
    key = f"l{layer.id}"
    picture = None
    rows: tuple[CourseRow, ...] = ()
    if len(layer.course) > 1:
        title = _("%(layer)s on the %(surface)s: function left over time") % {"layer": name, "surface": surface.name}
        picture = course.draw(layer.course, events=surface.events, today=vehicle.today, key=key, title=title)
        rows = course.rows(layer.course, events=surface.events, today=vehicle.today)
    return LayerPage(
        key=key,
        name=name,
        product=layer.product,
        applied=day(layer.applied),
        coats=layer.coats,
        stage=layer.stage,
        word=str(STAGE_WORDS.get(layer.stage, layer.stage)),
        left=share_range(layer.function_left) if layer.function_left else "",
        tired=months_between(layer.tired_on) if layer.tired_on else "",
        end=months_between(layer.end_on) if layer.end_on else "",
        life=months_range(layer.renewal_months) if layer.renewal_months else "",
        seen=seen_words(layer, vehicle),
        evidence=layer.evidence_says,
        reasons=_reasons(layer),
        marks=layer.marks,
        notes=layer.notes,
        picture=picture,
        rows=rows,
    )


def _says(surface: SurfaceView, vehicle: VehicleView) -> str:
    """What the stage means here, with the range of days that matters next."""
    stage = stage_of(surface)
    ruling = surface.ruling
    if stage in STAGES and ruling is not None:
        if stage in ("fresh", "settled") and ruling.tired_on is not None and ruling.tired_on.p90 > vehicle.today:
            return _("likely tired %(range)s") % {"range": months_between(ruling.tired_on)}
        if stage == "tired" and ruling.end_on is not None and ruling.end_on.p90 > vehicle.today:
            return _("renewal likely sensible %(range)s") % {"range": months_between(ruling.end_on)}
    return str(STAGE_SAYS[stage])


def _clear_words(surface: SurfaceView) -> str:
    """Whether the clear coat bears a correction, and why not."""
    clear = surface.clear
    if clear is None or clear.decision == "not_applicable" or not strata.is_painted(surface):
        return ""
    return _("Clear-coat budget: %(why)s") % {"why": clear.why[:1].lower() + clear.why[1:]}


def _film_words(surface: SurfaceView) -> str:
    film = surface.film
    if film is None:
        return ""
    return _("%(mean)d µm of paint in all (mean of %(count)d readings, lowest %(lowest)d, %(day)s).") % {
        "mean": round(film.mean_um), "count": film.count, "lowest": round(film.lowest_um), "day": day(film.on),
    }  # fmt: skip


def _repainted(surface: SurfaceView) -> str:
    if surface.finish == "refinish" and surface.refinished_on:
        return _("Repainted on %(day)s.") % {"day": day(surface.refinished_on)}
    words = {
        "refinish": _("Repainted."),
        "touch_up": _("Touched up."),
        "unknown": _("Nobody knows whether it was ever repainted."),
    }
    return words.get(surface.finish, "") if strata.is_painted(surface) else ""


def surface_page(
    number: int, surface: SurfaceView, vehicle: VehicleView, *, first: bool = False, whole: bool = True
) -> SurfacePage:
    """One surface with its section and its layers, the newest first. `first`: the one that is shown unfolded; `whole`
    false: what its fold says while it is closed, and nothing is drawn."""
    stage = stage_of(surface)
    cut = strata.strata_of(surface, paint=vehicle.paint)
    title = _("Section through the %(surface)s") % {"surface": surface.name}
    ruling = surface.ruling
    says = _says(surface, vehicle)
    grimy = surface.grimy and stage != "clogged"
    return SurfacePage(
        id=surface.id,
        number=number,
        key=f"s{surface.id}",
        name=surface.name,
        stage=stage,
        word=str(STAGE_WORDS[stage]),
        says=says,
        heading=f"{STAGE_WORDS[stage]}; {says}" + (f" ({STAGE_WORDS['over']})" if grimy else ""),
        grimy=grimy,
        first=first,
        estimate=seen_words(ruling, vehicle) if ruling is not None else "",
        repainted=_repainted(surface),
        section=section.draw(cut, key=f"c{surface.id}", title=title) if whole else SafeString(),
        strata=cut[::-1],
        clear=_clear_words(surface),
        film=_film_words(surface),
        notes=surface.notes,
        layers=tuple(layer_page(layer, surface, vehicle) for layer in reversed(surface.layers)) if whole else (),
        whole=whole,
    )


def worst_of(surfaces: Sequence[SurfaceView]) -> SurfaceView | None:
    """The surface whose stage is the worst, among equals one without grime; the first where no stage is known."""
    return max(
        surfaces,
        key=lambda s: (STAGES.index(s.stage) if s.stage in STAGES else -1, not s.clogged),
        default=None,
    )


def vehicle_page(vehicle: VehicleView, *, whole: bool = True) -> VehiclePage:
    """The page of a vehicle. `whole` false: only the worst surface with its drawings."""
    worst = worst_of(vehicle.surfaces)
    surfaces = tuple(
        surface_page(i, surface, vehicle, first=surface is worst, whole=whole or surface is worst)
        for i, surface in enumerate(vehicle.surfaces, start=1)
    )
    items = [
        PlanItem(number=page.number, code=surface.code, name=page.name, stage=page.stage, word=page.word.split(",")[0],
                 href=f"#{page.key}", grimy=page.grimy)
        for page, surface in zip(surfaces, vehicle.surfaces, strict=True)
    ]  # fmt: skip
    if vehicle.seen_on is None:
        seen = _("No studio has looked at it yet: everything here is an estimate.")
    else:
        seen = _("A studio last looked at it on %(day)s.") % {"day": day(vehicle.seen_on)}
    return VehiclePage(
        vehicle=vehicle,
        plan=plan.draw(items, body=vehicle.body, key="plan", title=_("The vehicle from above")),
        surfaces=surfaces,
        legend=tuple(
            Swatch(stage, str(STAGE_WORDS[stage]), str(STAGE_SAYS[stage]), those)
            for stage in KEY_ORDER
            if (those := tuple(p for p in surfaces if p.stage == stage or (stage == "over" and p.grimy)))
        ),
        seen=seen,
    )
