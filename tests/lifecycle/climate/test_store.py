"""The store: which source is used, what is kept beside it, and a service that is slow, broken, or talks nonsense."""

from __future__ import annotations

import json
import threading
import time
from collections.abc import Iterator
from datetime import timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path
from typing import ClassVar

import pytest

from lifecycle.climate import store, web
from lifecycle.climate.class_table import ClassTableSource, climate_at
from lifecycle.climate.source import ClimateError
from lifecycle.climate.sources import POWER_ADDRESS, FileSource, PowerSource, PvgisSource, enabled, rank_of
from lifecycle.models import ClimateNormal, ClimateService
from lifecycle.wear.types import Place
from tests.factories import NOW, HabitsFactory, SiteFactory, VehicleFactory

pytestmark = pytest.mark.django_db

RECORDED = Path(__file__).resolve().parents[3].parent / "shared" / "data" / "online"


def months(january: float, step: float = 0.0) -> dict[str, float]:
    """Twelve months in the shape of the service, written here."""
    names = ("JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC")
    return {name: january + step * min(place, 12 - place) for place, name in enumerate(names)}


# Shape of a climatology answer with everything asked for; the figures are made up.
GOOD = {
    "geometry": {"type": "Point", "coordinates": [8.5, 49.5, 97.0]},
    "properties": {
        "parameter": {
            "ALLSKY_SFC_SW_DWN": months(1.0, 0.8), "T2M": months(1.5, 3.0), "RH2M": months(84.0, -2.0),
            "WS10M": months(4.0), "PRECTOTCORR": months(1.8, 0.1),
        }
    },
    "header": {"fill_value": -999.0, "range": "20-year (January 2001 - December 2020)"},
    "parameters": {
        "ALLSKY_SFC_SW_DWN": {"units": "kW-hr/m^2/day"}, "T2M": {"units": "C"}, "RH2M": {"units": "%"},
        "WS10M": {"units": "m/s"}, "PRECTOTCORR": {"units": "mm/day"},
    },
}  # fmt: skip


class Handler(BaseHTTPRequestHandler):
    """Plays one mood after the other, the last for ever. Who is slow answers when the test is over."""

    over: ClassVar[threading.Event] = threading.Event()
    moods: ClassVar[list[str]] = []
    good: ClassVar[bytes] = b""
    asked: ClassVar[list[str]] = []

    def do_GET(self) -> None:
        type(self).asked.append(self.path)
        mood = self.moods.pop(0) if len(self.moods) > 1 else self.moods[0]
        if mood == "slow":
            self.over.wait(60)
        if mood == "trickle":
            self.send_response(200)
            self.end_headers()
            for _ in range(20):
                try:
                    self.wfile.write(b" ")
                    self.wfile.flush()
                except OSError:
                    return
                time.sleep(0.02)
            return
        status = {"error": 500, "refused": 422, "busy": 429}.get(mood, 200)
        bodies = {
            "garbage": b"<html>maintenance</html>", "refused": b'{"no": "such place"}', "huge": b"[" + b"1," * 70_000,
        }  # fmt: skip
        body = bodies.get(mood, self.good)
        self.send_response(status)
        self.end_headers()
        try:
            self.wfile.write(body)
        except OSError:
            return

    def log_message(self, format: str, *args: object) -> None:
        """Quiet."""


@pytest.fixture
def service() -> Iterator[tuple[type[Handler], str]]:
    """A service on this machine, its handler, and its address."""
    handler = type(
        "Mood",
        (Handler,),
        {"moods": ["good"], "good": json.dumps(GOOD).encode(), "asked": [], "over": threading.Event()},
    )
    server = ThreadingHTTPServer(("127.0.0.1", 0), handler)
    server.daemon_threads = True
    thread = threading.Thread(target=server.serve_forever, args=(0.01,), daemon=True)
    thread.start()
    yield handler, f"http://127.0.0.1:{server.server_port}/point"
    handler.over.set()
    server.shutdown()
    server.server_close()
    thread.join()


def quick(address: str, query: dict[str, str], *, timeout_s: float = 30.0, whole_s: float = 60.0) -> dict:
    return web.get_json(address, query, timeout_s=timeout_s, whole_s=whole_s, waits_s=(0.001, 0.002))


def test_slow_then_broken_then_good(service) -> None:
    handler, address = service
    handler.moods[:] = ["slow", "error", "good"]
    waited: list[float] = []
    answer = web.get_json(address, {"a": "1"}, timeout_s=2.0, waits_s=(1.0, 4.0), sleep=waited.append)
    assert answer == GOOD
    assert waited == [1.0, 4.0]
    assert len(handler.asked) == 3


