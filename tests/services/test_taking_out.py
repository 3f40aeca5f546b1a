"""The demo studio, with a whole cycle behind it, taken out of one installation and brought back into a fresh one by the
commands as an operator types them: on PostgreSQL, and from PostgreSQL to SQLite."""

from __future__ import annotations

import json
import secrets
import zipfile

import pytest

from tests.services import servers
from tests.services.conftest import drop
from tests.services.installation import Installation, environment

pytestmark = pytest.mark.services
JOURNAL = "tables/journal_entry.jsonl"
MORNING = "2026-03-02T10:00:00+00:00"


@pytest.fixture
def second(own_servers, migrated, tmp_path):
    """Another installation on PostgreSQL, as empty."""
    name, var = f"sheenward_{secrets.token_hex(6)}", tmp_path / "second"
    var.mkdir()
    url = servers.create_database(own_servers.postgres, name, template=migrated)
    yield Installation(environment(var, DATABASE_URL=url), var)
    drop(own_servers, name)


@pytest.fixture
def sqlite(tmp_path):
    """An installation on one machine: an SQLite file and nothing else."""
    var = tmp_path / "small"
    var.mkdir()
    small = Installation(environment(var, DATABASE_URL=f"sqlite:///{var / 'small.sqlite3'}"), var)
    small.python("manage.py", "migrate", "--no-input", "-v", "0")
    return small


def contents(path) -> dict[str, bytes]:
    with zipfile.ZipFile(path) as found:
        return {name: found.read(name) for name in found.namelist()}


def test_the_demo_studio_moves_to_another_installation(installation, second, sqlite, tmp_path):
    installation.python("manage.py", "load_demo", "--today", "2026-03-02")
    installation.python("manage.py", "cycle", "--at", MORNING)
    one, two, three = (str(tmp_path / f"{name}.zip") for name in ("one", "two", "three"))
    said = installation.python("manage.py", "export_studio", "ossenmere", one)
    assert "Keep it as a secret" in said
    assert (tmp_path / "one.zip").stat().st_mode & 0o077 == 0
    assert not list(tmp_path.glob("*.part"))

    said = second.python("manage.py", "restore_studio", one)
    assert "/account/password/reset/key/" in said
    second.python("manage.py", "export_studio", "ossenmere", two)
    before, after = contents(one), contents(two)
    rows = json.loads(before["manifest.json"])["tables"]
    assert sum(row["rows"] for row in rows) > 5_000
    assert sum(row["rows"] > 0 for row in rows) > 45
    changed = {name for name in before if before[name] != after[name]}
    assert changed == {"README.txt", "manifest.json", JOURNAL}
    assert after[JOURNAL].startswith(before[JOURNAL])
    assert "0 differences" in second.python("manage.py", "verify_reports")
    # The restored tables are whole: they take new rows, whose numbers nothing of the studio has had.
    second.python("-m", "tests.services.scene", "1")
    newest = "SELECT max(id) FROM lifecycle_customer"
    assert second.rows(newest) == [(installation.rows(newest)[0][0] + 1,)]
    guards = "SELECT count(*) FROM pg_trigger WHERE tgname LIKE '%append_only'"
    assert second.rows(guards) == installation.rows(guards)

    sqlite.python("manage.py", "restore_studio", one, "--hold")
    sqlite.python("manage.py", "export_studio", "ossenmere", three)
    there = contents(three)
    changed = {name for name in before if before[name] != there[name]}
    assert changed == {"README.txt", "manifest.json", JOURNAL, "tables/studio.jsonl"}  # it is held


@pytest.mark.parametrize("where", ["installation", "sqlite"])
def test_what_others_write_meanwhile_is_not_in_it(where, request):
    """One moment: rows that are committed while the zip is being read are in none of its tables, and who writes them
    does not wait for the reader."""
    here = request.getfixturevalue(where)
    here.python("-m", "tests.services.scene", "2")
    assert here.python("-m", "tests.services.taking_out_scene").split() == ["2", "2", "3"]
