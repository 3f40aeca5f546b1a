"""Reports sealed at the same time on PostgreSQL: numbers without a gap, one chain, each inspection once."""

from __future__ import annotations

import pytest

pytestmark = pytest.mark.services
COUNT = 24


def test_sealed_at_once_the_chain_stays_one(installation):
    said = installation.python("-m", "tests.services.sealing_scene", str(COUNT))
    lines = said.split("\n")
    sealed = sorted(int(line.split()[1]) for line in lines if line.startswith("sealed "))
    assert sealed == list(range(1, COUNT + 2))
    refused = f"This inspection is sealed in report {COUNT + 1}; write an addendum to that report instead."
    assert lines.count(refused) == 3
    # Every report follows exactly one other, and the command that checks the chain agrees.
    follows = "SELECT count(*), count(DISTINCT previous), count(DISTINCT digest) FROM lifecycle_report"
    assert installation.rows(follows) == [(COUNT + 1,) * 3]
    assert f"{COUNT + 1} sealed, 0 differences" in installation.python("manage.py", "verify_reports")