@pytest.mark.parametrize(
    ("mood", "says"),
    [
        ("slow", "no answer within 0.1 s"),
        ("error", "status 500"),
        ("busy", "status 429"),
        ("garbage", "not JSON"),
        ("trickle", "no whole answer within 0.2 s"),
    ],
)
def test_a_service_that_stays_ill_is_given_up_after_three_tries(mood: str, says: str, service) -> None:
    handler, address = service
    handler.moods[:] = [mood]
    with pytest.raises(ClimateError, match=f"3 tries, the last: .*{says}"):
        quick(address, {}, timeout_s=0.1 if mood == "slow" else 30.0, whole_s=0.2 if mood == "trickle" else 60.0)
    assert len(handler.asked) == 3


def test_a_refusal_is_not_tried_again(service) -> None:
    handler, address = service
    handler.moods[:] = ["refused"]
    with pytest.raises(ClimateError, match=r"refused: status 422: .*such place"):
        quick(address, {})
    assert len(handler.asked) == 1


def test_an_endless_answer_is_cut(service, monkeypatch: pytest.MonkeyPatch) -> None:
    handler, address = service
    handler.moods[:] = ["huge"]
    monkeypatch.setattr(web, "MOST_BYTES", 100_000)
    with pytest.raises(ClimateError, match="larger than 100000 bytes"):
        quick(address, {})


@pytest.mark.parametrize("address", ["file:///etc/hostname", "ftp://example.org/x", "power", ""])
def test_only_http_is_asked(address: str) -> None:
    with pytest.raises(ClimateError, match="full http or https address"):
        web.get_json(address, {})


def test_nobody_listens() -> None:
    with pytest.raises(ClimateError, match="gave no answer in 3 tries"):
        quick("http://127.0.0.1:9/point", {})


def test_power_over_http_is_kept_and_used(service) -> None:
    handler, address = service
    site = SiteFactory(lat=49.52, lon=8.47, height_m=97.0)
    vehicle = VehicleFactory(site=site, assess_again=False)
    assert store.refresh(at=NOW)["fetched"] == 1
    vehicle.assess_again = False
    vehicle.save()
    counts = store.refresh(at=NOW, sources=[PowerSource(address, quick), ClassTableSource()])
    assert counts == {"places": 1, "fetched": 1}
    assert "latitude=49.50" in handler.asked[0]
    assert "PRECTOTCORR" in handler.asked[0]
    best, other = store.rows_at(Place(49.52, 8.47, 97.0))
    assert (best.source, best.error_word, best.period) == ("NASA POWER", "fair", "2001-2020")
    assert other.source == "class table"
    read = store.reader(NOW)(Place(49.52, 8.47, 97.0, 400_000.0))
    assert read.source == "NASA POWER"
    assert read.air_c[6] == pytest.approx(19.5, abs=0.1)
    assert read.place.sea_distance_m == 400_000.0
    assert ("diurnal_range_k", "class table", "rough") in read.parts
    vehicle.refresh_from_db()
    assert vehicle.assess_again, "a better source asks for a new assessment"
    assert ClimateService.objects.get().last_ok_at == NOW


def test_a_year_holds_and_is_not_asked_again(service) -> None:
    handler, address = service
    SiteFactory()
    source = PowerSource(address, quick)
    store.refresh(at=NOW, sources=[source])
    store.refresh(at=NOW + timedelta(days=300), sources=[source])
    assert len(handler.asked) == 1
    store.refresh(at=NOW + timedelta(days=366), sources=[source])
    assert len(handler.asked) == 2


def test_an_ill_service_rests_and_what_was_known_holds(service) -> None:
    handler, address = service
    for place in range(5):
        SiteFactory(lat=50.0 + place)
    store.refresh(at=NOW)
    handler.moods[:] = ["error"]
    source = PowerSource(address, lambda a, q: web.get_json(a, q, timeout_s=30.0, waits_s=()))
    counts = store.refresh(at=NOW, sources=[source, ClassTableSource()])
    assert counts["refused"] == 3
    assert len(handler.asked) == 3, "the circuit opens after three failures"
    state = ClimateService.objects.get()
    assert (state.failures, state.open_until) == (3, NOW + store.REST)
    assert "status 500" in state.last_error
    store.refresh(at=NOW + timedelta(hours=5), sources=[source])
    assert len(handler.asked) == 3, "it rests"
    assert store.reader(NOW)(Place(50.0, 8.47, 97.0)).source == "class table"
    # After the rest one try; a failure opens the circuit at once, an answer closes it.
    store.refresh(at=NOW + timedelta(hours=7), sources=[source])
    assert len(handler.asked) == 4
    handler.moods[:] = ["good"]
    store.refresh(at=NOW + timedelta(hours=14), sources=[source])
    state.refresh_from_db()
    assert (state.failures, state.open_until) == (0, None)
    assert ClimateNormal.objects.filter(source="NASA POWER").count() == 5


