"""Ultraviolet share and UV index against published and computed values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lifecycle.wear.solar import relative_air_mass
from lifecycle.wear.uv import uv_index, uv_share


@pytest.mark.parametrize(
    ("zenith_deg", "by_ozone"),
    [
        (0, (15.64, 12.50, 10.34, 8.77)),
        (20, (13.46, 10.75, 8.90, 7.55)),
        (30, (11.04, 8.83, 7.30, 6.20)),
        (40, (8.21, 6.56, 5.43, 4.60)),
        (50, (5.37, 4.29, 3.55, 3.01)),
        (60, (2.92, 2.34, 1.93, 1.64)),
    ],
)
def test_uv_index_of_madronich(zenith_deg: float, by_ozone: tuple[float, ...]) -> None:
    """Madronich 2007 evaluated independently for 250, 300, 350 and 400 Dobson units."""
    found = uv_index(cos_zenith=np.cos(np.radians(zenith_deg)), ozone_du=[250, 300, 350, 400])
    assert found == pytest.approx(by_ozone, abs=0.0051)


def test_uv_index_by_elevation() -> None:
    """A public test of another program: 0.93, 2.34 and 5.4 at 20, 30 and 45 degrees of elevation and 300 DU."""
    assert uv_index(cos_zenith=np.sin(np.radians([20, 30, 45]))) == pytest.approx([0.93, 2.34, 5.4], abs=0.006)


@given(st.floats(-1.0, 0.0))
@settings(max_examples=20)
def test_no_uv_index_below_the_horizon(cosine: float) -> None:
    assert uv_index(cos_zenith=cosine) == 0.0


@pytest.mark.parametrize(
    ("zenith_deg", "share_300_385"), [(0, 4.47), (30, 4.29), (45, 4.05), (60, 3.67), (70, 3.38), (80, 3.38)]
)
def test_clear_share_follows_the_spectral_model(zenith_deg: float, share_300_385: float) -> None:
    """SPECTRL2 (ozone 0.30 cm, optical depth 0.1, 1.5 cm water) gives these shares in %; the fit stays within 3 %."""
    mass = relative_air_mass(np.cos(np.radians(zenith_deg)))
    assert 100.0 * uv_share(air_mass=mass, clearness=0.72) == pytest.approx(share_300_385, rel=0.03)


def test_share_of_the_standard_spectrum() -> None:
    """ASTM G173 AM1.5 global: 35.26 of 1000.37 W/m² lie in 295-385 nm. That spectrum is of a tilted plane: 12 %."""
    assert uv_share(air_mass=1.5, clearness=0.72) == pytest.approx(35.26 / 1000.37, rel=0.12)


@given(st.floats(1.0, 15.0), st.floats(0.0, 0.72), st.floats(0.0, 0.72))
@settings(max_examples=30)
def test_cloud_raises_the_share_and_less_than_half(mass: float, one: float, other: float) -> None:
    dull, bright = sorted((one, other))
    share = uv_share(air_mass=mass, clearness=np.array([dull, bright]))
    assert share[0] >= share[1]
    assert share[0] <= 1.42 * share[1] + 1e-12
