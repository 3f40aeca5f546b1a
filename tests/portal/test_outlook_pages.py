"""The owner's outlook on screen: sites, figures that open to their rows, and the one action."""

from __future__ import annotations

import re
from html import unescape

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from lifecycle.models import JournalEntry, Price, VisitProposal
from lifecycle.outlook import sheet_reads
from lifecycle.outlook.prepared import prepare_studio
from tests import people
from tests.factories import SiteFactory
from tests.lifecycle.outlook.test_acceptance_reads import advice
from tests.lifecycle.outlook.test_return_reads import came
from tests.lifecycle.outlook.test_right import seen_layer
from tests.portal.doors import as_member
from tests.portal.studio_world import due, text

pytestmark = pytest.mark.django_db


@pytest.fixture
def filled(site):
    """Three windows with a price, prepared."""
    Price.objects.create(studio=site.studio, task="decontamination_wash", size="M", low=90, high=110)
    windows = [due(site) for _ in range(3)]
    prepare_studio(studio=site.studio, actor="cycle", at=timezone.now())
    return windows


def links(page: str) -> list[str]:
    return [unescape(found) for found in re.findall(r'href="(/studio/outlook/rows/[^"]*)"', page)]


def test_every_figure_opens_to_its_rows(owner, site, filled):
    page = owner.get(reverse("studio:outlook"), {"site": site.pk}).content.decode()
    found = links(page)
    assert len(found) == 13 * 4 + 13 * 3 + 13 + page.count("What falls there")
    assert all(f"site={site.pk}" in link for link in found)
    for link in found[:8] + found[-3:]:
        assert owner.get(link).status_code == 200
    behind = text(owner.get(reverse("studio:outlook_rows"), {"split": "likely"}))
    assert all(window.vehicle.plate in behind for window in filled)
    assert "3 rows may fall into the twelve months" in behind
    assert "Care window between" in behind


def test_pages_of_rows(owner, site, filled, monkeypatch):
    monkeypatch.setattr(sheet_reads.rows, "__kwdefaults__", {**sheet_reads.rows.__kwdefaults__, "per_page": 2})
    seen = [text(owner.get(reverse("studio:outlook_rows"), {"split": "likely", "page": number})) for number in (1, 2)]
    assert sum(window.vehicle.plate in page for page in seen for window in filled) == 3


@pytest.mark.parametrize(
    "query", [{"month": "x"}, {"month": "2001-01"}, {"week": "2026-13-01"}, {"split": "sure"}, {"site": "999999"}]
)
def test_a_figure_that_is_not_there_is_404(owner, filled, query):
    assert owner.get(reverse("studio:outlook_rows"), query).status_code == 404


def test_a_site_of_another_studio_is_not_there(owner, filled):
    foreign = SiteFactory()
    assert owner.get(reverse("studio:outlook"), {"site": foreign.pk}).status_code == 404
    assert owner.post(reverse("studio:outlook_spread", args=[foreign.pk])).status_code == 404


def test_prepared_anew_by_hand_shows_what_is_new(owner, site, filled):
    due(site)
    assert "of 3" in text(owner.get(reverse("studio:outlook")))
    answer = owner.post(reverse("studio:outlook_prepare"), {"site": site.pk}, follow=True)
    assert answer.redirect_chain[-1][0].endswith(f"?site={site.pk}")
    assert "of 4" in text(answer)
    assert JournalEntry.objects.filter(verb="outlook prepared", actor__startswith="member:").count() == 1


def test_spreading_shows_what_moved_and_why(owner, site, filled):
    for window in filled:
        VisitProposal.objects.create(
            studio=site.studio, site=site, vehicle=window.vehicle, key="a", earliest=window.earliest,
            ideal=window.ideal, latest=window.latest, labour_h=6, tasks=[window.task], made_at=timezone.now(),
        )  # fmt: skip
    answer = owner.post(reverse("studio:outlook_spread", args=[site.pk]), follow=True)
    said = text(answer)
    assert "What moved" in said
    assert "3 proposed visits have another day" in said
    assert "Its ideal day." in said or "its ideal day" in said
    assert all(window.vehicle.plate in said for window in filled)


