"""Filters of the studio's templates."""

from __future__ import annotations

from django import template

register = template.Library()


@register.filter
def percent(share: float) -> str:
    """0.734 -> "73"."""
    return f"{100 * share:.0f}"


@register.filter
def spaced(code: str) -> str:
    """soft_cloth_tunnel -> "soft cloth tunnel"."""
    return code.replace("_", " ")


@register.filter
def about(amount: float) -> str:
    """An amount without false precision: three significant digits, 38887 -> "38,900"."""
    if abs(amount) < 1:
        return "0"
    digits = max(len(str(int(abs(amount)))) - 3, 0)
    return f"{round(amount, -digits):,.0f}"
