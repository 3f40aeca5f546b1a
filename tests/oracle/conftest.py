"""What the tests against open data share."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from tests.oracle.weather_files import unpacked


@pytest.fixture(scope="session")
def weather() -> Callable[[str], Path]:
    """Path of a weather file by place, unpacked once; the test skips where the open data are absent."""
    return unpacked
