"""The reference car at the reference place, from the open hourly weather file: the median life comes out."""

from __future__ import annotations

from datetime import date

import pytest

from lifecycle.climate.files import climate_from_file
from lifecycle.wear.assessment import assess
from lifecycle.wear.chemistry import chemistry
from tests.wear.vehicles import TEMPERATE, layer, surface, vehicle

pytestmark = pytest.mark.oracle


@pytest.fixture(scope="module")
def mannheim(weather):
    return climate_from_file(weather("mannheim"), TEMPERATE[1])


@pytest.mark.parametrize("kind", ["ceramic_entry", "ceramic_mid", "ceramic_top", "film_body", "film_top_coat", "wrap"])
def test_the_reference_car_at_mannheim_has_the_median_life(kind: str, mannheim) -> None:
    year = mannheim
    car = vehicle(surface(layer(kind, date(2025, 1, 1))), as_of=date(2025, 1, 1))
    life = assess(car, lambda place: year).surfaces[0].layers[0].renewal_months
    assert life is not None
    assert life.p50 == pytest.approx(chemistry(kind).months.middle, rel=0.03)