def test_garbage_never_reaches_the_forecast(service) -> None:
    handler, address = service
    broken = json.loads(json.dumps(GOOD))
    broken["parameters"]["T2M"]["units"] = "furlongs"
    handler.good = json.dumps(broken).encode()
    SiteFactory()
    counts = store.refresh(at=NOW, sources=[PowerSource(address, quick), ClassTableSource()])
    assert (counts["fetched"], counts["refused"]) == (1, 1)
    assert "furlongs" in ClimateService.objects.get().last_error
    assert ClimateNormal.objects.get().source == "class table"


def test_recorded_answers_over_http(service) -> None:
    """The recorded answer of the POWER service for 48.07 N 7.92 E, played by a server here."""
    recorded = RECORDED / "nasa_power_climatology_48.07N_7.92E.json"
    if not recorded.exists():
        pytest.skip(f"recorded answer {recorded.name} is not beside the checkout (../shared/data/online)")
    handler, address = service
    handler.good = recorded.read_bytes()
    handler.moods[:] = ["garbage", "good"]
    SiteFactory(lat=48.07, lon=7.92)
    store.refresh(at=NOW, sources=[PowerSource(address, quick)])
    row = ClimateNormal.objects.get()
    assert row.months["ghi_kwh_m2_day"][5] == 5.87
    assert row.koppen_class == "Cfb"
    assert row.sea_km > 300


def test_recorded_typical_year_over_http(service) -> None:
    """The recorded answer of PVGIS for 45 N 8 E: months and the sums of its hours are kept."""
    import gzip

    recorded = RECORDED / "tmy_45.000_8.000_2005_2023.json.gz"
    if not recorded.exists():
        pytest.skip(f"recorded answer {recorded.name} is not beside the checkout (../shared/data/online)")
    handler, address = service
    handler.good = gzip.decompress(recorded.read_bytes())
    SiteFactory(lat=45.0, lon=8.0, height_m=250.0)
    source = PvgisSource(address, lambda a, q: web.get_json(a, q, timeout_s=30.0))
    store.refresh(at=NOW, sources=[source, PowerSource("http://127.0.0.1:9/x", quick), ClassTableSource()])
    read = store.reader(NOW)(Place(45.0, 8.0, 250.0))
    assert (read.source, read.error_word) == ("PVGIS TMY", "fair")
    assert sum(read.wet_hours) == 4108.0
    assert len(read.uv_mj_m2) == len(read.frost_days) == 12


def test_habits_away_from_home_are_places_too() -> None:
    HabitsFactory(vehicle=VehicleFactory(), lat=38.0, lon=-2.0, height_m=None)
    assert store.refresh(at=NOW)["places"] == 2
    assert {row.lat for row in ClimateNormal.objects.all()} == {49.5, 38.0}


def test_table_only_by_default_and_known_names_only() -> None:
    assert [source.name for source in enabled({})] == ["class table"]
    named = enabled({"SHEENWARD_CLIMATE_SOURCES": "power, pvgis,files"})
    assert [source.name for source in named] == ["weather file", "PVGIS TMY", "NASA POWER", "class table"]
    assert [source.online for source in named] == [False, True, True, False]
    assert named[2].address == POWER_ADDRESS
    other = enabled({"SHEENWARD_CLIMATE_SOURCES": "power", "SHEENWARD_POWER_ADDRESS": "http://127.0.0.1:1/"})
    assert other[0].address == "http://127.0.0.1:1/"
    with pytest.raises(ClimateError, match="names moon; write names of files, pvgis, power, table"):
        enabled({"SHEENWARD_CLIMATE_SOURCES": "moon"})


def test_the_better_word_goes_before_the_better_source() -> None:
    from dataclasses import replace

    table = climate_at(Place(50.0, 8.0))
    answers = [
        replace(table, source="file far.epw", error_word="rough"),
        replace(table, source="NASA POWER", error_word="fair"),
        table,
        replace(table, source="PVGIS TMY", error_word="fair"),
        replace(table, source="file a.epw", error_word="close"),
    ]
    order = [year.source for year in sorted(answers, key=rank_of)]
    assert order == ["file a.epw", "PVGIS TMY", "NASA POWER", "file far.epw", "class table"]


def test_a_folder_without_a_fitting_file_is_passed_over(tmp_path: Path) -> None:
    SiteFactory()
    counts = store.refresh(at=NOW, sources=[FileSource(tmp_path), ClassTableSource()])
    assert (counts["fetched"], counts["refused"]) == (1, 1)
    rows = [f"{month},3.2,12.4,9.5,71,55,9,2.6,0.4" for month in range(1, 13)]
    head = "month,ghi_kwh_m2_day,air_c,diurnal_range_k,rh_pct,rain_mm,rain_days,wind_ms,sunshine_fraction"
    (tmp_path / "own.csv").write_text("\n".join(["# place: 49.5, 8.5, 97", head, *rows]), encoding="utf-8")
    store.refresh(at=NOW, sources=[FileSource(tmp_path), ClassTableSource()])
    assert store.reader(NOW)(Place(49.5, 8.5, 97.0)).source == "file own.csv"
