"""From a surface's record to the strata of its section, with usual thicknesses where none is known.

Usual builds of factory paint, µm: electro-coat and primer 50 together (20 + 30), colour 15, clear 40. Published trade
training material: electro-coat 20, primer 30, total 100 to 110; surfacer 35 to 40, base 10 to 15, clear 35 to 40. A
single-stage finish has its colour and its gloss in one coat, drawn 50 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lifecycle.care.tongue import measures
from lifecycle.care.tongue.names import layer_name
from lifecycle.care.vehicle_view import STAGES, LayerView, SurfaceView
from lifecycle.care.wording import capital
from lifecycle.wear.types import Band

PRIMER_UM: Final = 50.0
COLOUR_UM: Final = 15.0
CLEAR_UM: Final = 40.0
SINGLE_STAGE_UM: Final = 50.0
USUAL: Final = gettext_lazy("usual, not measured")

SUBSTRATES: Final = {
    "steel": gettext_lazy("Steel"),
    "aluminium": gettext_lazy("Aluminium"),
    "plastic": gettext_lazy("Plastic"),
    "composite": gettext_lazy("Composite"),
    "glass": gettext_lazy("Glass"),
    "leather": gettext_lazy("Leather"),
    "textile": gettext_lazy("Cloth"),
}
FILMS: Final = frozenset({"film_body", "wrap"})
# Layers of unpainted parts: where one of these is on record there is no paint below.
BARE_PART_KINDS: Final = frozenset(
    {"trim_coat", "trim_dressing", "headlamp_coat", "engine_bay_dressing", "engine_bay_coating", "metal_sealant",
     "wheel_coat"}
)  # fmt: skip
BARE_PART_WORDS: Final = ("trim", "headlamp", "lamp", "engine", "wheel", "tyre", "chrome")


@dataclass(frozen=True, slots=True)
class Stratum:
    """One layer of the cut. `um` None: not drawn to scale. `function` and `stage` only for coats and films."""

    material: str
    name: str
    um: float | None
    source: str
    stage: str = ""
    function: Band | None = None
    budget: Band | None = None
    usual: bool = False

    @property
    def thickness(self) -> str:
        """In the unit shown, with as many digits as it deserves; empty where none is drawn."""
        return measures.thickness_words(self.um) if self.um is not None else ""


def is_painted(surface: SurfaceView) -> bool:
    """Whether there is paint between the substrate and the coats."""
    if surface.substrate in ("glass", "leather", "textile") or surface.orientation in ("inside", "wheel", "screen"):
        return False
    if any(layer.kind in BARE_PART_KINDS for layer in surface.layers):
        return False
    return not any(word in surface.code for word in BARE_PART_WORDS)


def _paint(surface: SurfaceView, paint: str) -> list[Stratum]:
    """Primer, colour and clear from the bottom up; thicknesses from the last reading where there is one."""
    total = surface.film.mean_um if surface.film is not None else None
    usual = total is None
    source = str(USUAL) if usual else _("by share of the reading")
    if paint == "single_stage":
        colour = SINGLE_STAGE_UM if total is None else max(total - PRIMER_UM, total / 2)
        primer = PRIMER_UM if total is None else total - colour
        return [
            Stratum("primer", _("Primer"), primer, source, usual=usual),
            Stratum("colour", _("Single-stage colour"), colour, source, usual=usual),
        ]
    clear_band = surface.clear.clear_um if surface.clear is not None else None
    clear, colour, primer = clear_band.p50 if clear_band is not None else CLEAR_UM, COLOUR_UM, PRIMER_UM
    if total is not None:
        clear = min(clear, total * 0.9)
        colour = min(COLOUR_UM, (total - clear) * 0.4)
        primer = total - clear - colour
    return [
        Stratum("primer", _("Primer"), primer, source, usual=usual),
        Stratum("colour", _("Colour"), colour, source, usual=usual),
        Stratum(
            "clear",
            _("Matte clear coat") if paint == "matte" else _("Clear coat"),
            clear,
            source if clear_band is None else _("estimated from the reading"),
            budget=surface.clear.budget_um if surface.clear is not None else None,
            usual=clear_band is None and usual,
        ),
    ]


def _coat(layer: LayerView) -> Stratum:
    return Stratum(
        material="film" if layer.kind in FILMS else "coat",
        name=capital(layer_name(layer.kind)),
        um=layer.thickness_um,
        source=layer.thickness_mark,
        stage=layer.stage if layer.stage in STAGES else "unknown",
        function=layer.function_left,
    )


def strata_of(surface: SurfaceView, *, paint: str) -> tuple[Stratum, ...]:
    """All strata of a surface from the substrate up."""
    found = [Stratum(surface.substrate, str(SUBSTRATES.get(surface.substrate, surface.substrate)), None, "")]
    if is_painted(surface):
        found += _paint(surface, paint)
    found += [_coat(layer) for layer in surface.layers]
    return tuple(found)
