"""The style inside the customers' pages."""

from __future__ import annotations

from django import template
from django.utils.safestring import SafeString, mark_safe

from portal.customer_style import STYLE

register = template.Library()


@register.simple_tag
def customer_style() -> SafeString:
    """The style element whose text the content security policy names by its hash; nothing of a request is in it."""
    return mark_safe(f"<style>{STYLE}</style>")  # noqa: S308 - our own files
