"""The words in the zip: what it is, what each column says, what is left out and what a restore does instead."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from textwrap import fill
from typing import Final

from lifecycle.taking_out.registry import COLUMNS_LEFT_OUT, LEFT_OUT, tables
from lifecycle.taking_out.values import stamp

WIDTH: Final = 110
LEAD: Final = (
    "tables/NAME.jsonl holds one row of a table a line, as a JSON object (RFC 8259) in UTF-8 with every column. Days "
    "are like 2026-03-02, moments like 2026-03-02T09:00:00Z in UTC, exact decimals are texts with a point, null is no "
    "value. files/ holds photos, data sheets and lists that wait, under the names that the rows give; files.jsonl "
    "their bytes and SHA-256. manifest.json says the form, the version of the tables, how many rows there are and the "
    "SHA-256 of each table.",
    "`manage.py restore_studio FILE` brings all of it back, row for row and under the same numbers, into an "
    "installation of the same version in which none of these numbers is taken, best an empty one. It needs the same "
    "SHEENWARD_SECRET_KEY as before where links in earlier mails, calendar addresses and the secrets of webhooks are "
    "to hold on, and where addresses of erased persons are to stay closed.",
    "This file holds personal data of every customer. Keep it as carefully as the studio itself, and delete it when it "
    "has served: an erasure in the studio does not reach it.",
)


def readme(name: str, at: datetime) -> str:
    """The text of README.txt.

    Args:
        name: of the studio.  at: when it is taken out.
    """
    return "\n".join(_lines(name, at))


def _lines(name: str, at: datetime) -> Iterator[str]:
    yield f"{name}, taken out of Sheenward at {stamp(at)}"
    for text in LEAD:
        yield ""
        yield fill(text, WIDTH)
    yield ""
    yield "WHAT IS LEFT OUT"
    for (table, name_of), why in COLUMNS_LEFT_OUT.items():
        yield _item(f"{table}.{name_of}", why)
    for label, why in LEFT_OUT.items():
        yield _item(label.removeprefix("lifecycle.").removesuffix(".*"), why)
    for one in tables():
        yield ""
        yield f"{one.name.upper()}: {one.title}"
        yield fill(one.says, WIDTH)
        for column in one.columns:
            yield _item(column.name, column.says)
    yield ""


def _item(name: str, says: str) -> str:
    return fill(f"{name}: {says}", WIDTH, initial_indent="  ", subsequent_indent="      ")
