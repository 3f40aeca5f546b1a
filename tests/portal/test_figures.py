"""The page of the parameter table: the owner sees every figure, sets one, drops one; others stay out."""

from __future__ import annotations

import re

import pytest
from django.urls import reverse

from lifecycle.care.figures import group_of, override_figure
from lifecycle.models import FigureOverride, JournalEntry
from lifecycle.wear.figures import all_figures
from tests import people
from tests.factories import NOW, ProductFactory, StudioFactory
from tests.portal.doors import as_member
from tests.portal.studio_world import text

pytestmark = pytest.mark.django_db

KEY = "layer.ceramic_mid.months"
GIVEN = {"value": "", "low": "18", "high": "26", "mark": "learned here", "source": "twelve inspections of our own"}


def page(key: str) -> str:
    return reverse("studio:figure", args=[key])


class TestTable:
    def test_every_figure_stands_there_with_range_mark_and_source(self, owner):
        links = re.findall(
            r'href="/studio/figures/of/([\w.]+)/"', owner.get(reverse("studio:figures")).content.decode()
        )
        assert {"dose", "clog", "layer.ceramic_mid"} <= set(links)
        pages = {name: text(owner.get(reverse("studio:figure_group", args=[name]))) for name in links}
        dose = pages["dose"].replace("&amp;", "&")
        # Fischer & Ketola 2004: p 0.64 +- 0.20.
        assert re.search(r"dose\.uv_power Fischer & Ketola 2004[^–]* 0\.64 0\.44–0\.84 published fixed", dose)
        own = r"clog\.rate half clogged after six months[^–]* 0\.1155 0\.08–0\.17 1/month judgement"
        assert re.search(own, pages["clog"])
        for key in all_figures():
            assert f" {key} " in pages[group_of(key)], key

    def test_the_studios_own_stands_beside_the_tables_and_comes_first(self, owner, studio):
        assert "The studio has no figures of its own" in text(owner.get(reverse("studio:figures")))
        override_figure(
            studio=studio, key="clog.rate", value=0.2, low=0.1, high=0.3, mark="judgement", source="us",
            actor="member:1", at=NOW,
        )  # fmt: skip
        said = text(owner.get(reverse("studio:figures")))
        assert "0.1155 0.08–0.17 1/month judgement 0.2 (0.1–0.3) judgement" in said
        assert "1 figure of the studio’s own" in said

    def test_search_and_own_only(self, owner):
        assert "1 figure for “half clogged”" in text(owner.get(reverse("studio:figures"), {"q": "half clogged"}))
        assert "No figure matches" in text(owner.get(reverse("studio:figures"), {"q": "clogged", "own": "1"}))
        assert owner.get(reverse("studio:figure_group", args=["no.such"])).status_code == 404

    def test_a_long_answer_is_cut_and_says_so(self, owner):
        said = text(owner.get(reverse("studio:figures"), {"q": "layer"}))
        assert "The first 100 of" in said
        assert said.count("from memory") + said.count("judgement") < 150

    def test_queries_do_not_grow_with_own_figures(self, owner, studio, django_assert_max_num_queries):
        for key in ("clog.rate", "etch.ea", "etch.sd", "jump.flood"):
            shipped = {"clog.rate": 0.12, "etch.ea": 70, "etch.sd": 0.8, "jump.flood": 0.05}[key]
            override_figure(
                studio=studio, key=key, value=shipped, low=shipped, high=shipped, mark="judgement", source="us",
                actor="member:1", at=NOW,
            )  # fmt: skip
        with django_assert_max_num_queries(12):
            owner.get(reverse("studio:figures"))


class TestFigure:
    def test_the_owner_sets_a_figure_and_the_middle_is_worked_out(self, owner, studio, car):
        answer = owner.post(page(KEY), GIVEN, follow=True)
        assert "is set" in text(answer)
        own = FigureOverride.objects.get(studio=studio)
        assert (own.low, own.high, own.mark, own.source) == (18, 26, "learned here", "twelve inspections of our own")
        assert own.value == pytest.approx((18 * 26) ** 0.5)
        assert JournalEntry.objects.get(verb="figure set").actor.startswith("member:")
        car[0].refresh_from_db()
        assert car[0].assess_again

    def test_for_one_product(self, owner, studio):
        product = ProductFactory(studio=studio, kind="ceramic_mid", code="C36")
        ProductFactory(studio=studio, kind="wax", code="W2")
        shown = text(owner.get(page(KEY)))
        assert "C36" in shown
        assert "W2" not in shown
        owner.post(page(KEY), GIVEN | {"product_id": str(product.pk)})
        assert FigureOverride.objects.get().product == product
        foreign = ProductFactory(studio=StudioFactory(), kind="ceramic_mid")
        assert "valid choice" in text(owner.post(page(KEY), GIVEN | {"product_id": str(foreign.pk)}))
        assert FigureOverride.objects.count() == 1

    @pytest.mark.parametrize(
        ("key", "fields", "says"),
        [
            (KEY, {"low": "30"}, "correct the range"),
            (KEY, {"low": "55", "high": "75"}, "mild column ends before"),
            (KEY, {"mark": "computed"}, "valid choice"),
            (KEY, {"source": " "}, "required"),
            ("clog.rate", {"value": "11.55", "low": "8", "high": "17"}, "check the unit"),
            ("clog.rate", {"value": ""}, "required"),
            ("dose.uv_power", {"value": "0.5", "low": "0.4", "high": "0.6"}, "reference duty"),
        ],
    )
    def test_a_refusal_keeps_what_was_typed_and_says_why(self, owner, key, fields, says):
        answer = owner.post(page(key), GIVEN | fields)
        assert answer.status_code == 200
        assert says in text(answer)
        assert not FigureOverride.objects.exists()

    def test_what_is_fixed_has_no_form(self, owner):
        shown = owner.get(page("dose.uv_power")).content.decode()
        assert "cannot be changed for one studio" in shown
        assert 'name="low"' not in shown

    def test_dropping_brings_the_tables_figure_back(self, owner):
        owner.post(page(KEY), GIVEN)
        own = FigureOverride.objects.get()
        assert (
            "the table&#x27;s figure holds again"
            in owner.post(page(KEY), {"drop": str(own.pk)}, follow=True).content.decode()
        )
        own.refresh_from_db()
        assert own.superseded is not None
        assert "learned here" in text(owner.get(page(KEY))), "it stays as history"

    def test_what_is_not_here_answers_404(self, owner):
        foreign = override_figure(
            studio=StudioFactory(), key=KEY, low=18, high=26, mark="judgement", source="us", actor="member:1", at=NOW
        )
        assert owner.get(page("no.such")).status_code == 404
        for number in (str(foreign.pk), "0", "x", "9" * 40):
            assert owner.post(page(KEY), {"drop": number}).status_code == 404
        foreign.refresh_from_db()
        assert foreign.superseded is None

    def test_only_the_owner_gets_in_and_finds_the_way(self, studio, car, owner):
        vehicle = reverse("studio:vehicle", args=[car[0].pk])
        assert reverse("studio:figures") in owner.get(vehicle).content.decode()
        for who in (people.technician, people.desk):
            browser = as_member(who(studio))
            assert reverse("studio:figures") not in browser.get(vehicle).content.decode()
            assert browser.get(page(KEY)).status_code == 403
            assert browser.post(page(KEY), GIVEN).status_code == 403
