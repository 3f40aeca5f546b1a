"""What the customer's pages say about care that is due, in words and money."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from decimal import Decimal
from typing import Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lifecycle.care.sentence import days, next_due
from lifecycle.care.tongue.measures import distance_words
from lifecycle.care.vehicle_view import DueView, ProposalView, VehicleView
from lifecycle.care.wording import capital

SIGNS: Final = {"EUR": "€", "GBP": "£", "USD": "$"}
PARKING: Final = {
    "garage": gettext_lazy("in a garage"),
    "garage_nights": gettext_lazy("in a garage at night"),
    "carport": gettext_lazy("under a carport"),
    "mixed": gettext_lazy("now here, now there"),
    "street": gettext_lazy("in the street"),
    "under_trees": gettext_lazy("under trees"),
}
WASHING: Final = {
    "two_bucket": gettext_lazy("by hand with two buckets"),
    "touch_free_neutral": gettext_lazy("touch-free with a neutral cleaner"),
    "touch_free_high_ph": gettext_lazy("touch-free with a strong cleaner"),
    "rinseless": gettext_lazy("rinseless"),
    "soft_cloth_tunnel": gettext_lazy("in a soft-cloth tunnel"),
    "bristle_tunnel": gettext_lazy("in a brush tunnel"),
    "self_service_brush": gettext_lazy("with a self-service brush"),
    "dish_soap": gettext_lazy("with dish soap"),
}
SOURCES: Final = {
    "asked": gettext_lazy("as you told the studio"),
    "reported": gettext_lazy("as you reported"),
    "defaulted": gettext_lazy("assumed; nobody has asked you yet"),
}


@dataclass(frozen=True, slots=True)
class DueWords:
    """A due with what only this page says of it. `price`: the cost where it is a figure; `first`: shown unfolded."""

    due: DueView
    window: str
    cost: str
    price: str
    wait: str
    first: bool


def cost_words(price: tuple[Decimal, Decimal] | None, currency: str) -> str:
    """ "€ 90 to 130", or that the price list has no figure."""
    if price is None:
        return _("not in the price list; ask the studio")
    sign = SIGNS.get(currency, currency)
    low, high = round(price[0]), round(price[1])
    if low == high == 0:
        return _("nothing")
    if low == high:
        return _("%(sign)s %(low)d") % {"sign": sign, "low": low}
    return _("%(sign)s %(low)d to %(high)d") % {"sign": sign, "low": low, "high": high}


def window_words(due: DueView, today: date) -> str:
    """When, in words: the range first, then the day that fits best."""
    if due.booked_on is not None:
        return _("Booked for %(day)s.") % {"day": date_format(due.booked_on, _("j F Y"))}
    if due.contract_on is not None:
        contract = _("The contract names %(day)s.") % {"day": date_format(due.contract_on, _("j F Y"))}
    else:
        contract = ""
    if due.earliest <= today:
        said = _("From now until %(day)s") % {"day": date_format(due.latest, _("j F Y"))}
    else:
        said = capital(days(due.earliest, due.latest))
    if due.ideal > today and due.earliest < due.ideal < due.latest:
        said = _("%(range)s, best around %(day)s") % {"range": said, "day": date_format(due.ideal, _("j F"))}
    return f"{said}. {contract}".strip()


def wait_words(due: DueView, today: date) -> str:
    """What doing nothing means, and until when that is a fair choice."""
    if due.booked_on is not None or due.reason_code == "event":
        return ""
    if due.latest <= today:
        return ""
    return _("Or do nothing until %(day)s.") % {"day": date_format(due.latest, _("j F Y"))}


def due_words(vehicle: VehicleView) -> tuple[DueWords, ...]:
    """All dues of a vehicle with their words, soonest first."""
    first = next_due(vehicle.dues, vehicle.today)
    return tuple(
        DueWords(
            due=due,
            window=window_words(due, vehicle.today),
            cost=cost_words(due.price, vehicle.currency),
            price=cost_words(due.price, vehicle.currency) if due.price is not None and due.price[1] > 0 else "",
            wait=wait_words(due, vehicle.today),
            first=due is first,
        )
        for due in sorted(vehicle.dues, key=lambda due: (due is not first, due.ideal, due.id))
    )


def visit_words(proposal: ProposalView, today: date) -> str:
    """What one visit could do: "One visit from now until 8 December 2026, best around 2 December, could do: …"."""
    if proposal.earliest <= today:
        when = _("from now until %(day)s") % {"day": date_format(proposal.latest, _("j F Y"))}
    else:
        when = days(proposal.earliest, proposal.latest)
    said = _("One visit %(when)s could do: %(tasks)s. About %(hours)d hours of work") % {
        "when": when, "tasks": ", ".join(proposal.tasks), "hours": max(1, round(proposal.labour_h)),
    }  # fmt: skip
    if proposal.cure_h >= 1:
        said = _("%(said)s, then %(hours)d hours dry and untouched.") % {"said": said, "hours": round(proposal.cure_h)}
    else:
        said = f"{said}."
    if proposal.planned is not None and proposal.planned > today:
        room = _("The studio has room for it on %(day)s.") % {"day": date_format(proposal.planned, _("l j F Y"))}
        return f"{said} {room}"
    return said


def inputs_words(vehicle: VehicleView) -> str:
    """What the forecast of a layer rests on beside its product: the use and the climate."""
    climate = _("Climate: %(climate)s") % {"climate": vehicle.climate} if vehicle.climate else ""
    return f"{habits_words(vehicle)} {climate}".strip()


def habits_words(vehicle: VehicleView) -> str:
    """How the vehicle is used, as the forecast takes it."""
    habits = vehicle.habits
    if habits is None:
        return _("Nobody has told us how it is used; a usual use is assumed, and every range is wider for it.")
    return _(
        "Parked %(parking)s, about %(distance)s a year, washed %(washes)d times a year %(washing)s (%(source)s)."
    ) % {
        "parking": PARKING.get(habits.parking, habits.parking),
        "distance": distance_words(habits.km_per_year),
        "washes": round(habits.washes_per_year),
        "washing": WASHING.get(habits.wash_method, habits.wash_method),
        "source": SOURCES.get(habits.source, habits.source),
    }