def test_nobody_to_invite_comes_back_with_the_reason(owner, site, filled):
    answer = owner.post(reverse("studio:outlook_spread", args=[site.pk]), follow=True)
    assert "no proposed visit now" in text(answer)


def test_the_owner_alone_spreads(studio, site, filled):
    desk = as_member(people.desk(studio))
    assert desk.post(reverse("studio:outlook_spread", args=[site.pk])).status_code == 403
    assert desk.post(reverse("studio:outlook_prepare")).status_code == 403


LISTS = (
    "outlook", "outlook_rows", "comes_back", "slipping", "acceptance", "decisions", "offers", "outlook_answers",
    "right", "letter",
)  # fmt: skip


def test_as_many_queries_for_thirty_rows_as_for_one(owner, site):
    Price.objects.create(studio=site.studio, task="decontamination_wash", size="M", low=90, high=110)
    counts = []
    for more in (1, 29):
        for _ in range(more):
            vehicle = due(site).vehicle
            came(vehicle, 900, 840, 780, paid=80)
            for words in (("offered", "declined"), ("offered", "accepted"), ("offered",)):
                advice(vehicle, *words)
        prepare_studio(studio=site.studio, actor="cycle", at=timezone.now())
        asked = {}
        for name in LISTS:
            owner.get(reverse(f"studio:{name}"))
            with CaptureQueriesContext(connection) as seen:
                page = owner.get(reverse(f"studio:{name}"))
            assert page.status_code == 200
            asked[name] = len(seen)
        counts.append(asked)
        assert f"{more + len(counts) - 1} customer" in owner.get(reverse("studio:slipping")).content.decode()
    assert counts[0] == counts[1]


class TestAreWeRight:
    def test_a_look_and_its_forecast_stand_on_the_page_and_behind_it(self, owner, site):
        vehicle, _layer = seen_layer(site)
        prepare_studio(studio=site.studio, actor="cycle", at=timezone.now())
        page = text(owner.get(reverse("studio:right")))
        assert "1 look after a decontamination had a forecast before it." in page
        assert "1 of 1" in page
        behind = text(owner.get(reverse("studio:right_rows"), {"what": "end", "predicted": "yes"}))
        assert vehicle.plate in behind
        assert "1 look at “end”" in behind
        assert vehicle.plate not in text(owner.get(reverse("studio:right_rows"), {"what": "end", "predicted": "no"}))

    def test_cannot_tell_yet_is_said(self, owner):
        page = text(owner.get(reverse("studio:right")))
        assert "Cannot tell yet" in page
        assert "No forecast is kept yet." in page
        assert "Nothing is learned yet" in page

    @pytest.mark.parametrize("query", [{"bin": "x"}, {"bin": "99"}, {"key": "-1", "group": "plate"}, {"page": "1e9"}])
    def test_odd_addresses_are_borne(self, owner, query):
        assert owner.get(reverse("studio:right_rows"), query).status_code == 200
        assert owner.get(reverse("studio:right_reminders"), query).status_code == 200

    def test_what_another_studio_saw_is_not_here(self, owner):
        vehicle, _layer = seen_layer(SiteFactory())
        prepare_studio(studio=vehicle.studio, actor="cycle", at=timezone.now())
        assert vehicle.plate not in text(owner.get(reverse("studio:right_rows")))


class TestLetter:
    def test_read_kept_and_switched_off(self, owner, filled):
        page = text(owner.get(reverse("studio:letter")))
        assert "This is the letter as it would be written today." in page
        assert "You get this letter in the first week of each month." in page
        answer = owner.get(reverse("studio:letter_pdf"))
        assert answer.content.startswith(b"%PDF")
        said = text(owner.post(reverse("studio:letter_choice"), {"wanted": "no"}, follow=True))
        assert "You do not get this letter." in said
        said = text(owner.post(reverse("studio:letter_choice"), {"wanted": "yes"}, follow=True))
        assert "You get this letter in the first week" in said

    def test_without_an_outlook_it_says_so(self, owner, site):
        assert "Nothing is prepared yet" in text(owner.get(reverse("studio:letter")))
        assert owner.get(reverse("studio:letter_pdf")).status_code == 404
