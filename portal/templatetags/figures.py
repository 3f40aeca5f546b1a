"""Filters of the pages of the parameter table."""

from __future__ import annotations

from django import template

register = template.Library()


@register.filter
def short(number: float) -> str:
    """A number on four significant digits, without trailing zeros and without a thousands mark."""
    return f"{number:.4g}" if abs(number) < 10_000 else f"{number:.0f}"
