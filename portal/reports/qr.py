"""The QR code of a report: the address of its public check page (ISO/IEC 18004, made by segno)."""

from __future__ import annotations

import io

import segno
from django.conf import settings
from django.urls import reverse
from django.utils.safestring import SafeString, mark_safe


def check_url(token: str) -> str:
    """The full address of the check page."""
    return f"{settings.SITE_ADDRESS}{reverse('report_check', args=[token])}"


def inline(token: str) -> SafeString:
    """The code of a report's check page as SVG within a page."""
    return inline_of(check_url(token))


def inline_of(address: str) -> SafeString:
    """The code of one of our own addresses as SVG within a page; it holds nothing else."""
    code = segno.make(address, error="m", micro=False)
    return mark_safe(code.svg_inline(scale=4, border=2, svgclass="qr", lineclass="qr-line"))  # noqa: S308  (no user text)


def alone(token: str) -> bytes:
    """The code of a report's check page as an SVG file, for print."""
    return alone_of(check_url(token))


def alone_of(address: str) -> bytes:
    """The code of one of our own addresses as an SVG file, for print."""
    out = io.BytesIO()
    segno.make(address, error="m", micro=False).save(out, kind="svg", border=2, dark="#000")
    return out.getvalue()
