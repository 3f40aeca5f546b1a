"""One panel's record with its evidence, and the search over the studio."""

from __future__ import annotations

import unicodedata
from datetime import date, timedelta

import pytest
from django.db import connection
from django.db.models import Value
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from lifecycle.care.corrections import keep_plan, record_correction
from lifecycle.care.folding import LETTERS, Fold, fold
from lifecycle.care.panel_reads import KINDS
from lifecycle.care.search import search
from lifecycle.models import CareEvent, Finding, Inspection, Photo, Studio
from portal.drawings.places import Spot, outline_point
from tests import people
from tests.factories import CustomerFactory, LayerFactory, SiteFactory, StudioFactory, SurfaceFactory, VehicleFactory
from tests.lifecycle.care.paint_world import film, panel
from tests.lifecycle.care.report_world import inspection_of, seal
from tests.portal.doors import as_member
from tests.portal.studio_world import text, today

pytestmark = pytest.mark.django_db


def look(vehicle, days, *, kind="pre_detail", **fields):
    return Inspection.objects.create(
        studio=vehicle.studio, vehicle=vehicle, kind=kind, on=today() - timedelta(days=days), clean_state="washed",
        **fields,
    )  # fmt: skip


def found(surface, inspection, kind="scratch", **fields):
    return Finding.objects.create(studio=surface.studio, inspection=inspection, surface=surface, kind=kind, **fields)


def event(vehicle, kind, days, **fields):
    return CareEvent.objects.create(
        studio=vehicle.studio, vehicle=vehicle, kind=kind, on=today() - timedelta(days=days), **fields
    )


def photo(surface, **fields):
    return Photo.objects.create(
        studio=surface.studio, vehicle=surface.vehicle, surface=surface, file="a.jpg", thumbnail="b.jpg", width=9,
        height=9, sha256="0" * 64, added_at=timezone.now(), **fields,
    )  # fmt: skip


@pytest.fixture
def bonnet(site):
    """A panel with something of every kind that is on record without a report."""
    vehicle = VehicleFactory(site=site, description="black large SUV", plate="TST 777")
    surface = panel(vehicle, "bonnet")
    LayerFactory(surface=surface, batch="C36-2405", applied=today() - timedelta(days=400))
    film(surface, on=today() - timedelta(days=390))
    look(vehicle, 300, kind="walk_around")
    for days in (280, 270, 260):
        event(vehicle, "wash", days)
    event(vehicle, "bird_dropping", 200, surface=surface, dwell_h=30, note="under the lime trees")
    seen = look(vehicle, 100)
    mark = found(
        surface, seen, severity=4, note="by the left washer", pre_existing=False, on_outline=True, x=0.3, y=0.6
    )
    found(surface, look(vehicle, 50), severity=4)
    photo(surface, finding=mark, caption="scratch, close")
    photo(surface)
    by = {"studio": site.studio, "actor": "member:1", "at": timezone.now()}
    keep_plan(vehicle_id=vehicle.pk, chosen={surface.pk: ("one_step", 1)}, **by)
    record_correction(surface_id=surface.pk, on=today() - timedelta(days=10), stage="finishing", **by)
    event(vehicle, "repaint", 420, surface=surface)
    return surface


def address(surface, query=""):
    return reverse("studio:panel", args=[surface.vehicle_id, surface.pk]) + query


