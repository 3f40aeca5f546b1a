"""Take an import back: what it made goes, what it changed is as before, unless something has been built on it since."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from typing import Any, Final

from django.db import models

from lifecycle.care.import_kinds.base import IN_BATCH, ask_for_assessment, chunks, digest_of_row, model_of, write_values
from lifecycle.models import ImportFile, ImportMade

# What the cycle reckons anew by itself; it goes with what it was reckoned from. In order of deleting.
RECKONED: Final = ("Forecast", "Reminder", "VisitProposal", "CareDue", "Assessment", "Refusal")
# Rows of models later in this list rest on those before.
ORDER: Final = (
    "Customer",
    "Vehicle",
    "Keeper",
    "Surface",
    "Layer",
    "Visit",
    "CareEvent",
    "Inspection",
    "Reading",
    "Price",
    "ImportKey",
)
MOST_SAID: Final = 1_000
WORDS: Final = {
    "ImportKey": "a number of another list", "CareEvent": "an event", "OfferStep": "advice", "Offer": "advice",
    "Message": "a mail", "Consent": "a statement of consent", "Keeper": "a keeper", "Layer": "a layer",
    "Visit": "a visit", "Inspection": "an inspection", "Photo": "a photo", "Complaint": "a complaint",
    "Vehicle": "a vehicle", "Surface": "a surface", "Reading": "a reading", "Habits": "how it is used",
}  # fmt: skip


def take_back(file: ImportFile) -> tuple[list[tuple[int, str]], int]:
    """Take everything back inside the caller's transaction.

    Returns:
        (line, what stands in the way) for each row; then nothing was changed. And how many rows were taken back.
    """
    held: dict[str, list[ImportMade]] = defaultdict(list)
    for made in ImportMade.objects.filter(file=file):
        held[made.model].append(made)
    standing = [said for name, rows in held.items() for said in _changed_since(name, rows)]
    standing += [said for name, rows in held.items() for said in _built_on(file, name, rows)]
    if standing:
        return sorted(set(standing))[:MOST_SAID], 0
    touched = _vehicles_of(held)
    for name in sorted(held, key=ORDER.index, reverse=True):
        _remove(file, name)  # first: a plate or a place in a stack is free again for what was there before
    for name, rows in held.items():
        _restore(name, [made for made in rows if made.before is not None])
    ask_for_assessment(touched)
    return [], sum(len(rows) for rows in held.values())


def _changed_since(name: str, rows: list[ImportMade]) -> Iterator[tuple[int, str]]:
    """Rows that are gone, or no longer as the file left them."""
    model = model_of(name)
    for part in chunks(rows, IN_BATCH):
        found = model._base_manager.in_bulk([made.object_id for made in part])
        for made in part:
            row = found.get(made.object_id)
            fields = None if made.before is None else list(made.before)
            if row is None:
                yield made.line, f"{_word(name)} that it made or changed is no longer on record."
            elif digest_of_row(row, fields) != made.digest:
                yield made.line, f"{_word(name)} that it made or changed was changed since."


def _word(name: str) -> str:
    said = WORDS.get(name, f"a {name.lower()}")
    return said[:1].upper() + said[1:]


def _made(file: ImportFile, name: str) -> Any:
    """Ids of the rows of a model that the file made."""
    return ImportMade.objects.filter(file=file, model=name, before__isnull=True).values("object_id")


def _relations(model: Any) -> Iterator[tuple[Any, str]]:
    """(model, field) of everything that can refer to a row."""
    for relation in model._meta.get_fields(include_hidden=True):
        if relation.auto_created and not relation.concrete and isinstance(relation, models.ForeignObjectRel):
            through = relation.related_model
            if relation.one_to_many or relation.one_to_one:
                yield through, relation.field.name


def _built_on(file: ImportFile, name: str, rows: list[ImportMade]) -> Iterator[tuple[int, str]]:
    """Rows that others refer to which neither this file made nor the cycle reckons."""
    if all(made.before is not None for made in rows):
        return
    lines = {made.object_id: made.line for made in rows if made.before is None}
    for other, field in _relations(model_of(name)):
        if other.__name__ in RECKONED or other._meta.auto_created:
            continue
        referring = other._base_manager.filter(**{f"{field}__in": _made(file, name)})
        if other._meta.app_label == "lifecycle":
            referring = referring.exclude(pk__in=_made(file, other.__name__))
        for target in referring.values_list(f"{field}_id", flat=True).distinct()[:MOST_SAID]:
            yield lines[target], f"{_word(other.__name__)} refers to the {name.lower()} that it made."
    if name == "Vehicle":
        reminded = model_of("Message")._base_manager.filter(reminder__vehicle__in=_made(file, name))
        for target in reminded.values_list("reminder__vehicle_id", flat=True).distinct()[:MOST_SAID]:
            yield lines[target], "A mail was written about the vehicle that it made."


def _restore(name: str, rows: list[ImportMade]) -> None:
    model = model_of(name)
    groups: dict[tuple[str, ...], list[tuple[int, dict[str, Any]]]] = defaultdict(list)
    for made in rows:
        before = {field: model._meta.get_field(field).to_python(value) for field, value in (made.before or {}).items()}
        groups[tuple(sorted(before))].append((made.object_id, before))
    for fields, values in groups.items():
        write_values(model, fields, values)


def _remove(file: ImportFile, name: str) -> None:
    """Delete what the file made, and before it what the cycle reckoned from it."""
    model = model_of(name)
    for reckoned in RECKONED if name in ("Vehicle", "Layer", "Customer") else ():
        other = model_of(reckoned)
        paths = [field.name for field in other._meta.fields if field.is_relation and field.related_model is model]
        if reckoned == "Forecast" and name == "Vehicle":
            paths = ["assessment__vehicle"]
        for path in paths:
            gone = other._base_manager.filter(**{f"{path}__in": _made(file, name)}).values("pk")
            for through in (field.remote_field.through for field in other._meta.many_to_many):
                rows = through._base_manager.filter(**{f"{other.__name__.lower()}__in": gone})
                rows._raw_delete(rows.db)
            rows = other._base_manager.filter(pk__in=gone)
            rows._raw_delete(rows.db)
    rows = model._base_manager.filter(pk__in=_made(file, name))
    rows._raw_delete(rows.db)


def _vehicles_of(held: dict[str, list[ImportMade]]) -> set[int]:
    """The vehicles whose forecast changes with it."""
    found: set[int] = {made.object_id for made in held.get("Vehicle", ()) if made.before is not None}
    paths = {"Layer": "surface__vehicle_id", "Surface": "vehicle_id", "CareEvent": "vehicle_id", "Visit": "vehicle_id",
             "Inspection": "vehicle_id", "Reading": "inspection__vehicle_id"}  # fmt: skip
    for name, path in paths.items():
        for part in chunks((made.object_id for made in held.get(name, ())), IN_BATCH):
            found |= set(model_of(name)._base_manager.filter(pk__in=part).values_list(path, flat=True))
    return found
