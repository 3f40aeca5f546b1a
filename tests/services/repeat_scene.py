"""`python -m tests.services.repeat_scene N`: the same deed asked for N times at once through the API, then a token's
limit reached by N at once, and webhooks copied and sent by four senders at once; prints what came of each."""

from __future__ import annotations

import json
import sys
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import django


def ask_all(count: int) -> dict[str, Any]:
    """What each of the three came to."""
    from django.conf import settings
    from django.db import connections
    from django.test import Client
    from django.utils import timezone

    from lifecycle.connect import hook_sending, hooks, tokens
    from lifecycle.models import CareEvent, HookDelivery
    from tests import people
    from tests.factories import SiteFactory, StudioFactory, VehicleFactory
    from tests.lifecycle.connect.receiver import receiver
    from tests.portal.api.world import made_token

    studio = StudioFactory(zone="UTC")
    member, vehicle = people.owner(studio), VehicleFactory(site=SiteFactory(studio=studio))
    body = {"kind": "wash", "on": studio.day(timezone.now()).isoformat()}
    headers = {"Authorization": f"Bearer {made_token(member).secret}", "Idempotency-Key": "one"}

    def beside(work: Any) -> list[Any]:
        def once(_number: int) -> Any:
            try:
                return work()
            finally:
                connections.close_all()

        with ThreadPoolExecutor(8) as pool:
            return list(pool.map(once, range(count)))

    def record() -> tuple[int, str]:
        answer = Client(headers=headers).post(
            f"/api/v1/vehicles/{vehicle.pk}/events", body, content_type="application/json"
        )
        return answer.status_code, answer.content.decode() if answer.status_code == 201 else ""

    said = beside(record)
    bearer = tokens.bearer_of(made_token(member).secret, at=timezone.now())
    at = timezone.now()
    allowed = beside(lambda: tokens.count(bearer, at=at, most=count // 2).allowed)
    settings.HOOKS_LOCAL = True
    with receiver() as server:
        hooks.add_hook(studio=studio, url=server.url, kinds=["vehicle.changed"], actor="member:1", at=at)
        for number in range(count):
            _happens(studio, number, at)
        beside(lambda: hook_sending.deliver(at=at))
        got = [headers["webhook-id"] for headers, _body in server.got]
    return {
        "statuses": Counter(status for status, _ in said), "answers": len({text for _, text in said if text}),
        "events": CareEvent.objects.count(), "allowed": sum(allowed), "told": len(got), "ids": len(set(got)),
        "rows": HookDelivery.objects.filter(state="delivered").count(),
    }  # fmt: skip


def _happens(studio: Any, number: int, at: Any) -> None:
    from lifecycle import journal

    journal.record(
        studio=studio, actor="member:1", at=at, verb="vehicle changed", subject="vehicle", subject_id=number + 1
    )


if __name__ == "__main__":
    django.setup()
    print("told " + json.dumps(ask_all(int(sys.argv[1]))))
