"""What the demo's files say, read into frozen dataclasses with all days worked out. Nothing is written here."""

from __future__ import annotations

import csv
import json
import random
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from pathlib import Path
from typing import Any

from lifecycle.management.demo.when import awake, when, winters
from lifecycle.wear.types import Place

FOLDER = Path(__file__).resolve().parents[3] / "fixtures" / "demo"
MONTH = 30.4375
LOOKED_AT = ("bonnet", "roof", "boot", "doors_left", "doors_right")  # where the studio measures paint


@dataclass(frozen=True, slots=True)
class HabitPlan:
    start: date
    words: Mapping[str, Any]
    place: Place | None


@dataclass(frozen=True, slots=True)
class LayerPlan:
    """One layer on some surfaces on its days, first to last; each day's layer ends with the next."""

    product: str
    kind: str
    surfaces: tuple[str, ...]
    days: tuple[date, ...]


@dataclass(frozen=True, slots=True)
class LookPlan:
    """One inspection. `read` names what is simulated, `values` what is told."""

    on: date
    clean: str
    read: tuple[str, ...]
    values: Mapping[str, Mapping[str, float]]
    findings: Sequence[Mapping[str, Any]]
    by: str
    note: str


@dataclass(frozen=True, slots=True)
class VehiclePlan:
    """One vehicle with its whole history."""

    words: Mapping[str, Any]
    site: str
    seen: date
    coated: date
    kappa: float
    surfaces: tuple[str, ...]
    layers: tuple[LayerPlan, ...]
    habits: tuple[HabitPlan, ...]
    stored: tuple[tuple[date, date], ...]
    decontaminated: tuple[date, ...]
    washed: tuple[date, ...]
    looks: tuple[LookPlan, ...]
    events: Sequence[Mapping[str, Any]]
    corrections: Sequence[Mapping[str, Any]]
    correction_plan: Mapping[str, Any] | None
    film_um: Mapping[str, float]
    contract: Mapping[str, Any] | None
    offers: Sequence[Sequence[str]] | None
    booked_in_days: int | None

    @property
    def plate(self) -> str:
        return str(self.words["plate"])

    def random(self, what: str) -> random.Random:
        """Draws that belong to this vehicle alone, so that one vehicle's change does not shift another's."""
        return random.Random(f"demo {self.plate} {what}")  # noqa: S311 - invented readings, nothing secret


@dataclass(frozen=True, slots=True)
class CustomerPlan:
    name: str
    email: str
    phone: str
    site: str
    since: date
    fleet: bool
    consents: tuple[tuple[str, bool], ...]
    vehicles: tuple[VehiclePlan, ...]
    complaint: Mapping[str, str] | None = None
    sold_to: Mapping[str, Any] | None = None
    asks: Mapping[str, Any] | None = None


def read_json(name: str) -> Any:
    """One of the demo's files."""
    return json.loads((FOLDER / name).read_text(encoding="utf-8"))


def read_rows(name: str) -> list[dict[str, str]]:
    """One of the demo's tables."""
    with (FOLDER / name).open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


@dataclass(frozen=True, slots=True)
class Book:
    """All files of the demo and the day they are read for."""

    today: date
    studio: Mapping[str, Any]
    outfits: Mapping[str, Any]

    def when(self, text: str) -> date:
        return when(text, today=self.today)

    def place(self, given: Any) -> Place | None:
        """A place of its own, or that of another site."""
        if given is None:
            return None
        row = self.studio["sites"][given] if isinstance(given, str) else given
        return Place(lat=row["lat"], lon=row["lon"], height_m=row["height_m"], sea_distance_m=row["sea_distance_m"])

    def kind_of(self, product: str) -> str:
        return next(str(row["kind"]) for row in self.studio["products"] if row["code"] == product)


def open_book(today: date) -> Book:
    """Read what all vehicles share."""
    return Book(today=today, studio=read_json("studio.json"), outfits=read_json("outfits.json"))


def surfaces_of(book: Book, outfit: str, body: str) -> tuple[str, ...]:
    """The surfaces of an outfit as this body has them: a boot or a tailgate, or neither."""
    back = {"saloon": "boot", "coupe": "boot", "roadster": "boot", "pickup": ""}.get(body, "tailgate")
    found = [back if code in ("boot", "tailgate") else code for code in book.outfits["outfits"][outfit]["surfaces"]]
    return tuple(dict.fromkeys(code for code in found if code))


def every(start: date, months: float, *, until: date, draw: random.Random, spread: float = 0.12) -> list[date]:
    """Days about every so many months after a start, up to a day."""
    days, day = list[date](), start
    while True:
        day += timedelta(days=round(months * MONTH * draw.uniform(1 - spread, 1 + spread)))
        if day > until:
            return days
        days.append(day)


def layers_of(
    book: Book,
    outfit: str,
    surfaces: Sequence[str],
    coated: date,
    *,
    told: Mapping[str, Sequence[str]],
    visits: Sequence[date],
    draw: random.Random,
) -> tuple[LayerPlan, ...]:
    """The layers of an outfit: told days, or renewals about as often as the outfit says, with visits where one is near.

    One in five customers lets a renewal slip; what then stands there is old.
    """
    made = []
    for row in book.outfits["outfits"][outfit]["layers"]:
        product = row.get("product", "")
        on = book.outfits["paint"] if row["on"] == "paint" else row["on"]
        if product in told:
            days = sorted({day for day in (book.when(text) for text in told[product]) if day >= coated})
        else:
            first = coated + timedelta(days=round(row.get("after_months", 0) * MONTH))
            until = book.today - timedelta(days=6)
            days = [first] if first <= until else []
            if days and "every_months" in row:
                days += every(first, row["every_months"], until=until, draw=draw)
                if len(days) > 1 and draw.random() < 0.2:
                    days.pop()
            days = sorted({near(day, visits) for day in days})
        codes = tuple(code for code in surfaces if code in on)
        if codes and days:
            made.append(LayerPlan(product, row.get("kind") or book.kind_of(product), codes, tuple(days)))
    return tuple(made)


def near(day: date, visits: Sequence[date], *, within: int = 25) -> date:
    """A visit close to the day, so that one visit serves several tasks; else the day itself."""
    close = [visit for visit in visits if abs((visit - day).days) <= within]
    return min(close, key=lambda visit: abs((visit - day).days)) if close else day


def habits_of(book: Book, rows: Sequence[Mapping[str, Any]]) -> tuple[HabitPlan, ...]:
    """Dated habits; a later row begins where the earlier one ends."""
    return tuple(
        HabitPlan(
            start=book.when(row["from"]),
            words={name: value for name, value in row.items() if name not in ("from", "place")},
            place=book.place(row.get("place")),
        )
        for row in rows
    )


def stored_of(book: Book, row: Mapping[str, Any], seen: date) -> list[tuple[date, date]]:
    """Winters in storage, where the vehicle has them."""
    return winters(since=seen, today=book.today) if row.get("winters_stored") else []


def look_of(book: Book, row: Mapping[str, Any], stored: list[tuple[date, date]]) -> LookPlan:
    """A told inspection."""
    return LookPlan(
        on=awake(book.when(row["on"]), stored), clean=row["clean"], read=tuple(row.get("read", ())),
        values=row.get("values", {}), findings=row.get("findings", ()), by=row.get("by", "studio"),
        note=row.get("note", ""),
    )  # fmt: skip
