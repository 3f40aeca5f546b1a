"""`manage.py climate`: a place by every name it can have, and clear refusals with status 2."""

from __future__ import annotations

from io import StringIO
from pathlib import Path

import pytest
from django.core.management import call_command
from django.db import OperationalError, connection

from lifecycle.climate import store
from tests.factories import NOW, SiteFactory

pytestmark = pytest.mark.django_db


def said(*where: str) -> str:
    out = StringIO()
    call_command("climate", *where, stdout=out, stderr=StringIO())
    return out.getvalue()


@pytest.mark.parametrize("where", ["49.5,8.47,97", "Berlin, Germany", "33109", "skarholt sound"])
def test_places(where: str) -> None:
    SiteFactory(name="Skarholt Sound", lat=58.0, lon=6.0, sea_distance_m=300.0)
    text = said(where)
    assert "Ultraviolet 295-385 nm, MJ/m²" in text
    assert "rough; computed; class table" in text
    assert "unknown; judgement; assumed" in text
    assert "Wetness class t" in text
    if where == "skarholt sound":
        assert text.startswith("Skarholt Sound: 58.00, 6.00")
        assert "Sea 0.3 km (given)" in text


def test_a_site_shows_what_the_store_holds() -> None:
    site = SiteFactory(name="Tarn Bellow", lat=54.0, lon=-3.0, height_m=50.0)
    store.refresh(at=NOW)
    row = store.rows_at(store.Place(site.lat, site.lon, site.height_m))[0]
    row.detail = "Kept by the store."
    row.save()
    assert "Kept by the store." in said("Tarn Bellow")


def test_a_file(tmp_path: Path) -> None:
    rows = [f"{month},3.2,12.4,9.5,71,55,9,2.6,0.4" for month in range(1, 13)]
    head = "month,ghi_kwh_m2_day,air_c,diurnal_range_k,rh_pct,rain_mm,rain_days,wind_ms,sunshine_fraction"
    path = tmp_path / "own.csv"
    path.write_text("\n".join(["# place: 49.5, 8.5, 97", head, *rows]), encoding="utf-8")
    assert "close; published; file own.csv" in said(str(path))
    path.write_text("\n".join([head, *rows]), encoding="utf-8")
    assert refusal(str(path)) == "own.csv does not say where it holds; add a line: # place: 58.1, 6.7, 20\n"


def refusal(*where: str) -> str:
    err = StringIO()
    with pytest.raises(SystemExit) as ended:
        call_command("climate", *where, stdout=StringIO(), stderr=err)
    assert ended.value.code == 2
    return err.getvalue()


@pytest.mark.parametrize(
    ("where", "says"),
    [
        ("Atlantis", "not among the 86 cities"),
        ("91,0", "latitude lies in -90 to 90"),
        ("gone.epw", "gone.epw cannot be read"),
        ("Reykjavik, Iceland and more", "Give the pin instead"),
    ],
)
def test_refusals(where: str, says: str) -> None:
    SiteFactory(name="Tarn Bellow")
    text = refusal(where)
    assert says in text
    assert text.count("\n") == 1


def test_fetching_asks_the_sources_in_use(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("SHEENWARD_CLIMATE_SOURCES", "power")
    monkeypatch.setenv("SHEENWARD_POWER_ADDRESS", "ftp://example.org/")
    err = StringIO()
    out = StringIO()
    call_command("climate", "50,8", "--fetch", stdout=out, stderr=err)
    assert "NASA POWER: Climate service address" in err.getvalue()
    assert "class table (rough" in out.getvalue()


def test_a_place_needs_no_database() -> None:
    """Before the first `migrate` a city still has its climate; that sites are left out is said once."""

    def no_table(*_: object) -> None:
        raise OperationalError("no such table: lifecycle_site")

    out, err = StringIO(), StringIO()
    with connection.execute_wrapper(no_table):
        call_command("climate", "49.5,8.47,97", stdout=out, stderr=err)
    assert "Ultraviolet 295-385 nm, MJ/m²" in out.getvalue()
    assert err.getvalue().count("Run migrate first") == 1
