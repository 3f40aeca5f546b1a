"""Deployment checks that say what is missing, in words, before a customer finds out."""

from __future__ import annotations

from typing import Any

from django.conf import settings
from django.core.checks import CheckMessage, Error, Tags, Warning, register
from django.core.files.storage import default_storage
from django.core.mail import get_connection

from portal.mailhooks import SIGNING_KEYS


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


@register(Tags.security, deploy=True)
def mail_provider_is_complete(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """A provider's backend starts with its settings, and its delivery reports can be checked."""
    if "." not in settings.MAIL:
        return []
    found: list[CheckMessage] = []
    try:
        get_connection(fail_silently=False)
    except Exception as error:  # what a backend or its package raises where a setting is missing
        found.append(
            Error(
                f"SHEENWARD_MAIL is {settings.MAIL!r}, and it does not start: {error}",
                hint="Correct the path, or give the missing settings, each with the prefix ANYMAIL_ "
                "(deploy/env.example).",
                id="sheenward.E001",
            )
        )
    provider = settings.MAIL.split(".")[-2]
    signed_with = SIGNING_KEYS.get(provider, ())
    if not any(settings.ANYMAIL.get(key) for key in signed_with or ("WEBHOOK_SECRET",)):
        found.append(
            Warning(
                "Delivery reports of the mail provider are not taken: bounces and complaints stay unknown, and a "
                "hand-over in doubt is settled by the clock alone.",
                hint=f"Set ANYMAIL_{(*signed_with, 'WEBHOOK_SECRET')[0]} and give the provider the address "
                f"{settings.SITE_ADDRESS}/mail/hooks/{provider}/tracking/",
                id="sheenward.W004",
            )
        )
    return found


@register(Tags.files, deploy=True)
def files_can_be_kept(app_configs: Any, **kwargs: Any) -> list[CheckMessage]:
    """The storage of photos and documents starts with its options."""
    try:
        default_storage.exists("photos/none.jpg")
    except Exception as error:  # a storage's package raises what it likes
        return [
            Warning(
                f"The storage of photos and documents does not answer: {error}",
                hint="SHEENWARD_FILES names it, SHEENWARD_FILES_… are its options (deploy/env.example).",
                id="sheenward.W003",
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
