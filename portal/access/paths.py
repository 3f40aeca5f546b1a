"""Addresses that a page may be told to go back to."""

from __future__ import annotations

from django.utils.http import url_has_allowed_host_and_scheme


def own_path(value: str | None) -> str:
    """A path of this portal as it is, anything else as ""."""
    path = (value or "")[:500]
    return path if path.startswith("/") and url_has_allowed_host_and_scheme(path, allowed_hosts=None) else ""
