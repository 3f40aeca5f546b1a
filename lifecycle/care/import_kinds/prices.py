"""A price list: what each care task costs about, by size of vehicle."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from decimal import Decimal

from lifecycle.care.goods import MOST_PRICE
from lifecycle.care.imports.rows import Row
from lifecycle.care.tasks_table import load_tasks
from lifecycle.models import ImportMade, Price, Studio, Verdict

from .base import Change, OnceOnly, Planned, insert, spoken, update, wrong


def task_names() -> dict[str, str]:
    """What a task may be called in a list -> its code."""
    names = {}
    for code, task in load_tasks().items():
        names[code.replace("_", " ").casefold()] = code
        names[task.title.casefold()] = code
    return names


def plan(studio: Studio, rows: Iterable[Row], *, at: datetime) -> list[Planned]:
    """What each row would do; one query."""
    there = {(row.task, row.size): row for row in Price.objects.of(studio)}
    names, once, planned = task_names(), OnceOnly(), []
    for row in rows:
        values = row.values
        task = names.get(" ".join(str(values.get("task", "")).replace("_", " ").casefold().split()), "")
        if "task" in values and not task:
            row.trouble("task", "is no care task here; write it as it stands under Prices.")
        for name in ("task", "size", "low"):
            if name not in values and not row.troubles:
                row.trouble(name, f"this row has no {name}; give one.")
        low, high = values.get("low"), values.get("high", values.get("low"))
        _check(row, low, high)
        key = f"{values.get('task', '')}, {values.get('size', '')}"
        if not row.troubles:
            once.seen(row, "task", (task, values["size"]), "task and size")
        if row.troubles:
            planned.append(wrong(row, key))
            continue
        old = there.get((task, values["size"]))
        wanted = {"low": low, "high": high}
        if old is None:
            changes = [[name, "", spoken(value)] for name, value in wanted.items()]
            fresh = Price(
                studio=studio, task=task, size=values["size"], low=values["low"], high=values.get("high", values["low"])
            )
            planned.append(Planned(row.line, Verdict.NEW, key, changes, act=fresh))
            continue
        new = {name: value for name, value in wanted.items() if getattr(old, name) != value}
        changes = [[name, spoken(getattr(old, name)), spoken(value)] for name, value in new.items()]
        verdict = Verdict.CHANGE if new else Verdict.SAME
        planned.append(Planned(row.line, verdict, key, changes, act=(old, new)))
    return planned


def _check(row: Row, low: Decimal | None, high: Decimal | None) -> None:
    for name, amount in (("low", low), ("high", high)):
        if amount is None or name not in row.values:
            continue
        if not 0 <= amount <= MOST_PRICE:
            row.trouble(name, f"is not between 0 and {MOST_PRICE}.")
        elif amount != amount.quantize(Decimal("0.01")):
            row.trouble(name, "has more than two decimals.")
    if low is not None and high is not None and high < low and not row.troubles:
        row.trouble("high", f"is less than the low end, {low:f}.")


def write(studio: Studio, planned: Sequence[Planned], *, at: datetime) -> list[ImportMade]:
    """Write what was planned; needs a plan without an error."""
    fresh = [(item.line, item.act) for item in planned if item.verdict == Verdict.NEW]
    changed = [
        Change(item.line, item.act[0].pk, item.act[1], {name: getattr(item.act[0], name) for name in item.act[1]})
        for item in planned if item.verdict == Verdict.CHANGE
    ]  # fmt: skip
    return [*insert(fresh), *update(Price, changed)]
