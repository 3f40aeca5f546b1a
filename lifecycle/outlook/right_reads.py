"""Are we right: forecasts held against looks, reminders against none, learned lives against labels; to read.

Counts are made by the database; the number of queries does not grow with the rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from itertools import pairwise
from typing import Any, Final

from django.db.models import Avg, Case, Count, IntegerField, Min, Q, QuerySet, Value, When

from lifecycle.care.worklist import task_title
from lifecycle.models import Assessment, ForecastCheck, LearnedLife, ReminderTrial, Studio
from lifecycle.outlook.checking import LAST, LEADS
from lifecycle.outlook.intervals import Difference, Share, difference, wilson
from lifecycle.outlook.look import END, TIRED
from lifecycle.wear.types import Band

BINS: Final = (0.0, 0.2, 0.4, 0.6, 0.8, 1.0)
PREDICTED: Final = 0.5  # forecast to have happened: the even chance or more
PER_PAGE: Final = 50
GROUPS: Final[Mapping[str, tuple[str, str]]] = {
    "product": ("product", "product__name"),
    "applicator": ("applicator", "applicator__user__name"),
    "site": ("site", "site__name"),
}
NOBODY: Final = "not on record"


@dataclass(frozen=True, slots=True)
class CheckRow:
    """One group: of those forecast to be so far by the day of the look, how many were; of the others, how many were
    all the same. `key`: the group's id, None where nothing is on record. `expected`: the sum of the chances."""

    key: int | None
    name: str
    hit: Share
    missed: Share
    expected: float


@dataclass(frozen=True, slots=True)
class BinRow:
    """Forecasts of like chance: their mean chance, and the share that came true."""

    number: int
    low: float
    high: float
    mean: float | None
    seen: Share

    @property
    def agrees(self) -> bool | None:
        """Whether the mean chance lies in the interval of the share; None without a look."""
        return None if self.mean is None else self.seen.low <= self.mean <= self.seen.high


@dataclass(frozen=True, slots=True)
class Calibration:
    """All about one state, "tired" or "end"."""

    what: str
    whole: CheckRow
    bins: tuple[BinRow, ...]
    groups: Mapping[str, tuple[CheckRow, ...]]


@dataclass(frozen=True, slots=True)
class EffectRow:
    """Windows of one task ("" for all): who came after a reminder, who came while there had been none."""

    task: str
    title: str
    found: Difference


@dataclass(frozen=True, slots=True)
class LearnedRow:
    """A product at a site: its median life by label and as learned here, months; `off`: outside of the label."""

    product_id: int
    product: str
    site_id: int
    site: str
    label: float
    median: Band
    vehicles: int
    ended: int
    excluded: int
    mark: str
    says: str

    @property
    def off(self) -> str:
        """What the learned range says of the label."""
        if self.median.p90 < self.label:
            return "shorter than the label"
        return "longer than the label" if self.median.p10 > self.label else "cannot tell apart"


@dataclass(frozen=True, slots=True)
class RightView:
    """The whole page. `since`: the first forecast that is kept; None where there is none."""

    lead: str
    since: date | None
    looks: int
    calibrations: tuple[Calibration, ...]
    effects: tuple[EffectRow, ...]
    learned: tuple[LearnedRow, ...]


def are_we_right(studio: Studio, *, lead: str = LAST) -> RightView:
    """Everything on the page.

    Args:
        lead: "last" takes the last forecast before each look, "early" the last one 90 days or more before it.
    """
    lead = lead if lead in LEADS else LAST
    checks = ForecastCheck.objects.of(studio).filter(lead=lead)
    return RightView(
        lead=lead,
        since=Assessment.objects.of(studio).aggregate(since=Min("as_of"))["since"],
        looks=checks.values("inspection").distinct().count(),
        calibrations=tuple(_calibration(checks.filter(what=what), what) for what in (TIRED, END)),
        effects=_effects(studio),
        learned=_learned(studio),
    )


def _counted() -> dict[str, Any]:
    predicted = Q(chance__gte=PREDICTED)
    return {
        "said": Count("pk", filter=predicted), "hit": Count("pk", filter=predicted & Q(seen=True)),
        "not_said": Count("pk", filter=~predicted), "missed": Count("pk", filter=~predicted & Q(seen=True)),
        "mean": Avg("chance"),
    }  # fmt: skip


def _row(found: Mapping[str, Any], key: int | None, name: str) -> CheckRow:
    total = found["said"] + found["not_said"]
    return CheckRow(
        key, name, wilson(found["hit"], found["said"]), wilson(found["missed"], found["not_said"]),
        (found["mean"] or 0.0) * total,
    )  # fmt: skip


def _calibration(checks: QuerySet[Any], what: str) -> Calibration:
    groups = {}
    for group, (key, name) in GROUPS.items():
        rows = checks.order_by().values(key, name).annotate(**_counted())
        made = (_row(row, row[key], row[name] or NOBODY) for row in rows)
        groups[group] = tuple(sorted(made, key=lambda one: (one.key is None, one.name)))
    return Calibration(what, _row(checks.aggregate(**_counted()), None, "all looks"), _bins(checks), groups)


def _bins(checks: QuerySet[Any]) -> tuple[BinRow, ...]:
    """The reliability of the forecasts in five bins of their chance."""
    number = Case(
        *(When(chance__lt=edge, then=Value(index)) for index, edge in enumerate(BINS[1:-1])),
        default=Value(len(BINS) - 2), output_field=IntegerField(),
    )  # fmt: skip
    rows = checks.order_by().annotate(bin=number).values("bin")
    found = {
        row["bin"]: row for row in rows.annotate(n=Count("pk"), k=Count("pk", filter=Q(seen=True)), mean=Avg("chance"))
    }
    none = {"k": 0, "n": 0, "mean": None}
    return tuple(
        BinRow(index, low, high, found.get(index, none)["mean"],
               wilson(found.get(index, none)["k"], found.get(index, none)["n"]))
        for index, (low, high) in enumerate(pairwise(BINS))
    )  # fmt: skip


