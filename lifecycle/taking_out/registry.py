"""Every table of a studio with a sentence for each column, from the models themselves and two tables of words.

Nothing is left out by being forgotten: a model or column that has neither words nor a written reason does not load.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Final

from django.apps import apps
from django.db.models import Field, Model, Q, QuerySet

from lifecycle.errors import DomainError
from lifecycle.models import Customer, Member, Studio, User

HERE: Final = Path(__file__).resolve().parent
APP: Final = "lifecycle"
# Models that no list and no zip holds, and why. Keys are labels, or "app.*" for all of a library's.
LEFT_OUT: Final[Mapping[str, str]] = {
    "lifecycle.ApiToken": "a key, no record: a copy must not open to the keys of the original; make tokens anew",
    "lifecycle.ApiAnswer": "what programs were answered under such a key, kept for a day",
    "lifecycle.SignInKey": "codes and links of the front door, good for minutes",
    "lifecycle.EarlyReceipt": "events of a provider that nobody knows yet whose they are",
    "lifecycle.Heartbeat": "of the machine: when each step ran last",
    "lifecycle.HookCursor": "of the machine: how far the journal has been read",
    "lifecycle.ClimateNormal": "of places, not of studios: the cycle fetches it anew in its first step",
    "lifecycle.ClimateService": "of the machine: how the sources of climate have answered",
    "lifecycle.User_groups": "rights within the installation, not within the studio",
    "lifecycle.User_user_permissions": "rights within the installation, not within the studio",
    "auth.*": "rights within the installation, not within the studio",
    "contenttypes.*": "numbers of Django's own",
    "sessions.*": "who is signed in now: everybody signs in anew",
    "account.*": "addresses that the sign-in library keeps beside the user: made anew when they are needed",
    "mfa.*": "secrets of second factors and passkeys: every member sets the second factor up anew",
    "usersessions.*": "devices that are signed in now: everybody signs in anew",
}
# Columns that no list and no zip holds: why, and what a restore puts there.
COLUMNS_LEFT_OUT: Final[Mapping[tuple[str, str], str]] = {
    ("user", "password"): "a secret: nobody has a password after a restore, every member sets one by a new link",
    ("user", "last_login"): "of the installation, not of the studio: empty after a restore",
    ("user", "is_staff"): "a right within the installation: no after a restore",
    ("user", "is_superuser"): "a right within the installation: no after a restore",
}


@dataclass(frozen=True, slots=True)
class Column:
    """One column: its name in the database, what it says, and the field behind it."""

    name: str
    says: str
    field: Field[Any, Any]


@dataclass(frozen=True, slots=True)
class Table:
    """One table: `name` for files and addresses, `title` and `says` for people."""

    name: str
    group: str
    title: str
    says: str
    model: type[Model]
    columns: tuple[Column, ...]

    def rows(self, studio: Studio) -> QuerySet[Any]:
        """All rows of the studio, withdrawn ones too, in the order of their numbers."""
        return self.model._base_manager.filter(self._of(studio)).order_by("pk")

    def _of(self, studio: Studio) -> Q:
        if self.model is Studio:
            return Q(pk=studio.pk)
        if self.model is User:
            members = Member.objects.filter(studio=studio).values("user_id")
            customers = Customer.objects.filter(studio=studio, user__isnull=False).values("user_id")
            return Q(pk__in=members) | Q(pk__in=customers)
        return Q(**{f"{self.path_to_studio}_id": studio.pk})

    @property
    def path_to_studio(self) -> str:
        """The way from a row to its studio: its own key, or that of the row it joins to another."""
        names = [field.name for field in self.model._meta.concrete_fields if field.is_relation]
        return "studio" if "studio" in names else f"{names[0]}__studio"


def table_name(model: type[Model]) -> str:
    """CareDue is care_due; the table between two others carries both names."""
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", model.__name__).lower()


def why_left_out(model: type[Model]) -> str:
    """The written reason why a model is in no list; "" where it belongs into one."""
    label = model._meta.label
    return LEFT_OUT.get(label, "") or LEFT_OUT.get(f"{model._meta.app_label}.*", "")


def _read(name: str) -> list[dict[str, str]]:
    with (HERE / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@lru_cache(maxsize=1)
def tables() -> tuple[Table, ...]:
    """Every table, in the order of `tables.csv`.

    Raises:
        LookupError: a model or column without words, words without a model or column.
    """
    models = {table_name(model): model for model in _models()}
    words = {row["table"]: row for row in _read("tables.csv")}
    if set(models) != set(words):
        raise LookupError(f"tables.csv and the models differ: {sorted(set(models) ^ set(words))}")
    says = {(row["table"], row["column"]): row["says"] for row in _read("columns.csv")}
    titles = {models[name]: row["title"] for name, row in words.items()}
    found = tuple(
        Table(name, row["group"], row["title"], row["says"], models[name], _columns(name, models[name], says, titles))
        for name, row in words.items()
    )
    _refuse_strays(found, says)
    return found


def _models() -> list[type[Model]]:
    every = apps.get_app_config(APP).get_models(include_auto_created=True)
    return [model for model in every if not why_left_out(model)]


def _columns(
    name: str, model: type[Model], says: Mapping[tuple[str, str], str], titles: Mapping[type[Model], str]
) -> tuple[Column, ...]:
    columns = []
    for field in model._meta.concrete_fields:
        if (name, field.attname) in COLUMNS_LEFT_OUT:
            continue
        text = says.get((name, field.attname)) or says.get(("*", field.attname)) or _by_itself(field, titles)
        if not text:
            raise LookupError(f"columns.csv: no sentence for {name}.{field.attname}, and no reason to leave it out")
        columns.append(Column(field.attname, text + _choices(field), field))
    return tuple(columns)


def _by_itself(field: Field[Any, Any], titles: Mapping[type[Model], str]) -> str:
    """What Django knows of a column: its help text, or which table it points to."""
    if field.help_text:
        return str(field.help_text)
    target: Any = field.related_model
    if target in titles:
        called = str(field.verbose_name)
        return f"Number of the row of “{titles[target]}” that is its {called}."
    return ""


def _choices(field: Field[Any, Any]) -> str:
    values = [str(value) for value, _ in field.flatchoices]
    return f" One of {', '.join(values)}." if values else ""


def _refuse_strays(found: tuple[Table, ...], says: Mapping[tuple[str, str], str]) -> None:
    """Words of a column that is gone would be told for nothing."""
    there = {(table.name, column.name) for table in found for column in table.columns}
    there |= {("*", name) for _, name in there}
    strays = sorted(set(says) - there)
    if strays:
        raise LookupError(f"columns.csv: words for columns that are not there: {strays}")


def table(name: str) -> Table:
    """The table of that name.

    Raises:
        DomainError: there is none.
    """
    for one in tables():
        if one.name == name:
            return one
    raise DomainError(f"table: there is no list {name!r}.", field="table")
