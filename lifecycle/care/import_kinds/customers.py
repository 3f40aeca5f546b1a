"""Customers from a list. Consent never comes by a list: whoever is new here is not written to until they agree."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, Final

from lifecycle.care.imports.rows import Row
from lifecycle.models import Customer, ImportMade, Studio, Verdict

from .base import Change, OnceOnly, Planned, differing, insert, keys_of, new_keys, spoken, update, wrong

TITLES: Final = {
    "name": "name", "email": "e-mail", "phone": "phone", "language": "language of the letters", "zone": "time zone",
    "fleet": "firm with several vehicles", "since": "customer since",
}  # fmt: skip


class _Known:
    """The customers on record, found by number or address."""

    def __init__(self, studio: Studio) -> None:
        rows = Customer.objects.of(studio).filter(erased_at=None)
        self.by_id: dict[int, Any] = {row.pk: row for row in rows}
        self.by_email = {row.email.lower(): row for row in self.by_id.values() if row.email}
        self.by_number = keys_of(studio, "customer")
        self.numbers: dict[int, set[str]] = {}
        for number, pk in self.by_number.items():
            self.numbers.setdefault(pk, set()).add(number)

    def find(self, row: Row) -> Any:
        """The customer that a row is about; what contradicts itself is a trouble of the row."""
        number, email = row.values.get("number", ""), row.values.get("email", "")
        numbered = self.by_id.get(self.by_number.get(number, 0))
        addressed = self.by_email.get(email) if email else None
        if numbered is not None and addressed is not None and numbered.pk != addressed.pk:
            row.trouble(
                "email", f"is the address of another customer on record, {addressed.name}; mend one of the two."
            )
        if numbered is None and addressed is not None and number and self.numbers.get(addressed.pk):
            said = ", ".join(sorted(self.numbers[addressed.pk]))
            row.trouble("number", f"{addressed.email} is on record under the number {said}; mend one of the two.")
        return numbered or addressed


def plan(studio: Studio, rows: Iterable[Row], *, at: datetime) -> list[Planned]:
    """What each row would do; two queries, whatever their number."""
    known, once, today = _Known(studio), OnceOnly(), studio.day(at)
    planned = []
    for row in rows:
        values = row.values
        key = values.get("number") or values.get("email") or ""
        if not key and not row.troubles:
            row.trouble("number", "this row has neither a customer number nor an e-mail; give one of them.")
        if "number" in values:
            once.seen(row, "number", ("number", values["number"]), "customer number")
        if "email" in values:
            once.seen(row, "email", ("email", values["email"]), "e-mail")
        if "since" in values and values["since"] > today:
            row.trouble("since", "lies in the future; give the day on which it happened.")
        found = known.find(row)
        if found is None and "name" not in values and not row.troubles:
            row.trouble("name", "this customer is new and has no name; give one.")
        planned.append(_one(row, key, found, known) if not row.troubles else wrong(row, key))
    return planned


def _one(row: Row, key: str, found: Any, known: _Known) -> Planned:
    number = row.values.get("number", "")
    wanted = {name: row.values.get(name) for name in TITLES}
    if found is None:
        changes = [[TITLES[name], "", spoken(value)] for name, value in wanted.items() if value is not None]
        return Planned(row.line, Verdict.NEW, key, changes, act=(None, wanted, number))
    new = differing(found, wanted)
    changes = [[TITLES[name], spoken(getattr(found, name)), spoken(value)] for name, value in new.items()]
    adds = number if number and number not in known.by_number else ""
    if adds:
        changes.append(["customer number", "nothing", adds])
    verdict = Verdict.CHANGE if changes else Verdict.SAME
    return Planned(row.line, verdict, key, changes, act=(found, new, adds))


def write(studio: Studio, planned: Sequence[Planned], *, at: datetime) -> list[ImportMade]:
    """Write what was planned; needs a plan without an error."""
    fresh: list[tuple[int, Customer]] = []
    changed: list[Change] = []
    numbers: list[tuple[int, str, str, Any]] = []
    for item in planned:
        if item.verdict == Verdict.SAME:
            continue
        found, values, number = item.act
        if found is None:
            found = _new(studio, values, at)
            fresh.append((item.line, found))
        elif values:
            changed.append(_change(item.line, found, values))
        if number:
            numbers.append((item.line, "customer", number, found))
    return [*insert(fresh), *update(Customer, changed), *new_keys(studio, numbers)]


def _new(studio: Studio, values: dict[str, Any], at: datetime) -> Customer:
    said = {name: value for name, value in values.items() if value is not None}
    start = {"language": studio.language, "zone": studio.zone, "since": studio.day(at)}
    return Customer(studio=studio, **(start | said))


def _change(line: int, found: Any, values: dict[str, Any]) -> Change:
    new, before = dict(values), {name: getattr(found, name) for name in values}
    if "email" in values and found.user_id is not None:
        # As in `change_customer`: whoever reads the old mailbox no longer signs in as this customer.
        new["user_id"], before["user_id"] = None, found.user_id
    return Change(line, found.pk, new, before)
