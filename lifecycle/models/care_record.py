"""A vehicle's care record as it was issued for a buyer, and the links by which keepers share it.

A `CareRecord` holds no personal data and the database refuses to change or delete it. A link holds a digest of its
token alone: whoever reads the database cannot open the page.
"""

from __future__ import annotations

import secrets
from typing import Any

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .journal import guard_statements, unguard_statements
from .people import Customer
from .vehicle import Vehicle

GUARDED = ("lifecycle_carerecord",)


def make_code() -> str:
    """96 random bits for the address of the check page; it shows no content, so shorter than a link's token."""
    return secrets.token_urlsafe(12)


class CareRecord(StudioRow):
    """`content` is the canonical text as it was issued, `digest` the SHA-256 of exactly its UTF-8 bytes. `number`
    counts the records of one vehicle."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="care_records")
    number = models.PositiveIntegerField()
    issued_at = models.DateTimeField()
    content = models.TextField()
    digest = models.CharField(max_length=64)
    code = models.CharField(max_length=24, unique=True, default=make_code)

    class Meta:
        ordering = ("number",)
        constraints = (
            models.UniqueConstraint(fields=["vehicle", "number"], name="care_record_number"),
            models.CheckConstraint(condition=Q(number__gte=1), name="care_record_from_1"),
        )


class RecordLink(StudioRow):
    """A link that a keeper shares. It opens the record until `ends_at`, or until the keeper ended it; `opened` counts
    how often that happened, and nothing says by whom or when."""

    record = models.ForeignKey(CareRecord, on_delete=models.PROTECT, related_name="links")
    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="record_links")
    token_digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    opened = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ("-made_at", "-id")
        constraints = (models.CheckConstraint(condition=Q(ends_at__gt=F("made_at")), name="record_link_order"),)


def guard_care_records(apps: Any, schema_editor: Any) -> None:
    """Make the database refuse to change or delete issued records."""
    for statement in guard_statements(schema_editor.connection.vendor, GUARDED):
        schema_editor.execute(statement, params=None)  # no parameters: "%" is the function's own


def unguard_care_records(apps: Any, schema_editor: Any) -> None:
    """The reverse of `guard_care_records`."""
    for statement in unguard_statements(schema_editor.connection.vendor, GUARDED):
        schema_editor.execute(statement, params=None)
