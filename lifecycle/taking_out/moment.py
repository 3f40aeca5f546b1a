"""Read many tables as they stood at one moment, without holding anybody up."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager

from django.db import connection, transaction


@contextmanager
def one_moment() -> Iterator[None]:
    """Every query inside sees the database as it is now, whatever others write meanwhile; nothing may be written here.

    PostgreSQL: a repeatable read that writes nothing. SQLite: a read transaction, which in write-ahead mode holds no
    writer up; Django's own would take the lock for writing. Inside a transaction that began earlier it is that one.
    """
    if connection.in_atomic_block:
        yield
    elif connection.vendor == "postgresql":
        with transaction.atomic():
            with connection.cursor() as cursor:
                cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ READ ONLY")
            yield
    else:
        with connection.cursor() as cursor:
            cursor.execute("BEGIN DEFERRED")
        try:
            yield
        finally:
            with connection.cursor() as cursor:
                cursor.execute("ROLLBACK")
