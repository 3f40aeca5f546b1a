"""What the kinds share: a planned row, keys of other lists, and writing many rows so that they can be taken back."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from decimal import Decimal
from itertools import islice
from typing import Any, Final

from django.apps import apps
from django.db import connection, models

from lifecycle.care.imports.rows import Row
from lifecycle.models import ImportKey, ImportMade, Studio, Verdict

BATCH: Final = 2_000
IN_BATCH: Final = 900  # parameters of one statement that every database takes
# The cycle turns this by itself; it says nothing about the record.
VOLATILE: Final = frozenset({"assess_again"})


@dataclass(slots=True)
class Planned:
    """What one row of a file would do. `act` is for the kind's own writer; `values` for changes of a row on record."""

    line: int
    verdict: str
    key: str = ""
    changes: list[list[str]] = field(default_factory=list)
    errors: list[list[str]] = field(default_factory=list)
    act: Any = None


@dataclass(slots=True)
class Change:
    """New values of a row on record."""

    line: int
    pk: int
    values: dict[str, Any]
    before: dict[str, Any]


def wrong(row: Row, key: str = "") -> Planned:
    return Planned(row.line, Verdict.ERROR, key[:200], errors=[trouble.as_list() for trouble in row.troubles])


def spoken(value: Any) -> str:
    """A value for the table of the dry run."""
    if value is None or value == "":
        return "nothing"
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return value.isoformat()
    return f"{value:f}" if isinstance(value, Decimal) else str(value)


def differing(old: Any, wanted: Mapping[str, Any]) -> dict[str, Any]:
    """The values that differ from those on record; None leaves a field as it is."""
    return {name: value for name, value in wanted.items() if value is not None and getattr(old, name) != value}


class OnceOnly:
    """Refuses the second row of a file that means the same thing."""

    def __init__(self) -> None:
        self.lines: dict[Any, int] = {}

    def seen(self, row: Row, field_name: str, key: Any, what: str) -> None:
        """Note a key; a second row with it is a trouble of that row."""
        first = self.lines.setdefault(key, row.line)
        if first != row.line:
            row.trouble(field_name, f"row {first} of this file has the same {what}; keep one of the two.")


def keys_of(studio: Studio, scheme: str) -> dict[str, int]:
    """Numbers of other lists -> our row."""
    column = {"customer": "customer_id", "visit": "visit_id"}.get(scheme, "vehicle_id")
    return dict(ImportKey.objects.of(studio).filter(scheme=scheme).values_list("number", column))


def chunks(items: Iterable[Any], size: int) -> Iterator[list[Any]]:
    stream = iter(items)
    while part := list(islice(stream, size)):
        yield part


def model_of(name: str) -> Any:
    return apps.get_model("lifecycle", name)


def plain_value(field: Any, value: Any) -> Any:
    """A value as it can stand in JSON and be read back by the field."""
    prepared = field.get_prep_value(value)
    return str(prepared) if isinstance(prepared, (Decimal, date)) or hasattr(prepared, "isoformat") else prepared


def digest_of_row(row: Any, names: Iterable[str] | None = None) -> str:
    """What a row holds, as a digest; `names`: only these columns."""
    wanted = set(names) if names is not None else None
    said = [
        f"{field.attname}={field.value_from_object(row)!r}"
        for field in row._meta.concrete_fields
        if not field.primary_key and field.attname not in VOLATILE
        and (wanted is None or field.attname in wanted)
    ]  # fmt: skip
    return hashlib.sha256("\x1f".join(said).encode()).hexdigest()


def insert(rows: Sequence[tuple[int, Any]]) -> list[ImportMade]:
    """Write new rows of one model: (line, unsaved row). Their digests are taken from what the database then holds."""
    objects = [row for _, row in rows]
    if not objects:
        return []
    model = type(objects[0])
    model._base_manager.bulk_create(objects, batch_size=BATCH)
    digests: dict[int, str] = {}
    for part in chunks((row.pk for row in objects), IN_BATCH):
        digests |= {row.pk: digest_of_row(row) for row in model._base_manager.filter(pk__in=part)}
    return [
        ImportMade(line=line, model=model.__name__, object_id=row.pk, before=None, digest=digests[row.pk])
        for line, row in rows
    ]


def update(model: Any, changes: Sequence[Change]) -> list[ImportMade]:
    """Write changed values, grouped by what changes: one prepared statement for each group."""
    groups: dict[tuple[str, ...], list[Change]] = defaultdict(list)
    for change in changes:
        groups[tuple(sorted(change.values))].append(change)
    for names, group in groups.items():
        write_values(model, names, [(change.pk, change.values) for change in group])
    rows: dict[int, Any] = {}
    for part in chunks({change.pk for change in changes}, IN_BATCH):
        rows |= model._base_manager.in_bulk(part)
    return [
        ImportMade(
            line=change.line, model=model.__name__, object_id=change.pk,
            digest=digest_of_row(rows[change.pk], change.values),
            before={name: plain_value(model._meta.get_field(name), value) for name, value in change.before.items()},
        )
        for change in changes
    ]  # fmt: skip


def write_values(model: Any, names: Sequence[str], rows: Iterable[tuple[int, Mapping[str, Any]]]) -> None:
    """UPDATE … SET these columns, one statement for many rows: bulk_update is ten times slower."""
    fields = [model._meta.get_field(name) for name in names]
    quote = connection.ops.quote_name
    assigned = ", ".join(f"{quote(field.column)} = %s" for field in fields)
    sql = f"UPDATE {quote(model._meta.db_table)} SET {assigned} WHERE {quote(model._meta.pk.column)} = %s"  # noqa: S608
    with connection.cursor() as cursor:
        for part in chunks(rows, BATCH):
            cursor.executemany(
                sql,
                [
                    (*(f.get_db_prep_save(values[n], connection) for f, n in zip(fields, names, strict=True)), pk)
                    for pk, values in part
                ],
            )


def ask_for_assessment(vehicle_ids: Iterable[int]) -> None:
    """The next round of the cycle assesses these vehicles anew."""
    Vehicle = model_of("Vehicle")
    for part in chunks(sorted(set(vehicle_ids)), IN_BATCH):
        Vehicle.objects.filter(pk__in=part, retired_on=None).update(assess_again=True)


def new_keys(studio: Studio, wanted: Iterable[tuple[int, str, str, models.Model]]) -> list[ImportMade]:
    """Numbers of another list: (line, scheme, key, our saved row)."""
    columns = {"customer": "customer", "visit": "visit", "vehicle": "vehicle", "vin": "vehicle"}
    return insert([
        (line, ImportKey(studio=studio, scheme=scheme, number=key, **{f"{columns[scheme]}_id": row.pk}))
        for line, scheme, key, row in wanted
    ])  # fmt: skip
