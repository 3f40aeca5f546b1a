"""The sun against pvlib, and yearly doses against hourly weather files of five climates."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lifecycle.climate.class_table import climate_at
from lifecycle.climate.files import HourlyYear, climate_from_file, monthly_from_hourly
from lifecycle.climate.source import ClimateError
from lifecycle.wear import exposure, solar, uv
from lifecycle.wear.marks import value
from lifecycle.wear.panel import PanelLaw
from lifecycle.wear.types import ClimateYear, FloatArray, Place
from lifecycle.wear.weather import weather_of
from tests.oracle.weather_files import FILES, hours_of

pytestmark = pytest.mark.oracle


def hourly_doses(year: HourlyYear, *, law: PanelLaw = PanelLaw.SKY, rain: ClimateYear | None = None) -> FloatArray:
    month = year.month.astype(int) - 1
    wet: FloatArray = np.zeros(1)
    if rain is not None:
        wet = np.array(rain.rain_days)[month] / solar.MONTH_DAYS[month] * value("day.wet_hours") / 24.0
    return exposure.summed(exposure.hourly_rates(weather_of(year).sky(wet=wet), law=law))


def uv_mj_m2(year: HourlyYear) -> float:
    cosine = year.cos_zenith()
    outside = solar.extraterrestrial_normal_w_m2(year.day_of_year) * np.maximum(cosine, np.cos(np.radians(87.0)))
    share = uv.uv_share(air_mass=solar.relative_air_mass(cosine), clearness=year.ghi_w_m2 / outside)
    return float((share * year.ghi_w_m2).sum() * 0.0036)


@pytest.mark.parametrize(
    ("lat", "lon", "offset"), [(49.52, 8.55, 1), (-33.9, 18.4, 2), (61.2, -149.9, -9), (0.0, 30.0, 2)]
)
def test_sun_position_against_pvlib(lat: float, lon: float, offset: int) -> None:
    """pvlib's SPA, not refracted: within 0.4 degrees, which is the sun's step of one day at the
    equinox (the series knows no leap years)."""
    import pandas as pd
    from pvlib import solarposition

    times = pd.date_range("2023-01-01 00:30", "2023-12-31 23:30", freq="h", tz=f"Etc/GMT{-offset:+d}")
    oracle = np.asarray(solarposition.get_solarposition(times, lat, lon)["zenith"])
    cosine = solar.cos_zenith_at_clock(
        lat_deg=lat,
        lon_deg=lon,
        day_of_year=np.asarray(times.day_of_year),
        clock_hour=np.asarray(times.hour) + 0.5,
        utc_offset_h=offset,
    )
    assert np.abs(np.degrees(np.arccos(cosine)) - oracle).max() < 0.4


def test_extraterrestrial_against_pvlib() -> None:
    """pvlib's Spencer series for the normal irradiance: within 0.3 %."""
    from pvlib import irradiance

    days = np.arange(1, 366)
    oracle = np.asarray(irradiance.get_extra_radiation(days, solar_constant=1361.1, method="spencer"))
    assert solar.extraterrestrial_normal_w_m2(days) == pytest.approx(oracle, rel=0.003)


def test_air_mass_against_pvlib() -> None:
    """pvlib's kastenyoung1989 takes the apparent zenith; the same formula to rounding."""
    from pvlib import atmosphere

    zenith = np.arange(0.0, 87.0, 1.0)
    oracle = atmosphere.get_relative_airmass(zenith, model="kastenyoung1989")
    assert solar.relative_air_mass(np.cos(np.radians(zenith))) == pytest.approx(np.asarray(oracle), rel=1e-9)


def test_reference_doses_with_the_plain_panel_law() -> None:
    """Doses worked independently for the Mannheim file: 2218.6, 1592.07 and 8738.17.

    They came from T_a + a G / (16 + 3 max(v, 0.3)), mid-hour sun, kt from the horizontal extraterrestrial irradiance
    with the sun above 3 degrees, RH held to 100 and no rain (the file has none). The ultraviolet of that work was
    max(0.0447 AM^-0.25, 0.032) kc^-0.15; ours gives 0.4 % more.
    """
    found = hourly_doses(hours_of("mannheim"), law=PanelLaw.PLAIN)
    assert found[0] == pytest.approx(2218.6, rel=0.006)
    assert found[1:] == pytest.approx([1592.07, 8738.17], rel=1e-4)


def test_reference_doses_of_the_table_are_those_of_the_file() -> None:
    """The table's own reference: the model's panel law on the same file, with the rain days of its class."""
    year = hours_of("mannheim")
    months = monthly_from_hourly(year, Place(year.lat, year.lon), name="mannheim")
    assert hourly_doses(year, rain=months) == pytest.approx(exposure.reference_doses(), rel=1e-4)


def test_a_year_at_the_reference_place_is_one() -> None:
    """By definition of the reference duty: twelve means of the Mannheim file give a yearly mean of 1."""
    year = hours_of("mannheim")
    months = monthly_from_hourly(year, Place(year.lat, year.lon), name="mannheim")
    yearly = exposure.monthly_doses(months) @ solar.MONTH_DAYS * 365.0 / 365.25
    assert yearly / exposure.reference_doses() == pytest.approx(np.ones(3), abs=1e-3)


