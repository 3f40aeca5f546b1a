"""The journal: who did what, when. Rows are added and never changed; the database itself refuses anything else."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from django.core.serializers.json import DjangoJSONEncoder
from django.db import models

from .base import StudioRow

APPEND_ONLY = ("lifecycle_journalentry", "lifecycle_offerstep", "lifecycle_consent")


class JournalEntry(StudioRow):
    at = models.DateTimeField()
    actor = models.CharField(max_length=80)
    verb = models.CharField(max_length=60)
    subject = models.CharField(max_length=40)
    subject_id = models.BigIntegerField(null=True)
    vehicle_id = models.BigIntegerField(null=True, db_index=True)
    data = models.JSONField(default=dict, encoder=DjangoJSONEncoder)

    class Meta:
        ordering = ("at", "id")
        indexes = (models.Index(fields=["studio", "subject", "subject_id"], name="journal_subject"),)


def guard_statements(vendor: str, tables: Sequence[str] = APPEND_ONLY) -> list[str]:
    """SQL that makes the append-only tables refuse UPDATE and DELETE.

    Args:
        vendor: "sqlite" or "postgresql".
        tables: their names; those of the first migration unless told otherwise.

    Raises:
        ValueError: for any other database; the promise cannot be kept there.
    """
    if vendor == "sqlite":
        return [
            f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
            f"BEGIN SELECT RAISE(ABORT, '{table} is append-only'); END"
            for table in tables
            for verb in ("UPDATE", "DELETE")
        ]
    if vendor == "postgresql":
        function = (
            "CREATE OR REPLACE FUNCTION sheenward_append_only() RETURNS trigger LANGUAGE plpgsql AS $$ "
            "BEGIN RAISE EXCEPTION '% is append-only', TG_TABLE_NAME; END $$"
        )
        return [function] + [
            f"CREATE TRIGGER {table}_append_only BEFORE UPDATE OR DELETE ON {table} "
            "FOR EACH ROW EXECUTE FUNCTION sheenward_append_only()"
            for table in tables
        ]
    raise ValueError(f"append-only tables are not supported on {vendor}; use SQLite or PostgreSQL")


def unguard_statements(vendor: str, tables: Sequence[str] = APPEND_ONLY) -> list[str]:
    """The reverse of `guard_statements`."""
    if vendor == "sqlite":
        return [f"DROP TRIGGER IF EXISTS {table}_no_{verb}" for table in tables for verb in ("update", "delete")]
    return [f"DROP TRIGGER IF EXISTS {table}_append_only ON {table}" for table in tables]


def install_guards(apps: Any, schema_editor: Any) -> None:
    for statement in guard_statements(schema_editor.connection.vendor):
        schema_editor.execute(statement, params=None)  # no parameters: "%" is the function's own


def remove_guards(apps: Any, schema_editor: Any) -> None:
    for statement in unguard_statements(schema_editor.connection.vendor):
        schema_editor.execute(statement, params=None)  # no parameters: "%" is the function's own
