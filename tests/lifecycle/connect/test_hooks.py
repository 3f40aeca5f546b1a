"""Webhooks: told once, of what was asked for, in ids alone; tried again for about three days, then switched off."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from lifecycle import journal
from lifecycle.care.record import record_event
from lifecycle.care.register import register_vehicle
from lifecycle.connect import hook_events, hook_sending, hooks
from lifecycle.connect import hook_wire as wire
from lifecycle.connect.tidy import tidy
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Hook, HookCursor, HookDelivery, JournalEntry
from tests.factories import NOW, TODAY, CustomerFactory, SiteFactory, StudioFactory
from tests.lifecycle.connect.receiver import receiver

pytestmark = pytest.mark.django_db
BY = {"actor": "member:1", "at": NOW}


@pytest.fixture
def server(settings):
    settings.HOOKS_LOCAL = True
    with receiver() as one:
        yield one


@pytest.fixture
def studio():
    return StudioFactory()


def add(studio, server, *kinds: str) -> Hook:
    hook, _secret = hooks.add_hook(studio=studio, url=server.url, kinds=kinds or ["vehicle.changed"], **BY)
    return hook


def happens(studio, verb: str = "vehicle changed", vehicle_id: int = 7) -> JournalEntry:
    return journal.record(
        studio=studio, actor="member:1", at=NOW, verb=verb, subject="vehicle", subject_id=vehicle_id,
        vehicle_id=vehicle_id, secret_text="not to be told",
    )  # fmt: skip


class TestTelling:
    def test_what_a_verb_does_is_told_with_ids_and_a_signature_that_holds(self, studio, server):
        hook, secret = hooks.add_hook(studio=studio, url=server.url, kinds=["vehicle.changed"], **BY)
        customer = CustomerFactory(studio=studio, name="Tess Alder")
        vehicle = register_vehicle(
            studio=studio, site_id=SiteFactory(studio=studio).pk, keeper_id=customer.pk, plate="SKA 104",
            description="grey estate", body="estate", size="M", colour="mid", first_seen=TODAY, **BY,
        )  # fmt: skip
        record_event(studio=studio, vehicle_id=vehicle.pk, kind="wash", on=TODAY, **BY)
        assert hook_sending.deliver(at=NOW)["delivered"] == 1
        ((headers, body),) = server.got
        told = json.loads(body)
        entry = JournalEntry.objects.get(verb="vehicle registered")
        assert told == {
            "type": "vehicle.changed", "timestamp": "2026-03-02T09:00:00Z",
            "data": {"id": vehicle.pk, "vehicle_id": vehicle.pk, "journal_id": entry.pk,
                     "href": f"/api/v1/vehicles/{vehicle.pk}"},
        }  # fmt: skip
        stamp = int(headers["webhook-timestamp"])
        assert abs(stamp - NOW.timestamp()) < 60
        good = wire.signature(secret, message_id=headers["webhook-id"], stamp=stamp, body=body)
        assert headers["webhook-signature"] == good
        assert (HookDelivery.objects.get().state, Hook.objects.get().failing_since) == ("delivered", None)
        assert hook.kinds == ["vehicle.changed"]

    def test_every_kind_names_verbs_that_the_code_writes(self):
        """A verb that was renamed would silently be told to nobody."""
        from pathlib import Path

        import lifecycle

        texts = "".join(path.read_text() for path in Path(lifecycle.__path__[0]).rglob("*.py")
                        if path.name != "hook_events.py")  # fmt: skip
        for verb in hook_events.KIND_OF:
            built = 'verb=f"offer {OfferStepKind(kind).label}"' in texts and verb.startswith("offer ")
            assert f'"{verb}"' in texts or built, verb

    def test_once_however_often_it_runs_and_only_what_was_asked_for(self, studio, server):
        add(studio, server, "vehicle.changed", "report.sealed")
        happens(studio)
        happens(studio, "layer recorded")
        happens(studio, "report sealed")
        happens(studio, "bay added")
        happens(StudioFactory())
        for minute in range(4):
            hook_sending.deliver(at=NOW + timedelta(minutes=minute))
        assert [json.loads(body)["type"] for body in server.bodies] == ["vehicle.changed", "report.sealed"]
        assert "not to be told" not in "".join(server.bodies)

    def test_what_happened_before_it_was_added_is_not_told(self, studio, server):
        happens(studio)
        add(studio, server)
        assert hook_sending.deliver(at=NOW)["new"] == 0

    def test_an_entry_that_shows_up_late_below_the_newest_is_told(self, studio, server):
        """On PostgreSQL an entry gets its number before its transaction is committed."""
        add(studio, server)
        late, newest = happens(studio), happens(studio)
        number = late.pk
        # As if the first had not been committed yet: the step has copied and passed the newest alone.
        hook_events.gather(at=NOW)
        HookDelivery.objects.filter(entry_id=number).delete()
        assert HookDelivery.objects.get().entry_id == newest.pk
        assert hook_events.gather(at=NOW + timedelta(minutes=10)) == 1
        assert HookDelivery.objects.filter(entry_id=number).exists()

    def test_the_cursor_follows_so_that_old_entries_are_not_read_for_ever(self, studio, server):
        add(studio, server)
        first = happens(studio)
        for minutes in (0, 21, 42):
            hook_events.gather(at=NOW + timedelta(minutes=minutes))
        assert HookCursor.objects.get().low_id == JournalEntry.objects.order_by("id").last().pk >= first.pk

    def test_two_addresses_are_told_apart_and_a_dead_one_does_not_hold_up_the_other(self, studio, server):
        with receiver() as dead:
            dead_url = dead.url
        hooks.add_hook(studio=studio, url=dead_url, kinds=["vehicle.changed"], **BY)
        add(studio, server)
        for number in range(3):
            happens(studio, vehicle_id=number + 1)
        counts = hook_sending.deliver(at=NOW)
        assert (counts["delivered"], counts["retry"]) == (3, 1)
        assert len(server.got) == 3
        assert HookDelivery.objects.filter(state="ready").count() == 2, "they rest with their address"


class TestTryingAgain:
    def test_growing_waits_for_about_three_days_then_it_is_switched_off_and_said(self, studio, server):
        add(studio, server)
        happens(studio)
        server.status = 503
        at, tries = NOW, 0
        while (row := _only()) is None or row.state != "failed":
            hook_sending.deliver(at=at)
            tries += 1
            row = _only()
            if row.state == "retry":
                assert row.error == "answered 503"
                at = row.next_try_at
        assert tries == len(server.got) == len(hook_sending.WAITS) + 1
        assert timedelta(days=2, hours=12) < at - NOW < timedelta(days=3, hours=12)
        assert len({headers["webhook-id"] for headers, _ in server.got}) == 1, "the same id at every try"
        hook = Hook.objects.get()
        assert hook.off_at is not None
        assert "Nothing was taken there since 2026-03-02 09:00" in hook.off_why
        assert JournalEntry.objects.filter(verb="webhook switched off", actor="cycle").exists()
        assert hooks.switched_off(studio) == 1
        happens(studio)
        assert hook_sending.deliver(at=at + timedelta(hours=1))["new"] == 0

    def test_it_is_not_tried_before_its_time(self, studio, server):
        add(studio, server)
        happens(studio)
        server.status = 500
        hook_sending.deliver(at=NOW)
        hook_sending.deliver(at=NOW + timedelta(seconds=30))
        assert len(server.got) == 1
        server.status = 200
        hook_sending.deliver(at=NOW + timedelta(minutes=2))
        assert len(server.got) == 2
        assert (_only().state, _only().attempts, Hook.objects.get().failing_since) == ("delivered", 2, None)

    def test_gone_for_good_switches_off_at_once_and_what_waits_has_failed(self, studio, server):
        add(studio, server)
        happens(studio)
        happens(studio)
        server.status = 410
        counts = hook_sending.deliver(at=NOW)
        assert counts["off"] == 1
        assert set(HookDelivery.objects.values_list("state", flat=True)) == {"failed"}
        assert "410" in Hook.objects.get().off_why

    def test_a_sender_that_died_loses_nothing_but_time(self, studio, server):
        add(studio, server)
        happens(studio)
        hook_events.gather(at=NOW)
        token, rows = hook_sending._claim(NOW, 10)
        assert len(rows) == 1
        assert hook_sending.deliver(at=NOW + timedelta(minutes=9))["delivered"] == 0
        assert hook_sending.deliver(at=NOW + hook_sending.LEASE)["delivered"] == 1
        assert not hook_sending._settle(rows[0], token, state="failed"), "the late one writes nothing"
        assert _only().state == "delivered"

    def test_a_private_address_is_refused_at_every_try(self, studio, server, settings):
        add(studio, server)
        happens(studio)
        settings.HOOKS_LOCAL = False
        hook_sending.deliver(at=NOW)
        assert server.got == []
        assert _only().error.startswith("refused: ")


def _only() -> HookDelivery | None:
    return HookDelivery.objects.first()


class TestVerbs:
    def test_a_new_secret_holds_beside_the_old_one_for_a_day(self, studio, server):
        hook, old = hooks.add_hook(studio=studio, url=server.url, kinds=["vehicle.changed"], **BY)
        new = hooks.rotate(studio=studio, hook_id=hook.pk, **BY)
        hook.refresh_from_db()
        assert old != new
        assert hooks.secrets_of(hook, at=NOW + timedelta(hours=23)) == (new, old)
        assert hooks.secrets_of(hook, at=NOW + timedelta(hours=24)) == (new,)
        assert old not in str(Hook.objects.values()) + str(JournalEntry.objects.values())

    def test_a_message_is_sent_again_under_its_id(self, studio, server):
        hook = add(studio, server)
        happens(studio)
        hook_sending.deliver(at=NOW)
        again = {"studio": studio, "hook_id": hook.pk, "delivery_id": _only().pk, **BY}
        hooks.send_again(**again)
        with pytest.raises(DomainError, match="waits to be sent already"):
            hooks.send_again(**again)
        hook_sending.deliver(at=NOW)
        first, second = (headers["webhook-id"] for headers, _ in server.got)
        assert first == second

    def test_switched_on_again_it_is_told_of_what_comes(self, studio, server):
        hook = add(studio, server)
        happens(studio)
        server.status = 410
        hook_sending.deliver(at=NOW)
        happens(studio, vehicle_id=8)
        server.status = 200
        with pytest.raises(DomainError, match="switch it on first"):
            hooks.send_again(studio=studio, hook_id=hook.pk, delivery_id=_only().pk, **BY)
        hooks.switch_on(studio=studio, hook_id=hook.pk, **BY)
        happens(studio, vehicle_id=9)
        hook_sending.deliver(at=NOW)
        assert [json.loads(body)["data"]["id"] for body in server.bodies] == [7, 9]
        with pytest.raises(DomainError, match="on already"):
            hooks.switch_on(studio=studio, hook_id=hook.pk, **BY)

    def test_ended_it_is_told_of_nothing_and_is_not_there(self, studio, server):
        hook = add(studio, server)
        happens(studio)
        hook_events.gather(at=NOW)
        hooks.end_hook(studio=studio, hook_id=hook.pk, **BY)
        hook_sending.deliver(at=NOW)
        assert server.got == []
        with pytest.raises(NotFoundHere):
            hooks.rotate(studio=studio, hook_id=hook.pk, **BY)
        add(studio, server)

    def test_wrong_words_and_other_studios(self, studio, server):
        hook = add(studio, server)
        for kinds in ([], ["vehicle.exploded"]):
            with pytest.raises(DomainError) as caught:
                hooks.add_hook(studio=studio, url="https://example.org/", kinds=kinds, **BY)
            assert caught.value.field == "kinds"
        with pytest.raises(DomainError, match="on the list already"):
            add(studio, server)
        other = StudioFactory()
        for verb in (hooks.rotate, hooks.switch_on, hooks.end_hook):
            with pytest.raises(NotFoundHere):
                verb(studio=other, hook_id=hook.pk, **BY)
        with pytest.raises(NotFoundHere):
            hooks.hook(other, hook.pk)

    def test_settled_messages_go_after_a_month(self, studio, server):
        add(studio, server)
        happens(studio)
        hook_sending.deliver(at=NOW)
        assert tidy(at=NOW + timedelta(days=29))["messages"] == 0
        assert tidy(at=NOW + timedelta(days=31))["messages"] == 1
