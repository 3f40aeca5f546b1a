"""What goes out and comes in, as types: the OpenAPI document is made from these.

Days are ISO 8601 dates, times ISO 8601 with zone, money is a text with two decimals in the studio's currency.
"""

from __future__ import annotations

import re
from datetime import date, datetime
from typing import Annotated, Any, Final, Generic, Literal, TypeVar

from ninja import Query, Schema
from pydantic import AfterValidator, BeforeValidator, ConfigDict, Field

from lifecycle.care.directory import Page

MOST_ID: Final = 2**53 - 1  # what every JSON reader holds exactly
Row = TypeVar("Row")
ISO_DAY: Final = re.compile(r"\d{4}-\d{2}-\d{2}")


def _iso_day(value: Any) -> Any:
    """Nothing but YYYY-MM-DD: a number is no day here, though it could be read as seconds."""
    if isinstance(value, date) or (isinstance(value, str) and ISO_DAY.fullmatch(value)):
        return value
    raise ValueError("write the day like 2026-03-02")


def _no_control(value: str) -> str:
    if any(ord(sign) < 32 or ord(sign) == 127 for sign in value):
        raise ValueError("holds a control character")
    return value


Id = Annotated[int, Field(ge=1, le=MOST_ID)]
BodyId = Annotated[int, Field(ge=1, le=MOST_ID, strict=True)]
Day = Annotated[date, BeforeValidator(_iso_day)]
# The pattern stands in the document, the validator holds what a pattern of JSON Schema says loosely.
PRINTABLE: Final = r"^[^\x00-\x1f\x7f]*$"
NOT_BLANK: Final = r"^[^\x00-\x1f\x7f]*[^\s\x00-\x1f\x7f][^\x00-\x1f\x7f]*$"
Line = Annotated[str, AfterValidator(_no_control)]
Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]


def line(most: int, *, least: int = 0, says: str = "") -> Any:
    """One line of text in a body; needed where it must not be empty.

    Args:
        least, most: characters.  says: what it is for.
    """
    if least:
        return Field(..., min_length=least, max_length=most, pattern=NOT_BLANK, description=says)
    return Field("", max_length=most, pattern=PRINTABLE, description=says)


class Problem(Schema):
    """A problem as RFC 9457 has it. `where`: the header, parameter or field; `how`: what to do about it."""

    type: str
    title: str
    status: int
    detail: str
    where: str
    how: str


class Listing(Schema, Generic[Row]):
    """One page of a list; beyond `pages` the rows are empty."""

    rows: list[Row]
    total: int
    page: int
    pages: int


class Paging(Schema):
    """Which page of a list."""

    page: int = Field(1, ge=1, le=10_000, description="The page, from 1.")
    per_page: int = Field(50, ge=1, le=100, description="Rows of a page.")


PagingQuery = Query[Paging]


class Surface(Schema):
    id: int
    code: str
    orientation: str
    substrate: str
    finish: str
    refinished_on: date | None
    removed_on: date | None


class Vehicle(Schema):
    """A vehicle. `keeper_id`: the customer who keeps it; `live_dues`: care windows that are open or ahead."""

    id: int
    plate: str
    description: str
    body: str
    size: str
    colour: str
    paint: str
    powertrain: str
    site_id: int
    keeper_id: int | None
    first_seen: date
    left_on: date | None
    live_dues: int


class WholeVehicle(Vehicle):
    """A vehicle with its surfaces."""

    surfaces: list[Surface]


class Band(Schema):
    """A 10-50-90 % range."""

    p10: float
    p50: float
    p90: float


class DayBand(Schema):
    """A 10-50-90 % range of days."""

    p10: date
    p50: date
    p90: date


class Layer(Schema):
    """A layer. `against`: codes of rules that it was recorded against; `stage` is empty without a forecast;
    `function_left` is a share of 1."""

    id: int
    surface_id: int
    surface: str
    kind: str
    product_id: int | None
    product: str
    applied: date
    coats: int
    batch: str
    ended: date | None
    ended_why: str
    against: list[str]
    stage: str
    function_left: Band | None
    end_on: DayBand | None


class Event(Schema):
    """A wash or something that happened; `surface_id` null: to the whole vehicle."""

    id: int
    vehicle_id: int
    kind: str
    on: date
    by: str
    surface_id: int | None
    dwell_h: float | None
    air_c: float | None
    note: str


class Due(Schema):
    """A live care window. `contract_on`: a contract names this day; `state`: open, asked or booked."""

    id: int
    vehicle_id: int
    plate: str
    task: str
    title: str
    surfaces: list[str]
    earliest: date
    ideal: date
    latest: date
    contract_on: date | None
    reason: str
    why: str
    state: str
    booked_on: date | None


class Offer(Schema):
    """Advice that waits for a word, or one piece of advice by its id. `answers`: what can be recorded now."""

    id: int
    vehicle_id: int
    title: str
    price_low: str
    price_high: str
    currency: str
    state: str
    since: date
    until: date | None
    answers: list[str]


class VehicleList(Listing[Vehicle]):
    """One page of vehicles."""


class LayerList(Listing[Layer]):
    """One page of layers."""


class EventList(Listing[Event]):
    """One page of events."""


class DueList(Listing[Due]):
    """One page of care windows."""


class OfferList(Listing[Offer]):
    """One page of offers."""


class Money(Schema):
    """A 10-50-90 % range of money, each a text with two decimals."""

    p10: str
    p50: str
    p90: str


class Month(Schema):
    """One month: money by how sure it is, hours of work, hours that the sites have."""

    first: date
    booked: Money
    likely: Money
    possible: Money
    total: Money
    hours: Band
    capacity_h: float


class Outlook(Schema):
    """Twelve months, this one included, as they stood on the day `today`. `left_out`: what the figures do not hold, in
    words."""

    today: date
    prepared_at: datetime | None
    currency: str
    months: list[Month]
    left_out: list[str]


class Made(Schema):
    """What a deed made, and where it can be read."""

    id: int
    href: str


class Warned(Schema):
    """Something that speaks against a layer, which was recorded all the same."""

    code: str
    says: str


class MadeLayer(Made):
    """The layer, and what speaks against it though no rule forbids it."""

    warnings: list[Warned]


class Closed(Schema):
    """A body that holds nothing but what is named."""

    model_config = ConfigDict(extra="forbid")


When = Literal["now", "soon", "all"]


def listing(page: Page[Any]) -> dict[str, Any]:
    """A page of a read in the shape of `Listing`."""
    return {"rows": page.rows, "total": page.total, "page": page.number, "pages": page.pages}
