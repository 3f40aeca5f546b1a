"""The named customers with their stories, and the others from one table, as plans."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import replace
from datetime import date, timedelta
from itertools import groupby
from typing import Any

from lifecycle.management.demo.plans import (
    LOOKED_AT,
    MONTH,
    Book,
    CustomerPlan,
    LookPlan,
    VehiclePlan,
    every,
    habits_of,
    layers_of,
    look_of,
    read_json,
    read_rows,
    stored_of,
    surfaces_of,
)
from lifecycle.management.demo.when import awake

VEHICLE_WORDS = ("plate", "description", "body", "size", "colour", "paint", "powertrain")
CONSENTS = {
    "service promotion": (("service", True), ("promotion", True)),
    "service": (("service", True),),
    "unknown": (),
    "withdrawn": (("service", True), ("promotion", True), ("service", False), ("promotion", False)),
    "service, promotion withdrawn": (("service", True), ("promotion", True), ("promotion", False)),
}


def customers(book: Book) -> list[CustomerPlan]:
    """Everybody, the named ones first."""
    return [*(_named(book, row) for row in read_json("stories.json")), *_others(book)]


def _named(book: Book, row: Mapping[str, Any]) -> CustomerPlan:
    vehicles = [plan for one in row["vehicles"] for plan in _vehicles(book, one, row["site"])]
    return CustomerPlan(
        name=row["name"], email=row["email"], phone=row["phone"], site=row["site"], since=book.when(row["since"]),
        fleet=row.get("fleet", False), consents=tuple((purpose, True) for purpose in row["consents"]),
        vehicles=tuple(vehicles), complaint=row.get("complaint"), sold_to=row.get("sold_to"),
        asks=row.get("asks"),
    )  # fmt: skip


def _vehicles(book: Book, row: Mapping[str, Any], site: str) -> list[VehiclePlan]:
    """One vehicle, or a row of like ones that differ in number, age and rate."""
    if "count" not in row:
        return [_vehicle(book, row, site)]
    made = []
    for index in range(row["count"]):
        words = {name: row[name].format(n=index + 1) for name in ("plate", "description")}
        own = {"coated": row["coated"].format(age=row["ages"][index]), "kappa": row["kappas"][index]}
        made.append(_vehicle(book, {**row, **words, **own}, site))
    return made


def _vehicle(book: Book, row: Mapping[str, Any], site: str) -> VehiclePlan:
    draw = random.Random(f"demo {row['plate']} plan")  # noqa: S311 - invented history, nothing secret
    seen = book.when(row["seen"])
    coated = max(book.when(row["coated"]), seen)
    surfaces = surfaces_of(book, row["outfit"], row["body"])
    stored = stored_of(book, row, seen)
    if "decontaminated" in row:
        cleaned = sorted({awake(book.when(text), stored) for text in row["decontaminated"]})
    else:
        cleaned = _cleanings(book, row.get("decontaminate_months", 0), coated, draw)
    told = row.get("layer_dates", {})
    layers = layers_of(book, row["outfit"], surfaces, coated, told=told, visits=cleaned, draw=draw)
    if "inspections" in row:
        looks = [look_of(book, one, stored) for one in row["inspections"]]
    else:
        looks = _looks(book, coated, cleaned, draw, water_test=row.get("water_test", False))
    return VehiclePlan(
        words={"paint": "clear_coat", "powertrain": "combustion"} | {n: row[n] for n in VEHICLE_WORDS if n in row},
        site=site,
        seen=seen,
        coated=coated,
        kappa=float(row["kappa"]),
        surfaces=surfaces,
        layers=tuple(replace(layer, days=tuple(sorted({awake(d, stored) for d in layer.days}))) for layer in layers),
        habits=habits_of(book, row["habits"]),
        stored=tuple(stored),
        decontaminated=tuple(cleaned),
        washed=tuple(_washes(book, row["studio_wash_weeks"], seen, cleaned, draw)),
        looks=tuple(looks),
        events=row.get("events", ()),
        corrections=row.get("corrections", ()),
        correction_plan=row.get("correction_plan"),
        film_um=row.get("thickness_um") or {code: draw.gauss(116, 7) for code in LOOKED_AT if code in surfaces},
        contract=row.get("contract"),
        offers=row.get("offers"),
        booked_in_days=row.get("booked_in_days"),
    )


def _cleanings(book: Book, months: float, coated: date, draw: random.Random) -> list[date]:
    """The decontamination before the coat, and then about every so many months."""
    later = every(coated, months, until=book.today - timedelta(days=9), draw=draw) if months else []
    return [coated, *later]


def _washes(book: Book, weeks: float, seen: date, cleaned: list[date], draw: random.Random) -> list[date]:
    """Studio washes about every so many weeks, none within ten days of a decontamination."""
    if not weeks:
        return []
    days = every(seen, weeks * 7 / MONTH, until=book.today - timedelta(days=4), draw=draw, spread=0.3)
    return [day for day in days if all(abs((day - other).days) > 10 for other in cleaned)]


def _looks(book: Book, coated: date, cleaned: list[date], draw: random.Random, *, water_test: bool) -> list[LookPlan]:
    """The paint measured before the coat, a first check, a look at each decontamination, a water test at home."""
    plain = LookPlan(
        on=coated, clean="decontaminated", read=("thickness",), values={}, findings=(), by="studio", note=""
    )
    looks = [replace(plain, note="Paint measured before the coat.")]
    first = coated + timedelta(days=draw.randint(20, 40))
    if first < book.today:
        looks.append(replace(plain, on=first, clean="washed", read=("beading",), note="First check."))
    has_goniometer = draw.random() < 0.4
    for day in cleaned[1:]:
        read = ("beading", "angle") if has_goniometer else ("beading",)
        looks.append(replace(plain, on=day, read=read, note="Looked at on clean paint."))
    if water_test:
        day = book.today - timedelta(days=draw.randint(8, 70))
        if day > coated + timedelta(days=30):
            looks.append(
                replace(plain, on=day, clean="washed", read=("customer",), by="customer", note="Water test at home.")
            )
    return looks


def _others(book: Book) -> list[CustomerPlan]:
    made = []
    for (name, email), rows in groupby(read_rows("crowd.csv"), key=lambda row: (row["name"], row["email"])):
        vehicles = list(rows)
        plans = [_crowd_vehicle(book, row) for row in vehicles]
        made.append(
            CustomerPlan(
                name=name,
                email=email,
                phone="",
                site=vehicles[0]["site"],
                since=min(plan.seen for plan in plans),
                fleet=False,
                consents=CONSENTS[vehicles[0]["consents"]],
                vehicles=tuple(plans),
            )
        )
    return made


def _crowd_vehicle(book: Book, row: Mapping[str, str]) -> VehiclePlan:
    seen = f"-{row['seen_months']}m"
    habit = {name: row[name] for name in ("parking", "wash_method", "wash_ph", "road_salt", "source")}
    numbers = {name: float(row[name]) for name in ("km_per_year", "washes_per_year")}
    given: dict[str, Any] = {
        **{name: row[name] for name in (*VEHICLE_WORDS, "outfit", "kappa")},
        "seen": seen,
        "coated": f"-{row['coated_months']}m",
        "habits": [] if row["source"] == "defaulted" else [
            {"from": seen, **habit, **numbers, "trees_birds": int(row["trees_birds"])}
        ],
        "decontaminate_months": float(row["decontaminate_months"]),
        "studio_wash_weeks": float(row["studio_wash_weeks"]),
        "water_test": row["water_test"] == "yes",
        "booked_in_days": int(row["booked_in_days"]) if row["booked_in_days"] else None,
    }  # fmt: skip
    if row["contract"] == "yes":
        given["contract"] = {"title": "yearly look at the coat", "every_months": 12, "tolerance_days": 30}
    return _vehicle(book, given, row["site"])
