"""`python -m tests.services.at_a_later_time MINUTES …`: what the health page and a technician's page say so much later.

The clock is moved, not the limits: they are the service's own.
"""

from __future__ import annotations

import json
import sys
from datetime import UTC, datetime, timedelta

import django


def look(minutes: list[float]) -> list[dict[str, object]]:
    """At each time: status and silent steps of the health page, and the banner of the studio's page."""
    import time_machine
    from django.test import Client
    from django.urls import reverse

    from lifecycle.models import Studio
    from tests.factories import MemberFactory
    from tests.portal.doors import as_member

    member = as_member(MemberFactory(studio=Studio.objects.get(), role="technician"))
    now, seen = datetime.now(UTC), []
    for later in minutes:
        with time_machine.travel(now + timedelta(minutes=later), tick=True):
            health = Client().get("/healthz")
            page = member.get(reverse("studio:work")).content.decode()
        seen.append(
            {
                "status": health.status_code,
                "silent": health.json()["silent_steps"],
                "banner": "No reminders are going out." in page,
                "how to mend it": "Celery worker" in page,
            }
        )
    return seen


if __name__ == "__main__":
    django.setup()
    print(json.dumps(look([float(word) for word in sys.argv[1:]])))
