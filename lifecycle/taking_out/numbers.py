"""The numbers that the database gives to new rows: how far they have come, and going on from there."""

from __future__ import annotations

from collections.abc import Mapping

from django.db import connection
from django.db.models import Model


def highest(models: Mapping[str, type[Model]]) -> dict[str, int]:
    """The highest number that each table ever gave, so that no later row gets one that an old entry speaks of.

    Args:
        models: by the names under which the answer gives them.
    """
    names = {model._meta.db_table: name for name, model in models.items()}
    with connection.cursor() as cursor:
        if connection.vendor == "postgresql":
            cursor.execute(
                "SELECT owner.relname, counter.last_value FROM pg_sequences counter "
                "JOIN pg_class seq ON seq.relname = counter.sequencename AND seq.relkind = 'S' "
                "JOIN pg_namespace space ON space.oid = seq.relnamespace AND space.nspname = counter.schemaname "
                "JOIN pg_depend dep ON dep.objid = seq.oid AND dep.deptype IN ('a', 'i') "
                "JOIN pg_class owner ON owner.oid = dep.refobjid "
                "WHERE counter.schemaname = current_schema()"
            )
        else:
            cursor.execute("SELECT name, seq FROM sqlite_sequence")
        found = {table: int(last or 0) for table, last in cursor.fetchall()}
    return {name: found.get(table, 0) for table, name in sorted(names.items())}


def go_on_from(models: Mapping[str, type[Model]], numbers: Mapping[str, int]) -> None:
    """Let the next row of each table get a higher number than these; nothing is ever set back."""
    now = highest(models)
    with connection.cursor() as cursor:
        for name, model in models.items():
            table, column, number = model._meta.db_table, model._meta.pk.column, numbers.get(name, 0)
            if number <= now[name]:
                continue
            if connection.vendor == "postgresql":
                cursor.execute("SELECT setval(pg_get_serial_sequence(%s, %s), %s)", [f'"{table}"', column, number])
                continue
            cursor.execute("UPDATE sqlite_sequence SET seq = %s WHERE name = %s", [number, table])
            if cursor.rowcount == 0:
                cursor.execute("INSERT INTO sqlite_sequence (name, seq) VALUES (%s, %s)", [table, number])
