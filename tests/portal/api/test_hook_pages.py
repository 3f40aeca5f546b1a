"""The owner's pages about webhooks: what was typed is kept, the secret is shown once, others stay out."""

from __future__ import annotations

import re

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from lifecycle.connect.hooks import secret
from lifecycle.models import Hook, HookDelivery
from tests import people
from tests.factories import NOW, StudioFactory
from tests.portal.doors import as_member
from tests.portal.studio_world import text

pytestmark = pytest.mark.django_db
NEW = {"url": "https://hooks.example.org/told", "kinds": ["layer.recorded", "report.sealed"]}


@pytest.fixture
def studio():
    return StudioFactory(zone="UTC")


@pytest.fixture
def owner(studio):
    return as_member(people.owner(studio))


@pytest.fixture
def hook(studio):
    return Hook.objects.create(studio=studio, url=NEW["url"], kinds=["layer.recorded"], made_at=NOW)


def message(hook: Hook, number: int = 1, **fields) -> HookDelivery:
    told = {"state": "failed", "error": "answered 500", "attempts": 10} | fields
    return HookDelivery.objects.create(
        studio=hook.studio, hook=hook, entry_id=number, kind="layer.recorded", payload="{}", made_at=NOW,
        state_at=NOW, **told,
    )  # fmt: skip


def test_added_from_the_studio_page_with_a_secret_that_is_shown_once(owner):
    url = reverse("studio:hooks")
    assert f'href="{url}"' in owner.get(reverse("studio:house")).content.decode()
    made = owner.post(url, NEW)
    shown = re.search(r'readonly[^>]*value="(whsec_[\w+/]{43}=)"', made.content.decode())[1]
    hook = Hook.objects.get()
    assert shown == secret(hook, 1)
    assert "no-store" in made["Cache-Control"]
    again = owner.get(url)
    assert shown not in again.content.decode()
    assert NEW["url"] in text(again)
    assert hook.kinds == NEW["kinds"]


@pytest.mark.parametrize(
    ("change", "says"),
    [({"url": "http://hooks.example.org/"}, "begins with https://"), ({"url": "https://10.0.0.1/"}, "private network"),
     ({"kinds": []}, "Tick at least one"), ({"kinds": ["x"]}, "Select a valid choice"), ({"url": ""}, "required")],
)  # fmt: skip
def test_a_slip_keeps_what_was_typed(owner, change, says):
    answer = owner.post(reverse("studio:hooks"), NEW | change)
    assert answer.status_code == 422
    assert says in text(answer)
    page = answer.content.decode()
    assert f'value="{(NEW | change)["url"]}"' in page or not (NEW | change)["url"]
    assert page.count(" checked") == len([one for one in (NEW | change)["kinds"] if one != "x"])
    assert Hook.objects.count() == 0


def test_other_kinds_a_new_secret_and_the_end(owner, hook):
    url = reverse("studio:hook", args=[hook.pk])
    assert "From now on" in text(owner.post(url, {"do": "kinds", "kinds": ["report.sealed"]}, follow=True))
    hook.refresh_from_db()
    assert hook.kinds == ["report.sealed"]
    refused = owner.post(url, {"do": "kinds"})
    assert (refused.status_code, "Tick at least one" in text(refused)) == (422, True)
    rotated = owner.post(url, {"do": "rotate"}).content.decode()
    assert secret(hook, 2) in rotated
    assert secret(hook, 2) not in owner.get(url).content.decode()
    assert "Nothing was asked for" in text(owner.post(url, {"do": "dance"}, follow=True))
    assert "Nothing more is sent there" in text(owner.post(url, {"do": "end"}, follow=True))
    assert owner.get(url).status_code == 404


def test_a_switched_off_address_is_said_on_the_studio_page_and_switched_on_again(owner, hook):
    told = message(hook)
    Hook.objects.update(off_at=NOW, off_why="Nothing was taken there.")
    assert "1 switched off, look there" in text(owner.get(reverse("studio:house")))
    url = reverse("studio:hook", args=[hook.pk])
    page = text(owner.get(url))
    assert "Switched off on 2 Mar 2026" in page
    assert "answered 500" in page
    again = reverse("studio:resend_hook", args=[hook.pk, told.pk])
    assert again not in owner.get(url).content.decode()
    assert "switch it on first" in text(owner.post(again, follow=True))
    assert "It is on again" in text(owner.post(url, {"do": "on"}, follow=True))
    assert again in owner.get(url).content.decode()
    assert "ready again" in text(owner.post(again, follow=True))
    told.refresh_from_db()
    assert (told.state, told.attempts) == ("ready", 0)
    assert "switched off" not in text(owner.get(reverse("studio:house")))


def test_a_message_of_another_address_or_studio_is_not_there(owner, studio, hook):
    other = Hook.objects.create(studio=studio, url="https://example.org/2", kinds=[], made_at=NOW)
    foreign = Hook.objects.create(studio=StudioFactory(), url="https://example.org/3", kinds=[], made_at=NOW)
    for one, told in ((hook, message(other)), (hook, message(foreign)), (foreign, message(foreign, 2))):
        assert owner.post(reverse("studio:resend_hook", args=[one.pk, told.pk])).status_code == 404
    assert set(HookDelivery.objects.values_list("state", flat=True)) == {"failed"}


def test_as_many_queries_for_many_as_for_one(owner, studio, hook, django_assert_num_queries):
    message(hook)
    counts = {}
    urls = (reverse("studio:hooks"), reverse("studio:hook", args=[hook.pk]))
    for url in urls:
        owner.get(url)
        with CaptureQueriesContext(connection) as few:
            owner.get(url)
        counts[url] = len(few)
    for number in range(2, 31):
        message(hook, number)
        Hook.objects.create(studio=studio, url=f"https://example.org/{number}", kinds=["due.opened"], made_at=NOW)
    for url in urls:
        with django_assert_num_queries(counts[url]):
            owner.get(url)
