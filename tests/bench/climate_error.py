"""How far each climate source lies from open weather files: printed, never asserted here.

Run: .venv/bin/python -m tests.bench.climate_error

For every hourly file in ../shared/data/weather beside the checkout and the three that the pvlib wheel brings, the
twelve months of each source at the file's own place and height are compared with the file's: relative bias and rms of
global irradiation, bias and rms of temperature (K) and of relative humidity (points), and the hours of wetness a year.
A second table shows the class table's temperature for several shares of the latitude correction.
"""

from __future__ import annotations

import gzip
import json
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from lifecycle.climate import class_table, derived, online
from lifecycle.climate.class_table import climate_at
from lifecycle.climate.figures import climate_value
from lifecycle.climate.files import monthly_from_hourly, read_hourly
from lifecycle.wear.types import ClimateYear, Place

DATA = Path(__file__).resolve().parents[2].parent / "shared" / "data"
WHEEL = ("703165TY.csv", "723170TYA.CSV")
SHARES = (0.0, 0.25, 0.5, 0.75, 1.0)


@dataclass(frozen=True)
class Error:
    """One source against one file: shares of irradiation, K, points of humidity, hours a year."""

    file: str
    source: str
    ghi_bias: float
    ghi_rms: float
    air_bias_k: float
    air_rms_k: float
    rh_bias: float
    rh_rms: float
    wet_h: float
    file_wet_h: float
    uv_share: float


def weather_files(folder: Path) -> Iterator[Path]:
    """Every weather file at hand, unpacked into a folder."""
    import pvlib

    for packed in sorted((DATA / "weather").glob("*.gz")):
        target = folder / packed.name.removesuffix(".gz")
        target.write_bytes(gzip.decompress(packed.read_bytes()))
        yield target
    for name in WHEEL:
        yield Path(pvlib.__file__).with_name("data") / name


def months_of(path: Path) -> ClimateYear:
    """The twelve months of a weather file at its own place."""
    hours = read_hourly(path)
    return monthly_from_hourly(hours, Place(hours.lat, hours.lon, hours.height_m), name=path.name)


def from_months_alone(year: ClimateYear) -> ClimateYear:
    """The same twelve months as a source without hours would give them."""
    return replace(year, uv_mj_m2=(), wet_hours=(), frost_days=())


def error(source: ClimateYear, truth: ClimateYear, *, file: str, name: str) -> Error:
    """One row of the table. Months with under 0.3 kWh/m² a day do not count in the shares of irradiation."""
    ghi, own = np.array(source.ghi_kwh_m2_day), np.array(truth.ghi_kwh_m2_day)
    lit = own > 0.3
    share = ghi[lit] / own[lit] - 1.0
    air = np.array(source.air_c) - np.array(truth.air_c)
    rh = np.array(source.rh_pct) - np.array(truth.rh_pct)
    return Error(
        file, name,
        float(ghi.sum() / own.sum() - 1.0), _rms(share), float(air.mean()), _rms(air), float(rh.mean()), _rms(rh),
        float(derived.wet_hours(source).sum()), float(derived.wet_hours(truth).sum()),
        float(derived.uv_mj_m2(source).sum() / derived.uv_mj_m2(truth).sum() - 1.0),
    )  # fmt: skip


def _rms(figures: np.ndarray) -> float:
    return float(np.sqrt(np.mean(figures**2)))


def class_errors(years: dict[str, ClimateYear]) -> list[Error]:
    """The class table against each file."""
    return [error(climate_at(year.place), year, file=file, name="class table") for file, year in years.items()]


def with_share(share: float, years: dict[str, ClimateYear]) -> list[Error]:
    """The class table against each file with another share of the latitude correction, dry classes in proportion."""
    kept = class_table.climate_value
    try:
        factor = share / kept("temperature.latitude_share")
        class_table.climate_value = lambda key: kept(key) * (factor if "latitude_share" in key else 1.0)
        climate_at.cache_clear()
        return class_errors(years)
    finally:
        class_table.climate_value = kept
        climate_at.cache_clear()


def recorded_errors(years: dict[str, ClimateYear]) -> list[Error]:
    """The recorded PVGIS answer against the EPW that the same service made of it: proves the reading, not the source.

    The recorded POWER answers lie near no weather file.
    """
    found = []
    packed = DATA / "online" / "tmy_45.000_8.000_2005_2023.json.gz"
    if packed.exists():
        answer = json.loads(gzip.decompress(packed.read_bytes()))
        year = online.year_from_pvgis(answer, Place(45.0, 8.0))
        file = next((file for file in years if file.startswith("PVGIS")), None)
        if file is not None:
            found.append(error(year, years[file], file=file, name="PVGIS TMY"))
    return found


def lines(rows: list[Error]) -> Iterator[str]:
    """The table as text."""
    yield (
        f"{'file':28}{'source':14}{'GHI bias':>9}{'rms':>7}{'T bias':>8}{'rms K':>7}{'RH bias':>8}{'rms':>6}"
        f"{'wet h':>7}{'file':>6}{'UV':>7}"
    )
    for row in rows:
        yield (
            f"{row.file[:26]:28}{row.source:14}{row.ghi_bias:>+9.1%}{row.ghi_rms:>7.1%}{row.air_bias_k:>+8.2f}"
            f"{row.air_rms_k:>7.2f}{row.rh_bias:>+8.1f}{row.rh_rms:>6.1f}{row.wet_h:>7.0f}{row.file_wet_h:>6.0f}"
            f"{row.uv_share:>+7.1%}"
        )


def main() -> None:
    """Print the tables."""
    with tempfile.TemporaryDirectory() as folder:
        years = {path.name: months_of(path) for path in weather_files(Path(folder))}
    rows = class_errors(years)
    rows += [error(from_months_alone(year), year, file=file, name="own months") for file, year in years.items()]
    rows += recorded_errors(years)
    print("\n".join(lines(rows)))
    print(
        "\nClass table, all files: temperature by share of the zonal fall (in use: "
        f"{climate_value('temperature.latitude_share'):g})"
    )
    for share in SHARES:
        errors = with_share(share, years)
        each = "  ".join(f"{row.air_rms_k:4.1f}" for row in errors)
        together = _rms(np.array([row.air_rms_k for row in errors]))
        bias = np.mean([row.air_bias_k for row in errors])
        print(f"{share:>5.2f}  rms {together:4.2f} K  mean bias {bias:+5.2f} K   each {each}")


if __name__ == "__main__":
    main()
