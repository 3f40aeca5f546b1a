"""A filter of all templates (built in, see settings): a moment by the clock of whoever reads the page."""

from __future__ import annotations

from datetime import datetime

from django import template
from django.utils.formats import date_format

from lifecycle.care.wording import zone_name

register = template.Library()


@register.filter(expects_localtime=True)
def clock(at: datetime | None, written: str) -> str:
    """An aware time as `written` (a date format) says, with its zone: "31 Oct 2027, 02:30 CET"; "" for None.

    Django's own letter T stays empty in the hour that comes twice in autumn, the one hour in which the zone matters.
    """
    if at is None:
        return ""
    return f"{date_format(at, written)} {zone_name(at)}"
