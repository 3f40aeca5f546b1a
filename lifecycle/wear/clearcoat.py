"""How much clear coat may still go: a budget with a range, worked on its low end and on the thinnest spot.

A gauge reads the whole film; how much of that is clear is only known as a range by the total (judgement; published
stacks put 35 to 60 µm of clear in 100 to 150 µm). No more than a quarter of it may go, nor more than makers allow in
all (7.5 to 12 µm), less what polishing has taken before. A single correction is thinner than a gauge can see, so past
work is a ledger by estimate, and readings check it: a Kalman filter carries total film, clear coat and what has been
taken (`film_posterior`) over the dated ledger, so that two readings with a job between them speak of the job.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import numpy as np

from lifecycle.wear import normal
from lifecycle.wear.chemistry import layer_figures
from lifecycle.wear.figures import figure, wear_value
from lifecycle.wear.marks import Figure
from lifecycle.wear.stack import FILMS, PAINTED, LiveLayer
from lifecycle.wear.types import Band, ClearCoat, FloatArray, Mark, Removal, SurfaceInput, Thickness

LEAST_READINGS = 5
GAUGES = {"magnetic": ("steel",), "eddy": ("aluminium",), "ultrasonic": PAINTED}
UNMEASURED = "Nobody has measured the paint here: without at least five readings no correction is offered."
MARKS = (Mark.PUBLISHED, Mark.COMMON_PRACTICE, Mark.JUDGEMENT)
# An ultrasonic gauge shows single layers: below this a value is the clear coat itself, above it the whole film.
CLEAR_LAYER_UM = 80.0
CHANCES = np.linspace(0.025, 0.975, 39)
SCORES = np.array([normal.quantile(float(chance)) for chance in CHANCES])


@dataclass(frozen=True, slots=True)
class _Known:
    """What the readings say: thinnest spot and mean of the total (None with an ultrasonic layer reading), clear
    prior."""

    thinnest_um: float | None
    clear_mean_um: float
    clear_sd_um: float


def _refused(decision: str, why: str, *, removed: Band | None = None) -> ClearCoat:
    return ClearCoat(budget_um=None, clear_um=None, removed_um=removed, decision=decision, why=why, marks=MARKS)


def _sd(of: Figure) -> float:
    return (of.high - of.low) / (2.0 * normal.Z90)


def spot_uncertainty_um(thickness: Thickness) -> float:
    """Standard uncertainty of the mean of the readings, µm: their spread over the root of their number, and the
    gauge."""
    values = np.asarray(thickness.values, dtype=float)
    spread = float(values.std(ddof=1)) if len(values) > 1 else 0.0
    return math.hypot(spread / math.sqrt(len(values)), thickness.gauge_sd_um)


def thinnest_um(thickness: Thickness) -> float:
    """Thinnest spot, µm, on the low side of the gauge (10 %)."""
    return min(thickness.values) - normal.Z90 * thickness.gauge_sd_um


def clear_share(total_um: float) -> Figure:
    """Thickness of the clear coat, µm, by the total: 30-45 from 105, 20-35 from 85, 12-25 below (10-90 %,
    judgement)."""
    if total_um >= wear_value("clear.thick_from"):
        return figure("clear.thick")
    return figure("clear.middle" if total_um >= wear_value("clear.middle_from") else "clear.thin")


def taken(removal: Removal) -> Figure:
    """What one entry of the ledger took, µm: as measured, else the figure of its stage."""
    if removal.taken_um is None:
        return figure(f"removal.{removal.stage}")
    low, high = removal.taken_um
    return Figure((low + high) / 2.0, low, high, "µm", Mark.LEARNED_HERE, "measured before and after the correction")


def removed_band(surface: SurfaceInput, *, unlisted_corrections: int = 0) -> Band:
    """What polishing has taken so far, µm. Any number of unknown past jobs is one allowance of 3 to 6 µm.

    `unlisted_corrections` are corrections without a grade (from events): 1 to 4 µm each.
    """
    items = [taken(removal) for removal in surface.removals if removal.stage != "unknown_past"]
    items += [figure("removal.correction")] * unlisted_corrections
    if any(removal.stage == "unknown_past" for removal in surface.removals):
        items.append(figure("clear.unknown_past"))
    mean, sd = sum(item.value for item in items), math.sqrt(sum(_sd(item) ** 2 for item in items))
    return Band(*(max(mean + z * sd, 0.0) for z in (-normal.Z90, 0.0, normal.Z90)))


@dataclass(frozen=True, slots=True)
class FilmPosterior:
    """What the readings and the ledger leave of a panel's paint today, µm (10-50-90 %): the whole film, the clear coat
    at the thinnest spot, and what has been taken. `total_um` is None where only the clear coat itself was read."""

    total_um: Band | None
    clear_um: Band
    removed_um: Band


def _normal_band(mean: float, sd: float) -> Band:
    return Band(*(max(float(mean + z * sd), 0.0) for z in (-normal.Z90, 0.0, normal.Z90)))


def reads_clear(thickness: Thickness) -> bool:
    """Whether the readings are those of the clear coat itself (ultrasonic) and not of the whole film."""
    return thickness.method == "ultrasonic" and float(np.mean(thickness.values)) <= CLEAR_LAYER_UM


def _steps(surface: SurfaceInput, unlisted: int) -> list[tuple[date, int, Figure | Thickness]]:
    """Ledger and readings by day. A reading of the day of a job counts as taken before it, which leaves less clear."""
    steps: list[tuple[date, int, Figure | Thickness]] = []
    unknown = [removal for removal in surface.removals if removal.stage == "unknown_past"]
    for removal in surface.removals:
        if removal.stage != "unknown_past":
            steps.append((removal.on, 1, taken(removal)))
    if unknown:
        steps.append((date.min, 0, figure("clear.unknown_past")))
    steps += [(date.min, 1, figure("removal.correction"))] * unlisted
    readings = (*surface.earlier_thickness, *((surface.thickness,) if surface.thickness else ()))
    steps += [(one.on or date.max, 0, one) for one in readings if one.values and min(one.values) > 0]
    return sorted(steps, key=lambda step: step[:2])


def film_posterior(
    surface: SurfaceInput, *, unlisted_corrections: int = 0, total_prior: tuple[float, float] | None = None
) -> FilmPosterior | None:
    """Total film, clear coat and removal of a panel after all its readings; None without readings.

    A Kalman filter with the states (total F, clear C, removed R). Prior: F from published stacks or `total_prior`
    (mean, sd; µm), C given F from the share by total, R nothing. A job takes r from F and C and adds it to R, with the
    spread of its grade. A reading sees F, an ultrasonic layer reading sees C.

    Args:
        unlisted_corrections: jobs known only as events, without day and grade.
    """
    steps = _steps(surface, unlisted_corrections)
    totals = [one for _, _, one in steps if isinstance(one, Thickness) and not reads_clear(one)]
    if not any(isinstance(one, Thickness) for _, _, one in steps):
        return None
    usual, slope = figure("film.total"), wear_value("film.clear_slope")
    mean_f, sd_f = total_prior or (usual.value, _sd(usual))
    if totals:
        share, seen = clear_share(thinnest_um(totals[-1])), float(np.mean(totals[-1].values))
        mean_c, sd_c = share.value + slope * (mean_f - seen), _sd(share)
    else:
        mean_c, sd_c = 0.5 * CLEAR_LAYER_UM, CLEAR_LAYER_UM
    state = np.array([mean_f, mean_c, 0.0])
    along = np.array([1.0, slope, 0.0])
    cov = sd_f**2 * np.outer(along, along) + np.diag([0.0, sd_c**2, 0.0])
    takes = np.array([-1.0, -1.0, 1.0])
    for _, _, step in steps:
        if isinstance(step, Figure):
            state, cov = state + step.value * takes, cov + _sd(step) ** 2 * np.outer(takes, takes)
            continue
        which = 1 if reads_clear(step) else 0
        seen = min(step.values) if which else float(np.mean(step.values))
        seen_sd = max(spot_uncertainty_um(step), wear_value("film.sd_least"))
        gain = cov[:, which] / (cov[which, which] + seen_sd**2)
        state, cov = state + gain * (seen - state[which]), cov - np.outer(gain, cov[which])
    # The share by total already speaks of the thinnest spot: `clear_share` asked for it.
    sds = np.sqrt(np.maximum(np.diag(cov), 0.0))
    return FilmPosterior(
        total_um=_normal_band(state[0], sds[0]) if totals else None,
        clear_um=_normal_band(state[1], sds[1]),
        removed_um=_normal_band(state[2], sds[2]),
    )


def film_over_um(stack: Sequence[LiveLayer], *, on: date | None) -> Figure | None:
    """Thickness of the film that lies on the paint on a day (None: now), µm, which a gauge reads with the paint; None
    where there is none."""
    for live in stack:
        there = live.ended is None if on is None else live.is_live(on)
        if live.layer.kind not in FILMS or not there:
            continue
        usual = layer_figures(product=live.layer.product)[f"layer.{live.layer.kind}.thickness_um"]
        own = live.layer.thickness_um
        if own is None:
            return usual
        off = wear_value("film.tolerance") * own
        return Figure(own, own - off, own + off, "µm", Mark.COMMON_PRACTICE, "thickness of the product")
    return None


def budget_points(*, clear_mean_um: float, clear_sd_um: float, removed: Band) -> FloatArray:
    """Budget, µm, on a fixed grid of equal chances: `min(a quarter of the clear, 8) - removed`, not below 0."""
    clear = np.maximum(clear_mean_um + clear_sd_um * SCORES, 1.0)
    allowed = np.minimum(wear_value("clear.share") * clear, wear_value("clear.most"))
    gone = removed.p50 + (removed.p90 - removed.p10) / (2.0 * normal.Z90) * SCORES
    left = np.maximum(allowed[:, None] - np.maximum(gone, 0.0)[None, :], 0.0)
    return np.asarray(left.ravel(), dtype=float)


def budget_band(*, clear_mean_um: float, clear_sd_um: float, removed: Band) -> Band:
    """10, 50 and 90 % of `budget_points`."""
    left = budget_points(clear_mean_um=clear_mean_um, clear_sd_um=clear_sd_um, removed=removed)
    return Band(*(float(value) for value in np.quantile(left, (0.1, 0.5, 0.9))))


def _not_for(surface: SurfaceInput, *, paint: str, under_film: bool) -> ClearCoat | None:
    unmeasured_part = surface.orientation in ("inside", "wheel") and surface.thickness is None
    rules = (
        (surface.substrate not in PAINTED, "not_applicable", f"{surface.substrate.capitalize()} has no clear coat."),
        (unmeasured_part, "not_applicable", "No clear-coat budget is kept for this surface."),
        (paint == "single_stage", "none", "Single-stage paint has no clear coat: polishing takes the colour itself."),
        (paint == "matte", "none", "Matte paint is never polished: it would shine in patches."),
        (under_film, "none", "A film lies on the paint: what can be polished is the film, not the clear coat."),
        (
            surface.finish == "touch_up",
            "none",
            "Touched-up spots have no even clear coat: polishing cuts through them.",
        ),
    )
    return next((_refused(decision, why) for applies, decision, why in rules if applies), None)


def _unreadable(surface: SurfaceInput, thickness: Thickness, refinish: str) -> str:
    low, high = min(thickness.values), max(thickness.values)
    wrong_gauge = surface.substrate not in GAUGES[thickness.method]
    resprayed = surface.finish == "refinish" and thickness.method != "ultrasonic"
    rules = (
        (
            len(thickness.values) < LEAST_READINGS,
            f"{len(thickness.values)} readings are too few: at least five are needed.",
        ),
        (wrong_gauge, f"A {thickness.method} gauge does not read paint on {surface.substrate}: use the proper probe."),
        (low <= 0, "A reading of zero or less is no paint thickness: zero the gauge and read again."),
        (high > wear_value("clear.most_total"), "Readings above 200 µm speak of a repair: the clear share is unknown."),
        (
            resprayed,
            "The panel was resprayed: the total does not tell its clear coat; read the layers with ultrasound.",
        ),
        (bool(refinish) and not reads_clear(thickness), refinish),
    )
    return next((why for applies, why in rules if applies), "")


def _what_readings_say(thickness: Thickness) -> _Known:
    if reads_clear(thickness):
        return _Known(None, min(thickness.values), max(spot_uncertainty_um(thickness), wear_value("film.sd_least")))
    thinnest = thinnest_um(thickness)
    share = clear_share(thinnest)
    seen_sd = wear_value("film.clear_slope") * spot_uncertainty_um(thickness)
    return _Known(thinnest, share.value, math.hypot(_sd(share), seen_sd))


def _decide(known: _Known, budget: Band, surface: SurfaceInput) -> tuple[str, str]:
    """Decision word and the reason. Totals after a published rule of thumb: finest only under 85, nothing under 70
    µm."""
    room = f"The budget is {budget.p10:.1f} to {budget.p90:.1f} µm"
    thin = known.thinnest_um
    if thin is not None and thin < wear_value("clear.least_total"):
        return "none", f"The thinnest spot reads about {thin:.0f} µm in all: nothing more is taken off."
    if budget.p50 < figure("removal.finishing").value:
        return "none", f"{room}: even a finishing polish may be too much."
    if thin is not None and thin < wear_value("clear.middle_from"):
        return (
            "finishing_only",
            f"The thinnest spot reads about {thin:.0f} µm in all: at most a finishing polish. {room}.",
        )
    one_step, cut = figure("removal.one_step"), figure("removal.cut_and_refine")
    thick = thin is None or thin >= wear_value("clear.thick_from")
    if thick and budget.p10 >= cut.low and budget.p50 >= cut.value and surface.finish == "factory":
        return "cut_and_refine_with_consent", f"{room}; cut and refine takes {cut.low:g} to {cut.high:g} µm of it."
    if budget.p50 >= one_step.value:
        says = f"{room}; one step takes {one_step.low:g} to {one_step.high:g} µm: only the worst spots, with consent."
        return "one_step_with_consent", says
    return "finishing_only", f"{room}: at most a finishing polish."


@dataclass(frozen=True, slots=True)
class Measured:
    """A readable surface: what the readings say, the budget on its grid, and what is left after ledger and readings."""

    known: _Known
    removed: Band
    points: FloatArray
    film: FilmPosterior


def measured(surface: SurfaceInput, *, unlisted_corrections: int = 0) -> Measured:
    """Budget and film of a surface whose readings can be used (see `clear_coat` for those that cannot).

    Raises:
        ValueError: no readings.
    """
    film = film_posterior(surface, unlisted_corrections=unlisted_corrections)
    if surface.thickness is None or film is None:
        raise ValueError(f"{surface.code} has no film readings; nothing can be worked out.")
    known, removed = _what_readings_say(surface.thickness), film.removed_um
    if surface.finish == "unknown" and not any(removal.stage == "unknown_past" for removal in surface.removals):
        reserve = figure("clear.unknown_past")
        removed = Band(removed.p10 + reserve.low, removed.p50 + reserve.value, removed.p90 + reserve.high)
    points = budget_points(clear_mean_um=known.clear_mean_um, clear_sd_um=known.clear_sd_um, removed=removed)
    return Measured(known, removed, points, film)


def clear_coat(
    surface: SurfaceInput,
    *,
    paint: str,
    under_film: bool = False,
    unlisted_corrections: int = 0,
    refinish: str = "",
) -> ClearCoat:
    """The clear-coat budget of a surface and what may be done with it.

    Args:
        paint: clear_coat, single_stage or matte.  under_film: a film lies on the paint today.
        unlisted_corrections: corrections known only as events, without their grade.
        refinish: why the panel was likely painted again (see `refinish`), "" where nothing speaks for it.

    Decisions: unknown (not or badly measured), none, finishing_only, one_step_with_consent,
    cut_and_refine_with_consent, not_applicable. Source of the rules: see the module text; every bound stands in
    `tables/wear.csv` with its mark.
    """
    removed = removed_band(surface, unlisted_corrections=unlisted_corrections)
    refusal = _not_for(surface, paint=paint, under_film=under_film)
    if refusal is not None:
        return refusal
    if surface.thickness is None or not surface.thickness.values:
        return _refused("unknown", UNMEASURED, removed=removed)
    reason = _unreadable(surface, surface.thickness, refinish)
    if reason:
        return _refused("unknown", reason, removed=removed)
    found = measured(surface, unlisted_corrections=unlisted_corrections)
    budget = Band(*(float(value) for value in np.quantile(found.points, (0.1, 0.5, 0.9))))
    decision, why = _decide(found.known, budget, surface)
    return ClearCoat(
        budget_um=budget,
        clear_um=found.film.clear_um,
        removed_um=found.removed,
        decision=decision,
        why=why,
        marks=MARKS,
    )
