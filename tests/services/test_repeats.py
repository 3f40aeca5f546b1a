"""Programs at the same moment on PostgreSQL: a deed once, a limit that holds, each message sent once."""

from __future__ import annotations

import json

import pytest

pytestmark = pytest.mark.services
COUNT = 24


def test_asked_at_once_it_is_done_once(installation):
    said = installation.python("-m", "tests.services.repeat_scene", str(COUNT))
    told = json.loads(next(line for line in said.splitlines() if line.startswith("told ")).removeprefix("told "))
    assert set(told["statuses"]) <= {"201", "409"}, told
    assert (told["events"], told["answers"]) == (1, 1)
    assert told["allowed"] == COUNT // 2
    assert (told["told"], told["ids"], told["rows"]) == (COUNT, COUNT, COUNT)
