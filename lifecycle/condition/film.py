"""Film readings of a panel as the clear-coat budget wants them: one value a spot."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from lifecycle.models import Inspection, Reading
from lifecycle.wear.types import Thickness

USUAL_GAUGE_SD_UM = 1.0  # of a gauge that nobody registered (common practice, no source)


def spot_values(rows: Sequence[Reading]) -> tuple[float, ...]:
    """One value a spot, µm, in the order of the spots: the mean of its readings (ASTM D7091 and SSPC-PA 2: a spot is
    the mean of at least three gauge readings). A reading without a spot is a spot of its own."""
    spots: dict[tuple[int, int], list[float]] = {}
    for row in rows:
        key = (0, row.spot) if row.spot is not None else (1, row.pk or len(spots))
        spots.setdefault(key, []).append(row.value)
    return tuple(sum(values) / len(values) for _, values in sorted(spots.items()))


def film_sets(inspection: Inspection) -> list[tuple[int, list[Reading]]]:
    """(surface id, its film readings of one method) of an inspection; the ultrasonic set of a surface comes last, for
    it tells the layers."""
    rows = sorted(
        (row for row in inspection.readings.all() if row.kind == "thickness_um"), key=lambda row: (_set(row), row.pk)
    )
    return [(key[0], list(group)) for key, group in groupby(rows, key=_set)]


def _set(row: Reading) -> tuple[int, bool, str]:
    return row.surface_id, row.method == "ultrasonic", row.method


def thickness_of(inspections: Iterable[Inspection]) -> dict[int, list[Thickness]]:
    """The sets of film readings of each surface, oldest first; `inspections` oldest first."""
    found: dict[int, list[Thickness]] = {}
    for inspection in inspections:
        for surface_id, rows in film_sets(inspection):
            found.setdefault(surface_id, []).append(
                Thickness(
                    values=spot_values(rows),
                    method=rows[0].method or "magnetic",
                    gauge_sd_um=max(row.gauge_sd_um or USUAL_GAUGE_SD_UM for row in rows),
                    on=inspection.on,
                )
            )
    return found
