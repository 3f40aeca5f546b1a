"""What every test shares. The science (tests/wear) has options of its own in its pytest.ini and never comes here."""

from __future__ import annotations

import gc
import hashlib
import os
import sqlite3
from pathlib import Path
from typing import Any

import pytest

# Files that take long, the longest first; a run on several cores that began them last would wait for them. While the
# first process builds the demo of the browser tests, the others have services to start.
LONG = (
    "tests/browser/test_pages.py",
    "tests/services/test_chaos.py",
    "tests/services/test_worker.py",
    "tests/browser/test_german.py",
    "tests/browser/test_visits.py",
    "tests/browser/test_customer_flows.py",
    "tests/services/test_twice_at_once.py",
    "tests/browser/",
    "tests/services/",
    "tests/portal/test_access.py",
    "tests/meta/test_settings.py",
    "tests/lifecycle/reminders/test_languages.py",
)


def pytest_configure() -> None:
    """Machines differ in speed: no example of hypothesis fails for being slow. CI draws the same ones every time."""
    from hypothesis import HealthCheck, settings

    fixed = {"derandomize": True, "database": None, "print_blob": True} if os.environ.get("CI") else {}
    settings.register_profile("here", deadline=None, suppress_health_check=[HealthCheck.too_slow], **fixed)
    settings.load_profile("here")


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Begin with the files that take longest; the order within a file stays."""

    def rank(item: pytest.Item) -> int:
        return next((number for number, start in enumerate(LONG) if item.nodeid.startswith(start)), len(LONG))

    items.sort(key=rank)


def pytest_collection_finish() -> None:
    """What was imported stays until the end; the garbage collector need not walk it again and again."""
    gc.collect()
    gc.freeze()


def schema_digest() -> str:
    """Digest of whatever decides what `migrate` makes: every app's migrations and our models, as they stand."""
    from django.apps import apps

    digest = hashlib.sha256(sqlite3.sqlite_version.encode())
    for app in apps.get_app_configs():
        for folder in ("migrations", "models"):
            for path in sorted((Path(app.path) / folder).glob("*.py")):
                digest.update(f"{app.label}/{folder}/{path.name}".encode() + path.read_bytes())
    return digest.hexdigest()[:32]


@pytest.fixture(scope="session")
def kept_migrated(request: pytest.FixtureRequest) -> Path:
    """Where the migrated, empty SQLite database of this state of the migrations is kept, if it was made already."""
    return Path(request.config.cache.mkdir("migrated")) / f"{schema_digest()}.sqlite3"


def keep(database: Path | sqlite3.Connection, kept: Path) -> None:
    """Keep a freshly migrated database, and no older state."""
    # Under a name of its own until it is whole: another process may be looking for it.
    fresh = kept.with_name(f"{kept.stem}.{os.getpid()}.part")
    copy(database, fresh)
    fresh.replace(kept)
    for old in set(kept.parent.glob("*.sqlite3")) - {kept}:
        old.unlink(missing_ok=True)


@pytest.fixture(scope="session")
def django_db_migrated(kept_migrated: Path) -> None:
    """Migrate an SQLite test database once for each state of the migrations, and copy it from then on."""
    from django.core import management
    from django.db import connection

    if connection.vendor != "sqlite":
        return
    plain = management.call_command

    def call(name: str, *args: Any, **options: Any) -> Any:
        if name != "migrate":
            return plain(name, *args, **options)
        management.call_command = plain  # only the set-up that follows is meant
        connection.ensure_connection()
        if kept_migrated.exists():
            copy(kept_migrated, connection.connection)
            return None
        done = plain(name, *args, **options)
        keep(connection.connection, kept_migrated)
        return done

    management.call_command = call


def copy(source: Path | sqlite3.Connection, target: Path | sqlite3.Connection) -> None:
    """Copy a whole SQLite database; a file is opened for it and closed again."""
    opened = [sqlite3.connect(one) for one in (source, target) if isinstance(one, Path)]
    ends = iter(opened)
    first, second = (next(ends) if isinstance(one, Path) else one for one in (source, target))
    first.backup(second)
    for one in opened:
        one.close()


@pytest.fixture(scope="session")
def django_db_setup(django_db_migrated, django_db_setup, django_db_blocker):
    """Let the test runner empty the append-only tables between transactional tests; nothing else may."""
    with django_db_blocker.unblock():
        from django.db import connection

        from lifecycle.models import APPEND_ONLY_TABLES, GUARDED_CARE_RECORDS, GUARDED_CORRECTIONS, GUARDED_REPORTS
        from lifecycle.models.journal import guard_statements, unguard_statements

        if connection.vendor != "sqlite":
            return  # TRUNCATE passes the row triggers on PostgreSQL
        tables = (*APPEND_ONLY_TABLES, *GUARDED_CARE_RECORDS, *GUARDED_CORRECTIONS, *GUARDED_REPORTS)
        plain = connection.ops.execute_sql_flush

        def flush(sql_list: list[str]) -> None:
            plain([*unguard_statements("sqlite", tables), *sql_list, *guard_statements("sqlite", tables)])

        connection.ops.execute_sql_flush = flush
