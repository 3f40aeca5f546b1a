"""Settings of the installation that mails need."""

from __future__ import annotations

from typing import Any

from django.conf import settings


def setting(name: str) -> Any:
    """A setting of this installation by its name.

    Raises:
        AttributeError: there is no such setting.
    """
    return getattr(settings, name)


def absolute(path: str) -> str:
    """The full address of a page of this installation."""
    return f"{setting('SITE_ADDRESS')}{path}"
