"""Backup and restore of a PostgreSQL installation with PostgreSQL's own tools, through the scripts' program."""

from __future__ import annotations

import pytest

from lifecycle.care.erasure import NEVER_CHANGED
from tests.services import servers

pytestmark = pytest.mark.services


def test_a_dump_brings_everything_back(installation, tmp_path):
    if not (servers.find("pg_dump") and servers.find("pg_restore")):
        pytest.skip("pg_dump absent; install: apt-get install postgresql-client")
    installation.python("-m", "tests.services.scene", "3")
    vehicles = "SELECT id, plate FROM lifecycle_vehicle ORDER BY id"
    before = installation.rows(vehicles)
    assert len(before) == 3
    copy = installation.python("deploy/archive.py", "backup", str(tmp_path / "backups")).strip()

    installation.python("-m", "tests.services.scene", "2")
    assert len(installation.rows(vehicles)) == 5
    said = installation.python("deploy/archive.py", "restore", copy, "--yes")
    assert f"Restored {copy}" in said
    assert installation.rows(vehicles) == before
    # The restored tables are whole: they take new rows, and the guards of the journal are back.
    installation.python("-m", "tests.services.scene", "1")
    guards = installation.rows("SELECT count(*) FROM pg_trigger WHERE tgname LIKE '%append_only'")
    assert guards == [(len(NEVER_CHANGED),)]