def _effects(studio: Studio) -> tuple[EffectRow, ...]:
    rows = (
        ReminderTrial.objects.of(studio).order_by().values("task", "reminded")
        .annotate(n=Count("pk"), k=Count("pk", filter=Q(came=True)))
    )  # fmt: skip
    counts: dict[str, dict[bool, tuple[int, int]]] = {}
    for row in rows:
        counts.setdefault(row["task"], {})[row["reminded"]] = (row["k"], row["n"])
    made = [_effect("", "all care", list(counts.values()))]
    made += [_effect(task, task_title(task), [found]) for task, found in sorted(counts.items())]
    return tuple(made)


def _effect(task: str, title: str, found: Sequence[Mapping[bool, tuple[int, int]]]) -> EffectRow:
    def share(reminded: bool) -> Share:
        pairs = [one.get(reminded, (0, 0)) for one in found]
        return wilson(sum(k for k, _n in pairs), sum(n for _k, n in pairs))

    return EffectRow(task, title, difference(share(True), share(False)))


def _learned(studio: Studio) -> tuple[LearnedRow, ...]:
    rows = (
        LearnedLife.objects.of(studio).select_related("product", "site").order_by("product__name", "site__name", "pk")
    )
    return tuple(
        LearnedRow(
            product_id=row.product_id, product=str(row.product), site_id=row.site_id, site=row.site.name,
            label=row.label, median=Band(row.median_low, row.median_mid, row.median_high), vehicles=row.vehicles,
            ended=row.ended, excluded=row.excluded, mark=row.mark, says=row.says,
        )
        for row in rows
    )  # fmt: skip


@dataclass(frozen=True, slots=True)
class CheckLine:
    """One look beside the forecast before it."""

    vehicle_id: int
    vehicle: str
    plate: str
    surface: str
    product: str
    applicator: str
    site: str
    what: str
    forecast_on: date
    seen_on: date
    chance: float
    seen: bool


@dataclass(frozen=True, slots=True)
class TrialLine:
    """One window of the comparison."""

    vehicle_id: int
    vehicle: str
    plate: str
    title: str
    start: date
    reminded: bool
    came: bool


@dataclass(frozen=True, slots=True)
class Lines:
    """A page of the rows behind a figure."""

    rows: tuple[CheckLine, ...] | tuple[TrialLine, ...]
    total: int
    number: int
    pages: int


def _page(found: QuerySet[Any], number: int, per_page: int) -> tuple[QuerySet[Any], int, int, int]:
    total = found.count()
    pages = max(1, -(-total // per_page))
    number = min(max(number, 1), pages)
    return found[(number - 1) * per_page : number * per_page], total, number, pages


@dataclass(frozen=True, slots=True)
class Wanted:
    """Which looks: `group` and `key` name a product, applicator or site (`key` 0: not on record); `number` a bin;
    `predicted` those forecast to have happened, or not. Nothing given: all."""

    lead: str = LAST
    what: str = ""
    group: str = ""
    key: int = 0
    number: int | None = None
    predicted: bool | None = None
    site: int | None = None


def check_lines(studio: Studio, wanted: Wanted, *, number: int = 1, per_page: int = PER_PAGE) -> Lines:
    """The looks behind a figure, the latest first."""
    found = ForecastCheck.objects.of(studio).filter(lead=wanted.lead)
    if wanted.what:
        found = found.filter(what=wanted.what)
    if wanted.group in GROUPS:
        found = found.filter(**{GROUPS[wanted.group][0]: wanted.key or None})
    if wanted.site:
        found = found.filter(site=wanted.site)
    if wanted.number is not None and 0 <= wanted.number < len(BINS) - 1:
        found = found.filter(chance__gte=BINS[wanted.number])
        if wanted.number < len(BINS) - 2:
            found = found.filter(chance__lt=BINS[wanted.number + 1])
    if wanted.predicted is not None:
        found = found.filter(chance__gte=PREDICTED) if wanted.predicted else found.filter(chance__lt=PREDICTED)
    rows = found.select_related("vehicle", "layer__surface", "product", "applicator__user", "site")
    some, total, number, pages = _page(rows.order_by("-seen_on", "-id"), number, per_page)
    return Lines(tuple(_check_line(row) for row in some), total, number, pages)


def _check_line(row: Any) -> CheckLine:
    return CheckLine(
        vehicle_id=row.vehicle_id, vehicle=row.vehicle.description, plate=row.vehicle.plate,
        surface=str(row.layer.surface), product=str(row.product) if row.product else NOBODY,
        applicator=str(row.applicator) if row.applicator else NOBODY, site=row.site.name, what=row.what,
        forecast_on=row.forecast_on, seen_on=row.seen_on, chance=row.chance, seen=row.seen,
    )  # fmt: skip


def trial_lines(
    studio: Studio, *, task: str = "", reminded: bool | None = None, number: int = 1, per_page: int = PER_PAGE
) -> Lines:
    """The windows behind the comparison, the latest first."""
    found = ReminderTrial.objects.of(studio).select_related("vehicle")
    if task:
        found = found.filter(task=task)
    if reminded is not None:
        found = found.filter(reminded=reminded)
    some, total, number, pages = _page(found.order_by("-start", "-id"), number, per_page)
    rows = tuple(
        TrialLine(
            row.vehicle_id, row.vehicle.description, row.vehicle.plate, task_title(row.task), row.start, row.reminded,
            row.came,
        )
        for row in some
    )  # fmt: skip
    return Lines(rows, total, number, pages)