class TestPanel:
    def test_everything_stands_in_one_list_newest_first(self, bonnet, owner):
        page = text(owner.get(address(bonnet)))
        record = page[page.index("Repaints and parts (1)") + 22 :]
        order = ["Photo", "Planned: correction in one step", "Finishing polish", "Isolated deep scratch",
                 "by the left washer", "Bird dropping", "3 washes since", "Walk-around: nothing noted on this panel",
                 "Film thickness 120", "Put on:", "Repaint"]  # fmt: skip
        places = [record.index(words) for words in order]
        assert places == sorted(places), list(zip(order, places, strict=True))
        for evidence in ("Severity 4 of 5", "30 h before it was taken off", "Mean of 5, from 118 to 122 µm",
                         "0.3 to 1 µm by estimate", "batch C36-2405", "under the lime trees"):  # fmt: skip
            assert evidence in record, evidence

    def test_was_it_there_before_is_answered_at_a_glance(self, bonnet, owner):
        page = text(owner.get(address(bonnet)))
        first, last = today() - timedelta(days=100), today() - timedelta(days=300)
        assert f"first noted here on {first.day} {first:%B %Y}" in page
        # The film readings of day 390 and the walk-around of day 300 passed this panel without noting one.
        assert f"2 earlier looks at this panel, the last on {last.day} {last:%B %Y}, noted none." in page
        assert "not there before" in page
        other = panel(bonnet.vehicle, "roof")
        found(other, look(bonnet.vehicle, 301, kind="check"))
        assert "no earlier look at this panel is on record" in text(owner.get(address(other)))

    def test_findings_stand_on_the_panels_outline_wherever_they_were_placed(self, bonnet, owner):
        # 0.3, 0.6 of a lying panel, nose to the left: the front third across, the middle third down.
        answer = owner.get(address(bonnet))
        assert "front middle, severity 4 of 5, not there before" in text(answer)
        html = answer.content.decode()
        assert html.count('class="finding-mark"') == 1, "the other has no place"
        mid = found(bonnet, look(bonnet.vehicle, 1), kind="chip", x=60 / 340, y=86 / 172)  # on the vehicle plan
        assert owner.get(address(bonnet)).content.decode().count('class="finding-mark"') == 2
        mid.delete()
        front, rear = (
            outline_point(Spot(1, "bonnet", "bonnet", "flat", "steel"), "suv", x / 340, 0.5) for x in (30, 90)
        )
        assert 0 <= front[0] < rear[0] <= 1, "nearer the nose is farther left"
        assert front[1] == pytest.approx(0.5, abs=0.01), "the middle of the car is the middle of the bonnet"

    def test_a_sealed_report_stands_in_the_list_with_its_link(self, site, owner):
        surface = panel(VehicleFactory(site=site), "bonnet")
        other, seen = panel(surface.vehicle, "roof"), inspection_of(surface.vehicle)
        found(surface, seen)
        report = seal(seen)
        answer = owner.get(address(surface))
        assert f"Report {report.number} sealed: of the inspection on" in text(answer)
        assert reverse("studio:report", args=[report.pk]) in answer.content.decode()
        assert "sealed" not in text(owner.get(address(other))), "that inspection had nothing to do with the roof"

    def test_one_kind_at_a_time(self, bonnet, owner):
        everything = text(owner.get(address(bonnet)))
        assert {f"{words.capitalize()} (" for kind, words in KINDS.items() if kind != "report"} <= {
            words for words in (f"{one.capitalize()} (" for one in KINDS.values()) if words in everything
        }
        only = text(owner.get(address(bonnet, "?kind=wash")))
        record = only[only.index("Everything on record") :]
        assert "3 washes since" in record
        assert "Bird dropping" not in record
        assert owner.get(address(bonnet, "?kind=nonsense&page=99")).status_code == 200

    def test_the_ledger_says_what_is_left(self, bonnet, owner):
        page = text(owner.get(address(bonnet)))
        ledger = page[page.index("What polishing has taken") :]
        assert "Finishing polish" in ledger
        assert "no readings on both sides" in ledger

    def test_the_vehicle_page_leads_to_every_panel(self, bonnet, owner):
        html = owner.get(reverse("studio:vehicle", args=[bonnet.vehicle_id])).content.decode()
        assert f'href="{address(bonnet)}"' in html

    def test_another_vehicles_surface_is_not_here(self, bonnet, owner):
        other = SurfaceFactory(vehicle=VehicleFactory(site=bonnet.vehicle.site))
        assert owner.get(reverse("studio:panel", args=[other.vehicle_id, bonnet.pk])).status_code == 404

    def test_thirty_of_each_take_as_many_queries_as_one(self, site, owner):
        counts = []
        for many in (1, 30):
            surface = panel(VehicleFactory(site=site, plate=f"TST Q{many}"), "bonnet")
            by = {"studio": site.studio, "actor": "member:1", "at": timezone.now()}
            for n in range(many):
                LayerFactory(surface=surface, kind="wax")
                seen = look(surface.vehicle, n + 1)
                film(surface, inspection=seen)
                photo(surface, finding=found(surface, seen))
                photo(surface)
                event(surface.vehicle, "sap", n, surface=surface)
                record_correction(surface_id=surface.pk, on=today(), stage="finishing", happened_elsewhere=True, **by)
            with CaptureQueriesContext(connection) as queries:
                assert owner.get(address(surface)).status_code == 200
            counts.append(len(queries))
        assert counts[0] == counts[1], counts


class TestFolding:
    def test_python_and_the_database_fold_alike(self):
        every = "".join(LETTERS) + "ßæŒþ xyz 123 %_\\ 漢字 Ж"
        for given in (every, "ÅLESUND Grün Łódź Crème Brûlée", unicodedata.normalize("NFD", "Gärtner Çelik")):
            StudioFactory(name=given[:120], slug="s")
            assert Studio.objects.values_list(Fold(Value(given)), flat=True).first() == fold(given)
            Studio.objects.all().delete()

    @pytest.mark.parametrize(
        ("given", "plain"),
        [("Åse Łukasz", "ase lukasz"), ("STRASSE", "strasse"), ("Straße", "strasse"), ("Æsir Øyvind", "aesir oyvind"),
         ("ñandú", "nandu"), ("Ž", "z"), ("İstanbul", "istanbul")],
    )  # fmt: skip
    def test_common_letters(self, given, plain):
        assert fold(given) == plain


