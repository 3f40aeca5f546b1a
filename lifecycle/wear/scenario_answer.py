"""The answer to a scenario file, in exactly the field names of its format."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lifecycle.wear.types import Band, ClearCoat, DateBand, LayerForecast, Stage, SurfaceForecast, VehicleForecast

CLOGGED_WORD = "clogged?"


def band_dict(band: Band | None, *, digits: int) -> dict[str, float] | None:
    """A band as p10, p50, p90, rounded."""
    if band is None:
        return None
    return {name: round(getattr(band, name), digits) for name in ("p10", "p50", "p90")}


def date_band_dict(band: DateBand | None) -> dict[str, str] | None:
    """A band of days as ISO dates."""
    if band is None:
        return None
    return {name: getattr(band, name).isoformat() for name in ("p10", "p50", "p90")}


def stage_word(layer: LayerForecast, *, clogged: bool) -> str:
    """The stage; "clogged?" where a forecast stands but the wear is unknown until the surface is decontaminated."""
    if layer.stage is Stage.UNKNOWN and layer.function_left is not None and clogged:
        return CLOGGED_WORD
    return str(layer.stage)


def _layer(layer: LayerForecast, *, clogged: bool) -> dict[str, Any]:
    return {
        "kind": layer.kind,
        "applied": layer.applied.isoformat(),
        "function_left": band_dict(layer.function_left, digits=3),
        "renewal_months": band_dict(layer.renewal_months, digits=2),
        "tired_on": date_band_dict(layer.tired_on),
        "end_on": date_band_dict(layer.end_on),
        "stage": stage_word(layer, clogged=clogged),
        "reasons": [
            {"mechanism": str(reason.mechanism), "share": round(reason.share, 3), "says": reason.says}
            for reason in layer.reasons
        ],
        "marks": [str(mark) for mark in layer.marks],
    }


def _clear_coat(clear: ClearCoat | None) -> dict[str, Any] | None:
    if clear is None:
        return None
    return {"budget_um": band_dict(clear.budget_um, digits=1), "decision": clear.decision, "why": clear.why}


def _surface(surface: SurfaceForecast) -> dict[str, Any]:
    return {
        "code": surface.code,
        "clear_coat": _clear_coat(surface.clear_coat),
        "clogging": band_dict(surface.clogging, digits=3),
        "layers": [_layer(layer, clogged=surface.clogged) for layer in surface.layers],
    }


def answer_dict(
    forecast: VehicleForecast, *, care_due: Sequence[dict[str, Any]], refused: Sequence[dict[str, Any]]
) -> dict[str, Any]:
    """The whole answer; `care_due` and `refused` come from the care rules."""
    climate = forecast.climate
    return {
        "as_of": forecast.as_of.isoformat(),
        "climate": {"source": climate.source, "class": climate.koppen_class or None, "error": climate.error_word},
        "surfaces": [_surface(surface) for surface in forecast.surfaces],
        "care_due": list(care_due),
        "refused": list(refused),
        "assumed": list(forecast.assumed),
    }
