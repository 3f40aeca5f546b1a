"""The reference car at the reference place, from the open hourly weather file: the median life comes out."""

from __future__ import annotations

import gzip
from datetime import date
from pathlib import Path

import pytest

from lifecycle.climate.files import climate_from_file
from lifecycle.wear.assessment import assess
from lifecycle.wear.chemistry import chemistry
from tests.wear.vehicles import TEMPERATE, layer, surface, vehicle

pytestmark = pytest.mark.oracle

WEATHER = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "weather"
MANNHEIM = "ladybug_mannheim.epw"


@pytest.mark.parametrize("kind", ["ceramic_entry", "ceramic_mid", "ceramic_top", "film_body", "film_top_coat", "wrap"])
def test_the_reference_car_at_mannheim_has_the_median_life(kind: str, tmp_path: Path) -> None:
    packed = WEATHER / f"{MANNHEIM}.gz"
    if not packed.exists():
        pytest.skip(f"open weather file {packed.name} is not beside the checkout (../shared/data/weather)")
    file = tmp_path / MANNHEIM
    file.write_bytes(gzip.decompress(packed.read_bytes()))
    year = climate_from_file(file, TEMPERATE[1])
    car = vehicle(surface(layer(kind, date(2025, 1, 1))), as_of=date(2025, 1, 1))
    life = assess(car, lambda place: year).surfaces[0].layers[0].renewal_months
    assert life is not None
    assert life.p50 == pytest.approx(chemistry(kind).months.middle, rel=0.03)
