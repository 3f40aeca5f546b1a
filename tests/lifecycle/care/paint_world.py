"""Cars whose paint was measured, for tests of corrections."""

from __future__ import annotations

from datetime import date, timedelta

from lifecycle.models import Inspection, Reading, Surface, Vehicle
from tests.factories import TODAY, SurfaceFactory, VehicleFactory

THICK = (118.0, 120.0, 121.0, 119.0, 122.0)
THIN = (78.0, 80.0, 84.0, 82.0, 81.0)


def film(
    surface: Surface, values: tuple[float, ...] = THICK, *, on: date | None = None, gauge_sd: float = 1.0,
    method: str = "magnetic", inspection: Inspection | None = None,
) -> Inspection:  # fmt: skip
    """Film readings of one surface on a day."""
    seen = inspection or Inspection.objects.create(
        studio=surface.studio, vehicle=surface.vehicle, on=on or TODAY - timedelta(days=20), clean_state="washed"
    )
    Reading.objects.bulk_create(
        Reading(
            studio=surface.studio, inspection=seen, surface=surface, kind="thickness_um", value=value, method=method,
            gauge_sd_um=gauge_sd,
        )
        for value in values
    )  # fmt: skip
    return seen


def panel(vehicle: Vehicle, code: str, values: tuple[float, ...] = (), **fields: object) -> Surface:
    """A steel panel, measured where values are given."""
    surface = SurfaceFactory(vehicle=vehicle, code=code, **fields)
    if values:
        film(surface, values)
    return surface


def car(**fields: object) -> Vehicle:
    """A clear-coated car without surfaces."""
    return VehicleFactory(**fields)
