"""What every test shares."""

from __future__ import annotations

import pytest


@pytest.fixture(scope="session")
def django_db_setup(django_db_setup, django_db_blocker):
    """Let the test runner empty the append-only tables between transactional tests; nothing else may."""
    with django_db_blocker.unblock():
        from django.db import connection

        from lifecycle.models.journal import guard_statements, unguard_statements

        if connection.vendor != "sqlite":
            return  # TRUNCATE passes the row triggers on PostgreSQL
        plain = connection.ops.execute_sql_flush

        def flush(sql_list: list[str]) -> None:
            plain([*unguard_statements("sqlite"), *sql_list, *guard_statements("sqlite")])

        connection.ops.execute_sql_flush = flush