@pytest.mark.parametrize("place", ["phoenix", "miami", "anchorage", "pittsburgh"])
def test_typical_days_against_hourly_files(place: str, weather, capsys: pytest.CaptureFixture[str]) -> None:
    """Twelve means against all hours, with the factors that were set at Mannheim: measured 3-7 % high for sunlight,
    1-4 % low for hydrolysis and 6-17 % high for heat (the coast, where days are windier than nights)."""
    year = hours_of(place)
    months = monthly_from_hourly(year, Place(year.lat, year.lon), name=place)
    days = exposure.monthly_doses(months) @ solar.MONTH_DAYS * 365.0 / 365.25
    ratio = days / hourly_doses(year, rain=months)
    with capsys.disabled():
        print(f"\n{place}: typical days over hours U {ratio[0]:.3f} H {ratio[1]:.3f} T {ratio[2]:.3f}", end="")
    assert abs(ratio[0] - 1.0) < 0.08
    assert abs(ratio[1] - 1.0) < 0.05
    assert abs(ratio[2] - 1.0) < 0.18


@pytest.mark.parametrize(("place", "published"), [("mannheim", 175.0), ("phoenix", 310.0), ("miami", 274.0)])
def test_yearly_ultraviolet(place: str, published: float) -> None:
    """295-385 nm per year, MJ/m², worked independently: Mannheim 175, Phoenix 310 and Miami 274 (from other years'
    files of the two). From memory: central Europe 150-200, Arizona 333, south Florida 280."""
    assert uv_mj_m2(hours_of(place)) == pytest.approx(published, rel=0.03)


@pytest.mark.parametrize(
    ("place", "ghi_kwh_m2", "air_c", "rh_pct"), [("mannheim", 1182.9, 12.38, 71.1), ("miami", 1792.6, 24.31, 72.5)]
)
def test_months_of_a_file(place: str, ghi_kwh_m2: float, air_c: float, rh_pct: float, weather) -> None:
    """Yearly figures of the Mannheim file (latin-1 text) and, within 3 %, of Miami's older TMY2."""
    months = climate_from_file(weather(place), Place(0.0, 0.0) if place == "miami" else Place(49.5, 8.5))
    weights = solar.MONTH_DAYS / solar.MONTH_DAYS.sum()
    assert np.array(months.ghi_kwh_m2_day) @ solar.MONTH_DAYS == pytest.approx(ghi_kwh_m2, rel=0.03)
    assert np.array(months.air_c) @ weights == pytest.approx(air_c, abs=0.4)
    assert np.array(months.rh_pct) @ weights == pytest.approx(rh_pct, abs=2.0)
    assert months.error_word == ("rough" if place == "miami" else "close")
    assert months.koppen_class == ("Am" if place == "miami" else "Cfb")


@pytest.mark.parametrize("place", sorted(FILES))
def test_class_table_against_files(place: str) -> None:
    """What "rough" means: yearly irradiation within 15 % of the file, sunlight dose within 35 %."""
    year = hours_of(place)
    months = monthly_from_hourly(year, Place(year.lat, year.lon), name=place)
    table = climate_at(Place(year.lat, year.lon, year.height_m))
    days = solar.MONTH_DAYS
    assert np.array(table.ghi_kwh_m2_day) @ days == pytest.approx(np.array(months.ghi_kwh_m2_day) @ days, rel=0.15)
    of_table, of_file = (exposure.monthly_doses(climate)[0] @ days for climate in (table, months))
    assert of_table == pytest.approx(of_file, rel=0.35)


def test_cut_weather_file_is_refused(tmp_path: Path, weather) -> None:
    lines = weather("mannheim").read_text(encoding="latin-1").splitlines()
    short = tmp_path / "short.epw"
    short.write_text("\n".join(lines[:5000]) + "\n", encoding="latin-1")
    with pytest.raises(ClimateError, match=r"short\.epw has 4992 hours; a whole year of 8760"):
        climate_from_file(short, Place(49.5, 8.5))


def test_weather_file_without_humidity_is_refused(tmp_path: Path, weather) -> None:
    """EPW writes 999 for a missing relative humidity."""
    lines = weather("mannheim").read_text(encoding="latin-1").splitlines()
    for number in range(8, 3000):
        cells = lines[number].split(",")
        cells[8] = "999"
        lines[number] = ",".join(cells)
    holes = tmp_path / "holes.epw"
    holes.write_text("\n".join(lines) + "\n", encoding="latin-1")
    with pytest.raises(ClimateError, match=r"relative_humidity is missing or outside 0 to 110 % in 2992 of 8760"):
        climate_from_file(holes, Place(49.5, 8.5))


@pytest.mark.parametrize("name", ["notes.epw", "notes.tmy3", "notes.csv"])
def test_other_text_is_refused(name: str, tmp_path: Path) -> None:
    (tmp_path / name).write_text("dear all,\nthe weather is fine\n", encoding="utf-8")
    with pytest.raises(ClimateError, match=r"notes\.\w+ is not a whole"):
        climate_from_file(tmp_path / name, Place(49.5, 8.5))
