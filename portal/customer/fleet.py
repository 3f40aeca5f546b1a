"""Many vehicles in one table: soonest first, searched, taken along as CSV."""

from __future__ import annotations

import csv
from typing import Any, Final

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.gzip import gzip_page
from django.views.decorators.http import require_GET

from lifecycle.care.fleet import FleetLine, fleet_lines
from portal.access.people import PortalRequest
from portal.access.registry import access

from .common import today_of

ONLY: Final = {
    "": gettext_lazy("All"),
    "open": gettext_lazy("With something due"),
    "booked": gettext_lazy("With a visit booked"),
    "nothing": gettext_lazy("With nothing due"),
}
ORDERS: Final = {"due": gettext_lazy("Soonest first"), "plate": gettext_lazy("By plate")}
# What a spreadsheet takes for the start of a formula (OWASP, "CSV injection").
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r")


def _asked(request: PortalRequest) -> dict[str, str]:
    only, order = request.GET.get("only", ""), request.GET.get("order", "due")
    return {
        "search": request.GET.get("search", "")[:80],
        "only": only if only in ONLY else "",
        "order": order if order in ORDERS else "due",
    }


def _lines(request: PortalRequest, asked: dict[str, str]) -> tuple[FleetLine, ...]:
    return fleet_lines(customer_ids=request.customer_ids, today=today_of(request), **asked)


def cell(value: Any) -> str:
    """A cell of the CSV; a text that a spreadsheet would reckon is marked as text."""
    text = "" if value is None else str(value)
    return f"'{text}" if text.startswith(FORMULA) else text


@access("customer")
@gzip_page
@require_GET
@never_cache
def fleet(request: PortalRequest) -> HttpResponse:
    """The table."""
    asked = _asked(request)
    context = {
        "lines": _lines(request, asked), "asked": asked, "onlys": ONLY.items(), "orders": ORDERS.items(),
        "query": urlencode(asked),
    }  # fmt: skip
    return render(request, "customer/fleet.html", context)


@access("customer")
@require_GET
@never_cache
def fleet_csv(request: PortalRequest) -> HttpResponse:
    """The rows of the table as they are filtered, as CSV (RFC 4180) in UTF-8, days as ISO 8601."""
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    answer["Content-Disposition"] = 'attachment; filename="vehicles.csv"'
    sheet = csv.writer(answer)
    sheet.writerow([_("Plate"), _("Vehicle"), _("Studio"), _("Site"), _("Due next"), _("Earliest"), _("Best around"),
                    _("Latest"), _("Visit booked for"), _("In a sentence")])  # fmt: skip
    for line in _lines(request, _asked(request)):
        values = (line.plate, line.description, line.studio, line.site, line.care, line.earliest, line.ideal,
                  line.latest, line.booked_on, line.sentence)  # fmt: skip
        sheet.writerow([cell(value) for value in values])
    return answer