@pytest.fixture
def record(site):
    keeper = CustomerFactory(studio=site.studio, name="Åse Fröhlich-Tamm")
    vehicle = VehicleFactory(site=site, plate="OGW 12-AB", description="grey estate", keeper=keeper)
    door = panel(vehicle, "front_door_left")
    LayerFactory(surface=door, batch="C36_100%", kind="ceramic_mid")
    LayerFactory(surface=panel(vehicle, "roof"), batch="C36-2405")
    found(door, look(vehicle, 5), note="key, müde 50% deep", severity=4)
    return vehicle


def hits(studio, words, *, customers=True):
    return {
        group.name: [(hit.title, hit.reason) for hit in group.hits]
        for group in search(studio=studio, text=words, customers=customers).groups
    }


class TestSearch:
    @pytest.mark.parametrize(
        ("words", "group", "title", "reason"),
        [
            ("ogw12ab", "Vehicles", "OGW 12-AB", "plate"),
            ("ogw 12 ab", "Vehicles", "OGW 12-AB", "plate"),
            ("OGW 12-AB", "Vehicles", "OGW 12-AB", "plate"),
            ("Grey ESTATE", "Vehicles", "OGW 12-AB", "description"),
            ("ase frohlich", "Keepers", "Åse Fröhlich-Tamm", "keeper"),
            ("FRÖHLICH", "Keepers", "Åse Fröhlich-Tamm", "keeper"),
            ("c36-24", "Batches", "C36-2405", "batch"),
            ("deep scratch door", "Findings", "Isolated deep scratch, left front door", "kind and note and panel"),
            ("mude", "Findings", "Isolated deep scratch, left front door", "note"),
            ("scratch ogw12ab", "Findings", "Isolated deep scratch, left front door", "kind"),
            ("left front", "Panels", "Left front door", "panel"),
            ("roof ogw", "Panels", "Roof", "panel"),
        ],
    )
    def test_what_is_found_and_why(self, record, words, group, title, reason):
        assert (title, reason) in hits(record.studio, words)[group]

    def test_a_plate_alone_does_not_drag_in_all_that_its_vehicle_has(self, record):
        assert set(hits(record.studio, "ogw12ab")) == {"Vehicles"}

    @pytest.mark.parametrize(
        ("words", "batches"),
        [("36_1", ["C36_100%"]), ("0%", ["C36_100%"]), ("c3__", []), ("%%", []), ("c36\\", []), ("' or 1=1", [])],
    )
    def test_wildcards_are_letters_like_any_other(self, record, words, batches):
        assert [title for title, _ in hits(record.studio, words).get("Batches", [])] == batches

    def test_it_stays_within_the_studio_and_the_role(self, record, studio):
        other = VehicleFactory(site=SiteFactory(), plate="OGW 99", keeper=CustomerFactory(name="Åse Elsewhere"))
        panel(other, "roof")
        assert "OGW 99" not in str(hits(studio, "ogw"))
        assert [title for title, _ in hits(studio, "ase")["Keepers"]] == ["Åse Fröhlich-Tamm"]
        assert hits(studio, "ase", customers=False) == {}
        technician = as_member(people.technician(studio))
        page = text(technician.get(reverse("studio:search"), {"q": "ase"}))
        assert "Fröhlich" not in page
        assert "Nothing on record matches" in page
        assert "Fröhlich" in text(as_member(people.desk(studio)).get(reverse("studio:search"), {"q": "ase"}))

    def test_the_page(self, record, owner):
        where = reverse("studio:search")
        assert "Search" in text(owner.get(reverse("studio:work")))
        assert "Type at least two letters." in text(owner.get(where, {"q": "x"}))
        answer = owner.get(where, {"q": "<b>scratch"})
        assert "<b>scratch" not in answer.content.decode()
        html = owner.get(where, {"q": "scratch"}).content.decode()
        door = record.surfaces.get(code="front_door_left")
        assert reverse("studio:panel", args=[record.pk, door.pk]) in html
        assert "found by its kind" in html
        assert owner.get(where, {"q": "a\x00b" + "w " * 60}).status_code == 200

    def test_thirty_hits_take_as_many_queries_as_one_and_say_that_there_is_more(self, site, owner):
        counts = []
        for many in (1, 29):
            for n in range(many):
                keeper = CustomerFactory(studio=site.studio, name=f"Quill {n}")
                vehicle = VehicleFactory(site=site, plate=f"Q{many} {n}", description="quill van", keeper=keeper)
                surface = panel(vehicle, "quill_panel")
                LayerFactory(surface=surface, batch=f"quill-{n}")
                found(surface, look(vehicle, 3), note="quill")
            with CaptureQueriesContext(connection) as queries:
                answer = owner.get(reverse("studio:search"), {"q": "quill"})
            counts.append(len(queries))
            assert len(answer.context["found"].groups) == 5
        assert counts[0] == counts[1], counts
        assert text(answer).count("There is more; add a word") == 5

    def test_one_who_left_is_found_and_said_to_have_left(self, record, studio):
        record.retired_on = date(2026, 1, 2)
        record.save()
        group = search(studio=studio, text="ogw12ab", customers=True).groups[0]
        assert "no longer looked after since 2026-01-02" in group.hits[0].detail
