"""The members' pages about programs: tokens and the reference."""

from __future__ import annotations

import re
from datetime import timedelta

import pytest
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from lifecycle.connect.hook_events import EVENT_KINDS
from lifecycle.connect.scopes import open_to
from lifecycle.connect.tokens import MOST_LIVE
from lifecycle.models import ApiToken, JournalEntry
from portal.api.problems import KINDS
from tests import people
from tests.factories import StudioFactory
from tests.portal.api.world import made_token
from tests.portal.doors import as_member
from tests.portal.studio_world import text

pytestmark = pytest.mark.django_db
NEW = {"name": "till at the desk", "scopes": ["read:vehicles", "read:due"], "days": "90"}


@pytest.fixture
def studio():
    return StudioFactory(zone="UTC")


class TestTokenPage:
    @pytest.mark.parametrize("role", ["owner", "technician", "desk"])
    def test_a_member_finds_makes_uses_and_ends_a_token(self, studio, role):
        member = getattr(people, role)(studio)
        browser, url = as_member(member), reverse("studio:tokens")
        assert f'href="{url}"' in browser.get(reverse("studio:work")).content.decode()
        page = browser.get(url).content.decode()
        assert set(re.findall(r'name="scopes" value="([a-z:]+)"', page)) == {one.code for one in open_to(role)}
        made = browser.post(url, NEW)
        secret = re.search(r'readonly[^>]*value="(shw_[\w-]{43})"', made.content.decode())[1]
        assert "no-store" in made["Cache-Control"]
        ask = Client(headers={"Authorization": f"Bearer {secret}"})
        assert ask.get("/api/v1/vehicles").status_code == 200
        again = browser.get(url)
        assert secret not in again.content.decode(), "shown once"
        assert "till at the desk" in text(again)
        token = ApiToken.objects.get()
        assert timedelta(days=89) < token.ends_at - timezone.now() < timedelta(days=91)
        said = browser.post(reverse("studio:end_token", args=[token.pk]), follow=True)
        assert "has ended" in text(said)
        assert ask.get("/api/v1/vehicles").status_code == 401
        verbs = list(JournalEntry.objects.filter(subject="token").values_list("verb", "actor"))
        assert verbs == [("token made", f"member:{member.pk}"), ("token ended", f"member:{member.pk}")]

    @pytest.mark.parametrize(
        ("change", "says"),
        [({"name": " "}, "This field is required"), ({"scopes": []}, "Tick at least one thing"),
         ({"scopes": ["write:vehicles"]}, "Select a valid choice"), ({"days": "4000"}, "Select a valid choice"),
         ({"name": "x" * 61}, "at most 60 characters")],
    )  # fmt: skip
    def test_a_slip_keeps_what_was_typed(self, studio, change, says):
        answer = as_member(people.technician(studio)).post(reverse("studio:tokens"), NEW | change)
        assert answer.status_code == 422
        assert says in text(answer)
        assert 'value="till at the desk"' in answer.content.decode() or "name" in change
        assert ApiToken.objects.count() == 0

    def test_others_tokens_are_the_owners_alone(self, studio):
        boss, member = people.owner(studio), people.technician(studio)
        others, foreign = made_token(boss), made_token(people.owner())
        browser = as_member(member)
        assert "cash register" not in text(browser.get(reverse("studio:tokens")))
        for token in (others, foreign):
            assert browser.post(reverse("studio:end_token", args=[token.id])).status_code == 404
        mine = made_token(member)
        owner = as_member(boss)
        assert text(owner.get(reverse("studio:tokens"))).count("cash register") == 2
        assert owner.post(reverse("studio:end_token", args=[mine.id])).status_code == 302
        assert owner.post(reverse("studio:end_token", args=[foreign.id])).status_code == 404
        assert set(ApiToken.objects.exclude(ended_at=None).values_list("pk", flat=True)) == {mine.id}
        said = owner.post(reverse("studio:end_token", args=[mine.id]), follow=True)
        assert "has ended already" in text(said)

    def test_a_scope_that_the_role_lost_is_said(self, studio):
        member = people.desk(studio)
        made_token(member, "read:offers", "read:due")
        member.role = "technician"
        member.save()
        page = text(as_member(member).get(reverse("studio:tokens")))
        assert "not read:offers: the role does not allow it any more" in page

    def test_there_is_a_most(self, studio):
        member = people.owner(studio)
        for _ in range(MOST_LIVE):
            made_token(member, "read:due")
        answer = as_member(member).post(reverse("studio:tokens"), NEW)
        assert (answer.status_code, ApiToken.objects.count()) == (422, MOST_LIVE)
        assert "end one that is no longer needed" in text(answer)

    def test_as_many_queries_for_thirty_tokens_as_for_one(self, studio, django_assert_num_queries):
        member = people.owner(studio)
        browser, url = as_member(member), reverse("studio:tokens")
        made_token(member)
        browser.get(url)
        with CaptureQueriesContext(connection) as few:
            browser.get(url)
        for _ in range(29):
            made_token(people.technician(studio))
        with django_assert_num_queries(len(few)):
            browser.get(url)


class TestReference:
    def test_it_holds_every_operation_parameter_and_problem_of_the_document(self, studio):
        document = Client().get("/api/v1/openapi.json").json()
        answer = as_member(people.technician(studio)).get(reverse("studio:api_reference"))
        page, words = answer.content.decode(), text(answer)
        for path, methods in document["paths"].items():
            for method, told in methods.items():
                assert f"{method.upper()} {path}" in words, path
                assert f'id="{told["operationId"]}"' in page
                assert told["x-scope"] in page
                for parameter in told["parameters"]:
                    assert f"<code>{parameter['name']}</code>" in page
        for name in document["components"]["schemas"]:
            assert f"<summary>{name}</summary>" in page
        for kind in EVENT_KINDS:
            assert f"<code>{kind}</code>" in page
        for code in KINDS:
            assert f'id="problem-{code}"' in page

    def test_its_links_within_the_page_lead_somewhere(self, studio):
        page = as_member(people.desk(studio)).get(reverse("studio:api_reference")).content.decode()
        ids = re.findall(r' id="([^"]+)"', page)
        assert len(ids) == len(set(ids))
        assert set(re.findall(r'href="#([^"]+)"', page)) <= set(ids)

    def test_it_needs_no_script_and_nothing_from_elsewhere(self, studio):
        page = as_member(people.owner(studio)).get(reverse("studio:api_reference")).content.decode()
        main = page.split("<main", 1)[1]
        assert "<script" not in main
        assert not re.search(r'(?:src|href)="https?://', main)
