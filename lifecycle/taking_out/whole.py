"""Whether what was brought back is whole and belongs together: every row of this studio, every link within it."""

from __future__ import annotations

from typing import Any

from django.db import DatabaseError, connection

from lifecycle.models import Studio, User
from lifecycle.taking_out.registry import Table, tables
from lifecycle.taking_out.zip_reading import Manifest, Refused


def check(manifest: Manifest, users: set[int]) -> None:
    """Compare the rows of the studio in the database with what the manifest says, inside the transaction.

    Args:
        users: numbers of the people whom the zip brought.

    Raises:
        Refused: rows are missing, or point to what is not of this studio.
    """
    studio = Studio.objects.filter(pk=manifest.studio.id).first()
    if studio is None:
        raise Refused("The zip holds no row of the studio itself.")
    said = {one.name: one.rows for one in manifest.tables}
    by_model = {one.model: one for one in tables()}
    for one in tables():
        if one.model is User:
            if set(one.rows(studio).values_list("pk", flat=True)) != users:
                raise Refused(f"{one.title}: somebody is missing, or belongs to nobody of this studio.")
        elif one.rows(studio).count() != said[one.name]:
            raise Refused(f"{one.title}: not every row belongs to this studio.")
        _check_links(one, studio, by_model)
    try:
        connection.check_constraints()
    except DatabaseError as error:
        raise Refused(f"A row points to one that is missing: {str(error).strip().splitlines()[0]}.") from error


def _check_links(one: Table, studio: Studio, by_model: dict[Any, Table]) -> None:
    for column in one.columns:
        target = by_model.get(column.field.related_model)
        if target is None or target.model in (Studio, User):
            continue
        name = column.field.name
        linked = one.rows(studio).filter(**{f"{name}__isnull": False})
        if linked.exclude(**{f"{name}__{target.path_to_studio}": studio.pk}).exists():
            raise Refused(f"{one.title}: {column.name} names a row that is not of this studio.")
