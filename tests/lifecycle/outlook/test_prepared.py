"""The prepared outlook: sheets that add up, rows behind every figure that explain it, once a night."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import JournalEntry, OutlookRow, OutlookSheet, Price, Visit, VisitProposal
from lifecycle.outlook import prepared, prospects, sheet_reads, spreading
from tests.factories import NOW, TODAY, CareDueFactory, SiteFactory, StudioFactory, VehicleFactory
from tests.lifecycle.outlook.test_reads import due, forecast
from tests.lifecycle.outlook.test_return_reads import came

pytestmark = pytest.mark.django_db


def prepare(studio, at=NOW):
    return prepared.prepare_studio(studio=studio, actor="cycle", at=at)


def two_sites():
    """Two sites with windows, a renewal and a visit each, the second with twice as many windows."""
    studio = StudioFactory()
    sites = [SiteFactory(studio=studio, name=name) for name in ("Skarholt Sound", "Tarn Bellow")]
    for number, site in enumerate(sites, start=1):
        for count in range(4 * number):
            forecast(due(site, task="recoat", opens=10 * count).vehicle)
        Price.objects.get_or_create(studio=studio, task="wheel_retreat", size="M", defaults={"low": 50, "high": 70})
        Visit.objects.create(
            studio=studio, vehicle=VehicleFactory(site=site), site=site, on=TODAY + timedelta(days=40), hours=3,
            tasks=["recoat"], booked_at=NOW,
        )  # fmt: skip
    return studio, sites


def test_the_whole_is_the_sum_of_its_sites():
    studio, sites = two_sites()
    prepare(studio)
    whole = sheet_reads.page(studio).sheet
    parts = [sheet_reads.page(studio, site_id=site.pk).sheet for site in sites]
    assert whole is not None
    for number, month in enumerate(whole.months):
        assert month.dues == sum(part.months[number].dues for part in parts)
        for split in ("booked", "likely", "possible"):
            means = [getattr(part.months[number], split).mean for part in parts]
            assert getattr(month, split).mean == pytest.approx(sum(means))
        assert month.has.labour == pytest.approx(sum(part.months[number].has.labour for part in parts))
    assert parts[1].year.likely.dues == 2 * parts[0].year.likely.dues
    # The draws of two sites share the doubt about the rate, but not all of it: the whole is narrower than the sum.
    widths = [part.year.total.p90 - part.year.total.p10 for part in parts]
    assert whole.year.total.p90 - whole.year.total.p10 < sum(widths)


def test_the_rows_behind_a_figure_explain_its_mean():
    # Linearity of expectation: the chances times prices of all rows sum to the mean, whatever hangs together.
    studio, sites = two_sites()
    prepare(studio)
    for site in (None, *sites):
        site_id = site.pk if site else None
        sheet = sheet_reads.page(studio, site_id=site_id).sheet
        for month in sheet.months[:6]:
            for split in ("booked", "likely", "possible"):
                found = sheet_reads.rows(studio, site_id=site_id, split=split, month=month.first, per_page=500)
                figure = getattr(month, split)
                assert found.total == figure.reach
                told = sum(row.worth for row in found.rows)
                assert told == pytest.approx(figure.mean, rel=0.12, abs=15), (site, month.label, split)


def test_hours_of_a_week_are_those_of_its_rows():
    studio, _sites = two_sites()
    prepare(studio)
    sheet = sheet_reads.page(studio).sheet
    for week in sheet.weeks:
        found = sheet_reads.rows(studio, week=week.first, per_page=500)
        told = sum(row.hours for row in found.rows)
        assert week.labour.p10 - 1 <= told <= week.labour.p90 + 1
    spread = [row.in_span for week in sheet.weeks for row in sheet_reads.rows(studio, week=week.first).rows]
    assert 0 < max(spread) <= 1


def test_cure_and_bay_hours_are_counted_beside_the_work():
    site = SiteFactory()
    due(site, task="recoat", opens=1)
    prepare(site.studio)
    (row,) = [one for one in prospects.gather(site.studio, today=TODAY).prospects if ":again" not in one.key]
    from lifecycle.care.site_days import bay_cure_h

    assert row.cure_h == bay_cure_h(("recoat",)) > 16
    assert row.bay_h == pytest.approx(row.labour_h + row.cure_h - 16)
    assert (row.site, row.vehicle) == (site.pk, OutlookRow.objects.first().vehicle_id)


def test_a_planned_day_draws_the_window_towards_it():
    site = SiteFactory()
    window = due(site, opens=0)
    day = TODAY + timedelta(days=50)
    proposal = VisitProposal.objects.create(
        studio=site.studio, site=site, vehicle=window.vehicle, key="a", earliest=window.earliest, ideal=window.ideal,
        latest=window.latest, labour_h=2, tasks=[window.task], made_at=NOW, planned_on=day,
    )  # fmt: skip
    proposal.dues.add(window)
    prepare(site.studio)
    row = OutlookRow.objects.get(source=f"due:{window.pk}", split="likely")
    assert row.ideal == day
    assert "planned for 21 April 2026" in row.why


def test_once_a_night_and_again_when_asked():
    site = SiteFactory()
    due(site)
    assert prepared.prepare(at=NOW)["studios"] == 1
    assert prepared.prepare(at=NOW + timedelta(hours=3))["studios"] == 0
    due(site)
    assert sheet_reads.page(site.studio).sheet.year.likely.dues == 1
    prepare(site.studio, at=NOW + timedelta(hours=4))
    assert sheet_reads.page(site.studio).sheet.year.likely.dues == 2
    assert prepared.prepare(at=NOW + timedelta(days=1))["studios"] == 1
    assert OutlookSheet.objects.of(site.studio).count() == 2
    said = JournalEntry.objects.filter(verb="outlook prepared").values_list("actor", flat=True)
    assert list(said) == ["cycle"] * 3


def test_a_studio_that_fails_does_not_stop_the_others(monkeypatch):
    first, second = SiteFactory(), SiteFactory()
    real = prepared.prepare_studio

    def fail(*, studio, actor, at):
        if studio == first.studio:
            raise RuntimeError("broken")
        return real(studio=studio, actor=actor, at=at)

    monkeypatch.setattr(prepared, "prepare_studio", fail)
    assert prepared.prepare(at=NOW) == {"studios": 1, "rows": 0, "failed": 1}
    assert OutlookSheet.objects.of(second.studio).exists()


def test_nothing_of_another_studio():
    studio, sites = two_sites()
    prepare(studio)
    stranger = StudioFactory()
    assert sheet_reads.page(stranger).sheet is None
    assert sheet_reads.rows(stranger) is None
    with pytest.raises(NotFoundHere):
        sheet_reads.page(stranger, site_id=sites[0].pk)
    with pytest.raises(NotFoundHere):
        spreading.spread_invitations(studio=stranger, site_id=sites[0].pk, actor="member:1", at=NOW)


@pytest.mark.parametrize("asked", [{"split": "sure"}, {"month": date(2020, 1, 1)}, {"week": date(2026, 3, 3)}])
def test_a_figure_that_is_not_there(asked):
    site = SiteFactory()
    prepare(site.studio)
    assert sheet_reads.rows(site.studio, **asked) is None


def test_as_many_questions_for_thirty_vehicles_as_for_one():
    counts = []
    for count in (1, 30):
        site = SiteFactory()
        for _ in range(count):
            forecast(due(site).vehicle)
        with CaptureQueriesContext(connection) as preparing:
            prepare(site.studio)
        with CaptureQueriesContext(connection) as page:
            sheet_reads.page(site.studio, site_id=site.pk)
        with CaptureQueriesContext(connection) as rows:
            assert len(sheet_reads.rows(site.studio).rows) >= count
        asked = [query for query in preparing if not query["sql"].startswith("INSERT")]  # rows go in by the hundred
        counts.append([len(asked), len(page), len(rows)])
    assert counts[0] == counts[1]


class TestSpreading:
    def crowd(self, count=30):
        """Windows of a month whose proposals all stand on one day, of people who come every half year."""
        site = SiteFactory()
        for _ in range(count):
            row = CareDueFactory(
                vehicle=VehicleFactory(site=site), task="recoat", earliest=TODAY + timedelta(days=42),
                ideal=TODAY + timedelta(days=52), latest=TODAY + timedelta(days=80),
            )  # fmt: skip
            proposal = VisitProposal.objects.create(
                studio=site.studio, site=site, vehicle=row.vehicle, key="a", earliest=row.earliest, ideal=row.ideal,
                latest=row.latest, labour_h=6, tasks=["recoat"], made_at=NOW, planned_on=row.ideal,
            )  # fmt: skip
            proposal.dues.add(row)
            came(row.vehicle, 560, 380, 200, 20)
        Price.objects.create(studio=site.studio, task="recoat", size="M", low=500, high=700)
        return site

    def test_it_moves_what_overflows_says_why_and_the_outlook_follows(self):
        site = self.crowd()
        prepare(site.studio)
        before = {week.first: week.labour.p50 for week in sheet_reads.page(site.studio, site_id=site.pk).sheet.weeks}
        entry = spreading.spread_invitations(studio=site.studio, site_id=site.pk, actor="member:1", at=NOW)
        assert (entry.verb, entry.actor, entry.subject_id) == ("invitations spread", "member:1", site.pk)
        told = spreading.spreading(site.studio, entry.pk)
        assert len(told.moved) + told.stayed == 30
        assert len(told.moved) > 10
        assert all(row.why for row in told.moved)
        assert any("leave less room for 6 h" in row.why for row in told.moved)
        assert {row.planned_on for row in VisitProposal.objects.exclude(planned_on=None)} >= {
            row.after for row in told.moved if row.after
        }
        for row in VisitProposal.objects.exclude(planned_on=None):
            assert row.earliest <= row.planned_on <= row.latest
        prepare(site.studio)
        after = {week.first: week.labour.p50 for week in sheet_reads.page(site.studio, site_id=site.pk).sheet.weeks}
        assert max(after.values()) < max(before.values())

    def test_again_moves_nothing_and_says_so(self):
        site = self.crowd(6)
        spreading.spread_invitations(studio=site.studio, site_id=site.pk, actor="member:1", at=NOW)
        again = spreading.spread_invitations(studio=site.studio, site_id=site.pk, actor="member:1", at=NOW)
        assert spreading.spreading(site.studio, again.pk).moved == ()

    def test_nobody_to_invite_is_said(self):
        site = SiteFactory()
        with pytest.raises(DomainError, match="no proposed visit"):
            spreading.spread_invitations(studio=site.studio, site_id=site.pk, actor="member:1", at=NOW)
        assert not JournalEntry.objects.filter(verb="invitations spread").exists()

    def test_a_spreading_of_another_studio_is_not_there(self):
        site = self.crowd(2)
        entry = spreading.spread_invitations(studio=site.studio, site_id=site.pk, actor="member:1", at=NOW)
        with pytest.raises(NotFoundHere):
            spreading.spreading(StudioFactory(), entry.pk)


def test_a_week_that_is_flagged_stands_on_its_page():
    site = TestSpreading().crowd(40)
    VisitProposal.objects.update(planned_on=TODAY + timedelta(days=50))
    prepare(site.studio)
    flagged = sheet_reads.page(site.studio).flagged
    assert flagged
    assert {flag.week.ahead for flag in flagged} <= {6, 7, 8}
    assert any(flag.week.state == "overflow" for flag in flagged)
