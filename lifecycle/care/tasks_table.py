"""The care tasks: title, labour and cure hours, prerequisites, order of work, caution, words, read from two tables.

Every row of tasks.csv carries a mark and a source. Both tables are checked when they are read.
"""

from __future__ import annotations

import csv
import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType

from lifecycle.wear.marks import Figure, TableError, parameter
from lifecycle.wear.types import Mark

HERE = Path(__file__).parent
INTERVALS = HERE / "intervals.csv"
SIZES = ("S", "M", "L", "XL")
KINDS = ("service", "promotion")
# Order of work inside a visit (common practice): dirty work first, dust before coats, coats before glass and seats.
PHASES = (
    "event", "wheels", "engine_bay", "wash", "iron_tar", "inspect", "polish", "wipe", "film", "paint_coat", "trim",
    "glass", "interior", "desk", "leave",
)  # fmt: skip
COLUMNS = (
    "task", "title", "kind", "hours_s", "hours_m", "hours_l", "hours_xl", "cure_h", "needs_first", "phase", "mark",
    "source", "caution",
)  # fmt: skip
WORD_COLUMNS = ("task", "prevents", "if_postponed", "self_check")
# Prerequisites that are not tasks of their own.
CONDITIONS = frozenset({
    "wash", "readings", "consent", "full_cure", "softened", "cold_wheels", "brakes_masked", "powertrain_check",
    "cooled", "painted_metal", "masked", "dry_gate", "prepared", "degreased", "glass_polish", "blades", "dry_cloth",
    "gentle_clean",
})  # fmt: skip


@dataclass(frozen=True, slots=True)
class CareTask:
    """One care task.

    Attributes:
        kind: "service" (care of what is already there, so covered by consent to care reminders) or "promotion" (a new
            coat, film or correction, or engine bay work, told only with consent to offers).
        hours: labour hours by size of vehicle; a size may be missing where no figure is known (see `labour_h`).
        cure_hours: hours that the car stays dry and untouched afterwards; not labour.
        needs_first: tasks or `CONDITIONS` that come before it.
        phase: place in the order of work, one of `PHASES`.
        caution: the usual caution beside hazardous work, "" where there is none.
        prevents, if_postponed, self_check: the standing sentences of the task.
    """

    task: str
    title: str
    kind: str
    hours: Mapping[str, float]
    cure_hours: float
    needs_first: tuple[str, ...]
    phase: str
    mark: Mark
    source: str
    caution: str
    prevents: str
    if_postponed: str
    self_check: str

    def labour_h(self, size: str) -> float:
        """Labour hours for a vehicle of `size` (S, M, L, XL); the next smaller known size where that one has no figure.

        Raises:
            ValueError: no such size.
        """
        if size not in SIZES:
            raise ValueError(f"size is {size!r}; use one of {', '.join(SIZES)}.")
        known = [self.hours[name] for name in SIZES[: SIZES.index(size) + 1] if name in self.hours]
        return known[-1]


def interval(key: str) -> float:
    """A figure of intervals.csv, in the unit that its key or unit column names.

    Raises:
        KeyError: no such figure.  TableError: the table is damaged.
    """
    return figure(key).value


def figure(key: str) -> Figure:
    """The same figure with its range, mark and source.

    Raises:
        KeyError: no such figure.  TableError: the table is damaged.
    """
    return parameter(key, path=INTERVALS)


def _rows(lines: Iterable[str], columns: tuple[str, ...], name: str) -> dict[str, dict[str, str]]:
    reader = csv.DictReader(lines)
    if tuple(reader.fieldnames or ()) != columns:
        raise TableError(f"{name}, line 1: columns are {reader.fieldnames}; write {','.join(columns)}.")
    rows: dict[str, dict[str, str]] = {}
    for row in reader:
        where = f"{name}, line {reader.line_num}"
        if None in row or None in row.values():
            raise TableError(f"{where}: not {len(columns)} cells; put a text with commas in double quotes.")
        if not row["task"].strip() or row["task"] in rows:
            raise TableError(f"{where}: task {row['task']!r} is empty or stands here twice; keep one row per task.")
        rows[row["task"]] = row
    return rows


def _number(text: str, where: str) -> float:
    try:
        number = float(text)
    except ValueError as error:
        raise TableError(f"{where} is {text!r}; write hours as a number.") from error
    if not math.isfinite(number) or number < 0:
        raise TableError(f"{where} is {text!r}; write a finite number of hours, 0 or more.")
    return number


def _hours(row: Mapping[str, str], name: str) -> Mapping[str, float]:
    where = f"{name}, {row['task']}"
    hours = {
        size: _number(row[f"hours_{size.lower()}"], f"{where}: hours_{size.lower()}")
        for size in SIZES
        if row[f"hours_{size.lower()}"].strip()
    }
    if "S" not in hours or list(hours.values()) != sorted(hours.values()):
        raise TableError(f"{where}: hours are {dict(hours)}; give S at least, and no fewer hours for a larger size.")
    return MappingProxyType(hours)


def _task(row: Mapping[str, str], words: Mapping[str, str], name: str) -> CareTask:
    where = f"{name}, {row['task']}"
    for column, allowed in (("kind", KINDS), ("phase", PHASES), ("mark", tuple(mark.value for mark in Mark))):
        if row[column] not in allowed:
            raise TableError(f"{where}: {column} is {row[column]!r}; use one of {', '.join(allowed)}.")
    for column in ("title", "source"):
        if not row[column].strip():
            raise TableError(f"{where}: {column} is empty; fill it in.")
    return CareTask(
        task=row["task"],
        title=row["title"],
        kind=row["kind"],
        hours=_hours(row, name),
        cure_hours=_number(row["cure_h"], f"{where}: cure_h"),
        needs_first=tuple(word for word in row["needs_first"].split(";") if word),
        phase=row["phase"],
        mark=Mark(row["mark"]),
        source=row["source"],
        caution=row["caution"],
        prevents=words["prevents"],
        if_postponed=words["if_postponed"],
        self_check=words["self_check"],
    )


def parse_tasks(lines: Iterable[str], word_lines: Iterable[str], *, name: str = "tasks.csv") -> Mapping[str, CareTask]:
    """Read and check both tables.

    Raises:
        TableError: wrong columns or cells, an unknown kind, phase, mark or prerequisite, a task without words, empty
            words; the message says where and what to write.
    """
    rows = _rows(lines, COLUMNS, name)
    words = _rows(word_lines, WORD_COLUMNS, "words.csv")
    if rows.keys() != words.keys():
        raise TableError(f"words.csv: tasks differ from {name} in {sorted(rows.keys() ^ words.keys())}; match them.")
    for name_of, row in words.items():
        if not all(row[column].strip() for column in WORD_COLUMNS):
            raise TableError(f"words.csv, {name_of}: an empty cell; every task has its three sentences.")
    tasks = {task: _task(row, words[task], name) for task, row in rows.items()}
    for task in tasks.values():
        unknown = set(task.needs_first) - tasks.keys() - CONDITIONS
        if unknown:
            raise TableError(
                f"{name}, {task.task}: needs_first names {sorted(unknown)}; use tasks or {set(CONDITIONS)}."
            )
    return MappingProxyType(tasks)


@lru_cache(maxsize=1)
def load_tasks() -> Mapping[str, CareTask]:
    """All care tasks by their machine word, read once per process.

    Raises:
        TableError: see `parse_tasks`.
    """
    rows, words = ((HERE / name).read_text(encoding="utf-8").splitlines() for name in ("tasks.csv", "words.csv"))
    return parse_tasks(rows, words)
