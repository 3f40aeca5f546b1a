"""Sealed reports of inspections and their addenda, and beside them the row of the person that an erasure may blank.

A `Report` holds no personal data, and the database refuses to change or delete it (triggers of the migration). The
keeper's name, the plate and the signature's strokes stand in `ReportParty`; the report seals them by a salted hash
alone, so that blanking the row leaves nothing that could be guessed back, and the chain stays whole.
"""

from __future__ import annotations

import secrets
from typing import Any

from django.db import models
from django.db.models import Q

from .base import StudioRow
from .inspection import Inspection
from .journal import guard_statements, unguard_statements
from .people import Customer, Member
from .vehicle import Vehicle

GUARDED = ("lifecycle_report",)


def make_token() -> str:
    """192 random bits for the address of the public check page."""
    return secrets.token_urlsafe(24)


class ReportKind(models.TextChoices):
    REPORT = "report", "report"
    ADDENDUM = "addendum", "addendum"


class Report(StudioRow):
    """`content` is the text exactly as it was sealed (lifecycle.care.canonical), `digest` the SHA-256 of it and of
    `previous`, the digest of the studio's report before (empty for the first). Numbers have no gap."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="reports")
    inspection = models.ForeignKey(Inspection, on_delete=models.PROTECT, related_name="reports")
    member = models.ForeignKey(Member, on_delete=models.PROTECT, related_name="+")
    kind = models.CharField(max_length=8, choices=ReportKind.choices, default=ReportKind.REPORT)
    of = models.ForeignKey("self", null=True, blank=True, on_delete=models.PROTECT, related_name="addenda")
    number = models.PositiveIntegerField()
    sealed_at = models.DateTimeField()
    content = models.TextField()
    digest = models.CharField(max_length=64)
    previous = models.CharField(max_length=64, blank=True)
    token = models.CharField(max_length=43, unique=True, default=make_token)

    class Meta:
        ordering = ("number",)
        constraints = (
            models.CheckConstraint(condition=Q(kind__in=ReportKind.values), name="report_kind"),
            models.CheckConstraint(
                condition=Q(kind="report", of=None) | Q(kind="addendum", of__isnull=False), name="report_addendum_of"
            ),
            models.CheckConstraint(condition=Q(number__gte=1), name="report_number_from_1"),
            models.UniqueConstraint(fields=["studio", "number"], name="report_number"),
            # A chain that cannot fork: nothing follows the same report twice.
            models.UniqueConstraint(fields=["studio", "previous"], name="report_previous"),
            models.UniqueConstraint(fields=["inspection"], condition=Q(kind="report"), name="report_of_inspection"),
        )


class ReportParty(StudioRow):
    """Who signed, and the plate: personal data of a report. `salt` makes the sealed hash useless to guessing; an
    erasure empties all of it and sets `erased_at`."""

    report = models.OneToOneField(Report, on_delete=models.PROTECT, related_name="party")
    customer = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    name = models.CharField(max_length=160, blank=True)
    plate = models.CharField(max_length=20, blank=True)
    strokes = models.JSONField(default=list)
    salt = models.CharField(max_length=64, blank=True)
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(erased_at=None) | Q(name="", plate="", salt="", customer=None), name="report_party_erased"
            ),
        )


def guard_reports(apps: Any, schema_editor: Any) -> None:
    """Make the database refuse to change or delete sealed reports."""
    for statement in guard_statements(schema_editor.connection.vendor, GUARDED):
        schema_editor.execute(statement, params=None)  # no parameters: "%" is the function's own


def unguard_reports(apps: Any, schema_editor: Any) -> None:
    """The reverse of `guard_reports`."""
    for statement in unguard_statements(schema_editor.connection.vendor, GUARDED):
        schema_editor.execute(statement, params=None)
