"""Durability learned here: layers and looks of a studio, by product and site, to what they say of a product's life."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import datetime

from lifecycle.climate import store as climate_store
from lifecycle.condition.inputs import figures_of, product_name, rows_for, vehicle_input
from lifecycle.models import Layer, Product, Site, Studio, Vehicle
from lifecycle.wear import durability
from lifecycle.wear.chemistry import chemistry
from lifecycle.wear.degradation import Life, life_of
from lifecycle.wear.durability import Calibration, History, Learned
from lifecycle.wear.histories import histories_of
from lifecycle.wear.marks import NO_OVERRIDES, Figure, Overrides, overridden
from lifecycle.wear.types import ClimateYear, Mark, Place

CHUNK = 50


@dataclass(frozen=True, slots=True)
class LearnedHere:
    """What one site's looks say of one product. `calibration` foretells each vehicle from the others (None below
    two vehicles). `figure_key` is the figure that `learned.life_months` may stand for, once somebody says so
    (`care.figures.override_figure` with the mark "learned here")."""

    product_id: int
    product: str
    figure_key: str
    site_id: int
    site: str
    learned: Learned
    calibration: Calibration | None


def _rows(studio: Studio) -> list[int]:
    """Vehicles that carry or carried a product of the studio; retired ones tell as much as others."""
    carried = Layer.objects.of(studio).exclude(product=None).values("surface__vehicle")
    return list(Vehicle.objects.of(studio).filter(pk__in=carried).order_by("pk").values_list("pk", flat=True))


def _gathered(
    vehicle: Vehicle, climate: Callable[[Place], ClimateYear], figures: Overrides, at: datetime
) -> Iterator[tuple[Product, History]]:
    """(product, history) of each layer that was made with a product of its own kind."""
    products = {
        f"layer:{row.pk}": row.product
        for surface in vehicle.surfaces.all()
        for row in surface.layers.all()
        if row.product is not None and row.product.kind == row.kind
    }
    given = vehicle_input(vehicle, as_of=at.date(), figures=figures)
    for one in histories_of(given, climate, key=f"vehicle:{vehicle.pk}"):
        product = products.get(one.key)
        if product is not None:
            yield product, one.history


def _months_key(product: Product) -> str:
    return f"layer.{product.kind}.months"


def _label(product: Product, figures: Overrides) -> Life:
    """The product's life before anybody looked: a figure set by hand, else the label, else the life table.

    A figure that was itself learned here is passed over: the same inspections must not count twice.
    """

    def by_hand(found: Figure | None) -> tuple[tuple[float, float], Mark] | None:
        return None if found is None or found.mark is Mark.LEARNED_HERE else ((found.low, found.high), found.mark)

    key, label = _months_key(product), None
    if product.life_low_months is not None and product.life_high_months is not None:
        label = ((product.life_low_months, product.life_high_months), Mark.JUDGEMENT)
    own = by_hand(figures.products.get(product_name(product.pk), {}).get(key))
    months, mark = own or label or by_hand(figures.figures.get(key)) or (None, Mark.COMMON_PRACTICE)
    with overridden(NO_OVERRIDES):
        return life_of(chemistry(product.kind), life_months=months, life_mark=mark)


def _calibration(histories: list[History], prior: durability.Prior, learned: Learned) -> Calibration | None:
    return durability.leave_one_out(histories, prior=prior) if learned.vehicles >= 2 else None


def learned_here(studio: Studio, *, at: datetime) -> tuple[LearnedHere, ...]:
    """What the studio's own inspections say of each product at each of its sites, by product code and site name.

    Sites lend each other strength (see `lifecycle.wear.durability`); a site at which a product was used but never
    looked at again is there too, and says so. A surface that was polished or topped up between application and the last
    look is left out and counted. Reads only; the number of queries grows with fifties of vehicles alone.
    """
    figures = figures_of([studio.pk]).get(studio.pk, NO_OVERRIDES)
    with overridden(figures):
        return _learned(studio, figures, at)


def _learned(studio: Studio, figures: Overrides, at: datetime) -> tuple[LearnedHere, ...]:
    climate = climate_store.reader(at)
    ids = _rows(studio)
    products: dict[int, Product] = {}
    sites: dict[int, Site] = {}
    gathered: dict[int, dict[int, list[History]]] = {}
    for start in range(0, len(ids), CHUNK):
        for vehicle in rows_for(ids[start : start + CHUNK]):
            sites[vehicle.site_id] = vehicle.site
            for product, history in _gathered(vehicle, climate, figures, at):
                products[product.pk] = product
                gathered.setdefault(product.pk, {}).setdefault(vehicle.site_id, []).append(history)
    made = []
    for product_id, by_site in gathered.items():
        prior = durability.prior_of(_label(products[product_id], figures))
        found = durability.learn_sites({str(site_id): one for site_id, one in by_site.items()}, prior=prior)
        for site_id, histories in by_site.items():
            learned = found[str(site_id)]
            made.append(
                LearnedHere(
                    product_id=product_id,
                    product=str(products[product_id]),
                    figure_key=_months_key(products[product_id]),
                    site_id=site_id,
                    site=sites[site_id].name,
                    learned=learned,
                    calibration=_calibration(histories, prior, learned),
                )
            )
    return tuple(sorted(made, key=lambda one: (one.product, one.site, one.product_id, one.site_id)))
