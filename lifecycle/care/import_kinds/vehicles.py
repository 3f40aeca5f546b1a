"""Vehicles from a list, each with its keeper. A vehicle that changed hands is not passed on by a list."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import datetime
from typing import Any, Final

from lifecycle.care.imports.rows import Row
from lifecycle.models import Customer, ImportMade, Keeper, Site, Studio, Vehicle, Verdict

from .base import (
    Change,
    OnceOnly,
    Planned,
    ask_for_assessment,
    differing,
    insert,
    keys_of,
    new_keys,
    spoken,
    update,
    wrong,
)

TITLES: Final = {
    "site_id": "site", "plate": "plate", "description": "description", "body": "body", "size": "size",
    "colour": "colour", "paint": "paint", "powertrain": "powertrain",
}  # fmt: skip
NEEDED: Final = ("plate", "description", "body", "size", "colour")
SCHEMES: Final = (("vehicle", "number", "vehicle number"), ("vin", "vin", "VIN"))


def plain_plate(plate: str) -> str:
    return " ".join(plate.upper().split())


class KnownVehicles:
    """The vehicles on record, found by the number of another list, by VIN, or by plate."""

    def __init__(self, studio: Studio) -> None:
        self.by_id: dict[int, Any] = {row.pk: row for row in Vehicle.objects.of(studio)}
        live = [row for row in self.by_id.values() if row.retired_on is None]
        self.by_plate = {plain_plate(row.plate): row for row in live}
        self.keys = {scheme: keys_of(studio, scheme) for scheme, _, _ in SCHEMES}
        self.held = {(scheme, pk): key for scheme, keys in self.keys.items() for key, pk in keys.items()}

    def find(self, row: Row, names: tuple[str, str, str]) -> Any:
        """The vehicle that a row is about, by the fields of number, VIN and plate; contradictions are troubles."""
        number, vin, plate = names
        found = [
            (name, self.by_id.get(self.keys[scheme].get(row.values.get(name, ""), 0)))
            for scheme, name in (("vehicle", number), ("vin", vin))
        ]
        if plate in row.values:
            found.append((plate, self.by_plate.get(plain_plate(row.values[plate]))))
        hits = [(name, one) for name, one in found if one is not None]
        for name, one in hits[1:]:
            if one.pk != hits[0][1].pk:
                row.trouble(name, f"is of another vehicle on record, {one.plate}; mend one of the two.")
                return None
        return hits[0][1] if hits else None


class _Keepers:
    def __init__(self, studio: Studio) -> None:
        people = Customer.objects.of(studio).filter(erased_at=None)
        self.by_email = {email.lower(): pk for pk, email in people.values_list("pk", "email") if email}
        self.by_number = keys_of(studio, "customer")
        self.now = dict(Keeper.objects.of(studio).filter(end=None).values_list("vehicle_id", "customer_id"))

    def of(self, row: Row) -> int | None:
        """The keeper that a row names; troubles where there is no such customer, or two different ones."""
        found = set()
        for name, known in (("keeper_number", self.by_number), ("keeper_email", self.by_email)):
            said = row.values.get(name)
            if said is None:
                continue
            if said not in known:
                row.trouble(name, "no customer is on record by that; import or register the customers first.")
            else:
                found.add(known[said])
        if len(found) > 1:
            row.trouble("keeper_email", "is another customer than the number says; mend one of the two.")
        return found.pop() if len(found) == 1 else None


def plan(studio: Studio, rows: Iterable[Row], *, at: datetime) -> list[Planned]:
    """What each row would do; a handful of queries, whatever their number."""
    known, keepers, once = KnownVehicles(studio), _Keepers(studio), OnceOnly()
    sites = {name.casefold(): pk for pk, name in Site.objects.of(studio).values_list("pk", "name")}
    names = dict(Site.objects.of(studio).values_list("pk", "name"))
    today, planned = studio.day(at), []
    for row in rows:
        values = row.values
        if "plate" in values:
            values["plate"] = plain_plate(values["plate"])
        key = _key(row)
        if not key and not row.troubles:
            row.trouble("plate", "this row has no vehicle number, VIN or plate; give one of them.")
        for name, what in (("number", "vehicle number"), ("vin", "VIN"), ("plate", "plate")):
            if name in values:
                once.seen(row, name, (name, values[name]), what)
        if "first_seen" in values and values["first_seen"] > today:
            row.trouble("first_seen", "lies in the future; give the day on which it happened.")
        found = known.find(row, ("number", "vin", "plate"))
        site_id, keeper = _site(row, sites), keepers.of(row)
        wanted = {name: values.get(name) for name in TITLES} | {"site_id": site_id}
        if found is None and not row.troubles:
            _needs(row, sites, keeper)
            wanted["site_id"] = site_id or (next(iter(sites.values())) if len(sites) == 1 else None)
        elif found is not None:
            _may_change(row, found, keeper, keepers, known)
        if row.troubles:
            planned.append(wrong(row, key))
        elif found is None:
            planned.append(_new(row, key, wanted, keeper, names))
        else:
            planned.append(_changed(row, found, differing(found, wanted), known, names))
    return planned


def _key(row: Row) -> str:
    values = row.values
    return values.get("number") or values.get("vin") or values.get("plate") or ""


def _site(row: Row, sites: dict[str, int]) -> int | None:
    said = row.values.get("site")
    if said is None:
        return None
    if said.casefold() not in sites:
        row.trouble("site", "is no site of this studio; write its name as it stands under Sites.")
    return sites.get(said.casefold())


def _needs(row: Row, sites: dict[str, int], keeper: int | None) -> None:
    for name in NEEDED:
        if name not in row.values:
            row.trouble(name, f"this vehicle is new and has no {TITLES[name]}; give one.")
    if keeper is None:
        row.trouble("keeper_number", "this vehicle is new and nobody keeps it; give the keeper’s number or e-mail.")
    if "site" not in row.values and len(sites) != 1:
        row.trouble("site", "this vehicle is new and the studio has several sites; say which." if sites
                    else "the studio has no site yet; enter one first.")  # fmt: skip


def _may_change(row: Row, found: Any, keeper: int | None, keepers: _Keepers, known: KnownVehicles) -> None:
    if found.retired_on is not None:
        name = next(name for name in ("number", "vin", "plate") if name in row.values)
        row.trouble(name, f"this vehicle left on {found.retired_on}; let it come back first.")
    elif keeper is not None and keepers.now.get(found.pk) != keeper:
        said = "keeper_number" if "keeper_number" in row.values else "keeper_email"
        row.trouble(said, "somebody else keeps this vehicle on record; transfer it on its page, or empty this cell.")
    for scheme, name, what in SCHEMES:
        other = known.held.get((scheme, found.pk))
        if name in row.values and other is not None and row.values[name] not in known.keys[scheme]:
            row.trouble(name, f"this vehicle is on record with the {what} {other}; mend one of the two.")


def _new(row: Row, key: str, wanted: dict[str, Any], keeper: int | None, sites: dict[int, str]) -> Planned:
    said = {**wanted, "site_id": sites.get(wanted["site_id"])}
    changes = [[TITLES[name], "", spoken(value)] for name, value in said.items() if value is not None]
    keys = [(scheme, row.values[name]) for scheme, name, _ in SCHEMES if name in row.values]
    changes += [[what, "", row.values[name]] for _, name, what in SCHEMES if name in row.values]
    return Planned(row.line, Verdict.NEW, key, changes, act=(None, wanted, keys, keeper, row.values.get("first_seen")))


def _changed(row: Row, found: Any, new: dict[str, Any], known: KnownVehicles, sites: dict[int, str]) -> Planned:
    changes = [
        ["site", sites[found.site_id], sites[value]] if name == "site_id"
        else [TITLES[name], spoken(getattr(found, name)), spoken(value)]
        for name, value in new.items()
    ]  # fmt: skip
    keys = []
    for scheme, name, what in SCHEMES:
        if name in row.values and row.values[name] not in known.keys[scheme]:
            keys.append((scheme, row.values[name]))
            changes.append([what, "nothing", row.values[name]])
    verdict = Verdict.CHANGE if changes else Verdict.SAME
    return Planned(row.line, verdict, _key(row), changes, act=(found, new, keys, None, None))


def write(studio: Studio, planned: Sequence[Planned], *, at: datetime) -> list[ImportMade]:
    """Write what was planned; needs a plan without an error."""
    fresh: list[tuple[int, Vehicle]] = []
    changed: list[Change] = []
    numbers: list[tuple[int, str, str, Any]] = []
    kept: list[tuple[int, Vehicle, int]] = []
    for item in planned:
        if item.verdict == Verdict.SAME:
            continue
        found, values, keys, keeper, first_seen = item.act
        if found is None:
            said = {name: value for name, value in values.items() if value is not None}
            found = Vehicle(studio=studio, first_seen=first_seen or studio.day(at), **said)
            fresh.append((item.line, found))
            kept.append((item.line, found, keeper))
        elif values:
            changed.append(Change(item.line, found.pk, values, {name: getattr(found, name) for name in values}))
        numbers += [(item.line, scheme, key, found) for scheme, key in keys]
    made = [*insert(fresh), *update(Vehicle, changed)]
    made += insert([
        (line, Keeper(studio=studio, vehicle=vehicle, customer_id=keeper, start=vehicle.first_seen))
        for line, vehicle, keeper in kept
    ])  # fmt: skip
    ask_for_assessment(change.pk for change in changed)
    return [*made, *new_keys(studio, numbers)]
