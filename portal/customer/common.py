"""What the customer's pages share."""

from __future__ import annotations

from datetime import date
from zoneinfo import ZoneInfo

from django.utils import timezone

from lifecycle.care import customer_reads
from portal.access.people import PortalRequest


def today_of(request: PortalRequest) -> date:
    """The calendar day where the customer is."""
    return timezone.now().astimezone(ZoneInfo(customer_reads.zone_of(request.customer_ids))).date()
