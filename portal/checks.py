"""Deployment checks that say what is missing, in words, before a customer finds out."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Tags, Warning, register


@register(Tags.security, deploy=True)
def mail_reaches_people(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Production with console or folder mail sends nothing to anybody."""
    if settings.PRODUCTION and settings.MAIL in ("console", "folder", "memory"):
        return [
            Warning(
                f"SHEENWARD_MAIL is {settings.MAIL!r}: reminders are written but reach nobody.",
                hint="Set SHEENWARD_MAIL=smtp with EMAIL_URL, or to an Anymail backend with its ANYMAIL_ settings.",
                id="sheenward.W001",
            )
        ]
    return []


@register(Tags.database, deploy=True)
def database_fits(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """Several workers need PostgreSQL; SQLite serves one machine without a broker."""
    if settings.REDIS_URL and settings.DATABASES["default"]["ENGINE"].endswith("sqlite3"):
        return [
            Warning(
                "REDIS_URL is set but the database is SQLite: several workers would queue for one writer.",
                hint="Set DATABASE_URL to a postgres:// address, or unset REDIS_URL and run `manage.py work`.",
                id="sheenward.W002",
            )
        ]
    return []
