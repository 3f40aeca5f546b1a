"""The reference page's contents, out of the OpenAPI document: nothing in it is written twice."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from typing import Any, Final

from .problems import KINDS, Kind

BOUNDS: Final = (
    ("minimum", "at least {}"), ("maximum", "at most {}"), ("minLength", "{} characters or more"),
    ("maxLength", "{} characters at most"), ("default", "{} unless said otherwise"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Field:
    """One parameter or member of a body or an answer. `what`: its type and bounds in words."""

    name: str
    where: str
    what: str
    needed: bool
    says: str


@dataclass(frozen=True, slots=True)
class Operation:
    """One method at one address."""

    anchor: str
    method: str
    path: str
    summary: str
    says: str
    scope: str
    roles: str
    asks: tuple[Field, ...]
    answers: tuple[Field, ...]
    answer_says: str
    statuses: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Reference:
    """The whole page."""

    about: str
    groups: tuple[tuple[str, tuple[Operation, ...]], ...]
    shapes: tuple[tuple[str, str, tuple[Field, ...]], ...]
    problems: tuple[Kind, ...]


def _resolved(schema: Mapping[str, Any], all_of: Mapping[str, Any]) -> tuple[str, Mapping[str, Any]]:
    """The name and contents behind a reference; ("", itself) where it is none."""
    if "$ref" in schema:
        name = str(schema["$ref"]).rsplit("/", 1)[-1]
        return name, all_of[name]
    return "", schema


def _words(schema: Mapping[str, Any]) -> str:
    """A type in words."""
    if "$ref" in schema:
        return str(schema["$ref"]).rsplit("/", 1)[-1]
    if "anyOf" in schema:
        return " or ".join(_words(one) for one in schema["anyOf"])
    if "enum" in schema:
        return "one of " + ", ".join(str(one) for one in schema["enum"])
    if "const" in schema:
        return f"always {schema['const']}"
    kind = str(schema.get("type", "anything"))
    if kind == "array":
        return f"list of {_words(schema.get('items', {}))}"
    kind = {"string": "text", "integer": "whole number", "boolean": "true or false", "null": "null"}.get(kind, kind)
    return {"date": "day", "date-time": "time", "uuid": "UUID"}.get(str(schema.get("format", "")), kind)


def _bounds(schema: Mapping[str, Any]) -> str:
    told = [schema, *schema.get("anyOf", ())]
    found = [words.format(one[name]) for name, words in BOUNDS for one in told if one.get(name) not in (None, "")]
    return ", ".join(found)


def _field(name: str, where: str, schema: Mapping[str, Any], needed: bool) -> Field:
    bounds = _bounds(schema)
    what = f"{_words(schema)}; {bounds}" if bounds else _words(schema)
    return Field(name, where, what, needed, str(schema.get("description", "")))


def _members(schema: Mapping[str, Any], where: str) -> tuple[Field, ...]:
    needed = schema.get("required", ())
    return tuple(_field(name, where, one, name in needed) for name, one in schema.get("properties", {}).items())


def _json(holder: Mapping[str, Any]) -> Mapping[str, Any]:
    return next((one["schema"] for one in holder.get("content", {}).values()), {})


def _operation(path: str, method: str, told: Mapping[str, Any], all_of: Mapping[str, Any]) -> Operation:
    asks = [_field(one["name"], one["in"], one["schema"], one["required"]) for one in told["parameters"]]
    if "requestBody" in told:
        asks += _members(_resolved(_json(told["requestBody"]), all_of)[1], "body")
    good = next(one for status, one in told["responses"].items() if int(status) < 400)
    _, shape = _resolved(_json(good), all_of)
    return Operation(
        anchor=told["operationId"], method=method.upper(), path=path, summary=told["summary"],
        says=told.get("description", ""), scope=told["x-scope"], roles=told["x-roles"], asks=tuple(asks),
        answers=_members(shape, "answer"), answer_says=str(shape.get("description", "")),
        statuses=tuple(str(status) for status in told["responses"]),
    )  # fmt: skip


def _operations(document: Mapping[str, Any]) -> Iterator[tuple[str, Operation]]:
    all_of = document["components"]["schemas"]
    for path, methods in document["paths"].items():
        for method, told in methods.items():
            yield told["tags"][0], _operation(path, method, told, all_of)


@cache
def reference() -> Reference:
    """The page, made once a process: the document changes with the code alone."""
    from .v1 import api

    document = api.get_openapi_schema()
    groups: dict[str, list[Operation]] = {}
    for tag, operation in _operations(document):
        groups.setdefault(tag, []).append(operation)
    shapes = tuple(
        (name, str(one.get("description", "")), _members(one, "shape"))
        for name, one in sorted(document["components"]["schemas"].items())
        if "properties" in one
    )
    return Reference(
        str(document["info"]["description"]), tuple((tag, tuple(found)) for tag, found in groups.items()), shapes,
        tuple(KINDS.values()),
    )  # fmt: skip
