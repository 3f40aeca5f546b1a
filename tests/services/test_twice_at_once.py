"""The whole cycle twice at once, from two nodes' worth of workers: what comes of it is what one cycle alone leaves."""

from __future__ import annotations

import secrets
from collections import Counter

import pytest
import redis

from lifecycle.tasks import STEPS
from tests.services import servers
from tests.services.conftest import drop
from tests.services.installation import Installation, environment, wait_for

pytestmark = pytest.mark.services
CUSTOMERS, WAVES, TIMES = 24, 3, 3

LEFT = {
    "care due": "SELECT v.plate, d.task, d.earliest, d.ideal, d.latest, d.state FROM lifecycle_caredue d "
    "JOIN lifecycle_vehicle v ON v.id = d.vehicle_id",
    "visits": "SELECT v.plate, p.tasks::text, p.earliest, p.latest, p.state FROM lifecycle_visitproposal p "
    "JOIN lifecycle_vehicle v ON v.id = p.vehicle_id WHERE p.state = 'proposed'",
    "reminders": "SELECT v.plate, d.task, r.step, r.state, r.reason_code FROM lifecycle_reminder r "
    "JOIN lifecycle_vehicle v ON v.id = r.vehicle_id JOIN lifecycle_caredue d ON d.id = r.due_id",
    "messages": "SELECT to_email, subject, state, attempts, resends FROM lifecycle_message",
    "advice": "SELECT v.plate, o.task FROM lifecycle_offer o JOIN lifecycle_vehicle v ON v.id = o.vehicle_id",
    "forecasts": "SELECT v.plate, a.as_of FROM lifecycle_assessment a JOIN lifecycle_vehicle v ON v.id = a.vehicle_id "
    "WHERE a.latest",
}
# In one pair of hands each of these stands once, whatever its dates.
ONCE = {
    "live care due": "SELECT vehicle_id, task FROM lifecycle_caredue WHERE state IN ('open', 'asked', 'booked')",
    "work in proposed visits": "SELECT vehicle_id, jsonb_array_elements_text(tasks) FROM lifecycle_visitproposal "
    "WHERE state = 'proposed'",
    "reminder": "SELECT due_id, step FROM lifecycle_reminder",
    "message of a reminder": "SELECT reminder_id FROM lifecycle_message WHERE reminder_id IS NOT NULL",
    "written message in the journal": "SELECT subject_id FROM lifecycle_journalentry WHERE verb = 'message written'",
    "accepted message in the journal": "SELECT subject_id FROM lifecycle_journalentry WHERE verb = 'message accepted'",
    "current forecast": "SELECT vehicle_id FROM lifecycle_assessment WHERE latest",
}


@pytest.fixture
def alone(own_servers, migrated, tmp_path):
    """A second installation, which does one cycle after the other in one process."""
    name = f"sheenward_{secrets.token_hex(6)}"
    var = tmp_path / "alone"
    var.mkdir()
    url = servers.create_database(own_servers.postgres, name, template=migrated)
    yield Installation(environment(var, DATABASE_URL=url), var)
    drop(own_servers, name)


def rows(installation: Installation, query: str) -> Counter[tuple[object, ...]]:
    return Counter(installation.rows(query))


def test_the_cycle_twice_at_once_leaves_what_one_cycle_alone_leaves(installation, alone):
    for one in (installation, alone):
        one.python("-m", "tests.services.scene", str(CUSTOMERS))
    with (
        installation.worker(concurrency=2),
        installation.worker(concurrency=2),
        redis.Redis.from_url(installation.env["REDIS_URL"]) as broker,
    ):
        # The first wave runs into empty tables, the last into full ones; then each step's next alarm, in order, for
        # what was written after its last one.
        for alarms in (*[[step for step in STEPS for _ in range(TIMES)]] * WAVES, *([step] for step in STEPS)):
            installation.send(*alarms)
            wait_for(lambda: broker.llen("celery") == 0 and broker.hlen("unacked") == 0, "the alarms to be used up")
        assert [name for name, (_, ok, _) in installation.beats().items() if not ok] == []
    for _ in range(WAVES):
        alone.python("manage.py", "cycle")
    assert len(alone.mails()) == CUSTOMERS
    assert Counter(mail["To"] for mail in installation.mails()) == Counter(mail["To"] for mail in alone.mails())
    assert len({mail["Message-ID"] for mail in installation.mails()}) == CUSTOMERS
    for what, query in ONCE.items():
        found = rows(installation, query)
        assert found, f"no {what}"
        assert set(found.values()) == {1}, f"{what} doubled: {found.most_common(3)}"
    for what, query in LEFT.items():
        at_once, one_by_one = rows(installation, query), rows(alone, query)
        assert at_once == one_by_one, f"{what}: {(at_once - one_by_one) + (one_by_one - at_once)}"
