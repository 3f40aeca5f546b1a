"""Files that bring records in: the file while it is looked at, its columns, what it would do, and what it made."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from .base import StudioRow
from .people import Customer
from .vehicle import Vehicle
from .visit import Visit


class ImportKind(models.TextChoices):
    CUSTOMERS = "customers", "customers"
    VEHICLES = "vehicles", "vehicles"
    LAYERS = "layers", "layers"
    VISITS = "visits", "past visits"
    READINGS = "readings", "readings"
    PRICES = "prices", "price list"


class ImportState(models.TextChoices):
    ASKING = "asking", "waits for answers"
    CHECKING = "checking", "being looked through"
    CHECKED = "checked", "looked through, nothing recorded"
    APPLYING = "applying", "being recorded"
    DONE = "done", "recorded"
    UNDOING = "undoing", "being taken back"
    UNDONE = "undone", "taken back"
    DROPPED = "dropped", "put away"


# What the background step works on, and what waits for a person until its time is over.
WORKING_IMPORTS = (ImportState.CHECKING, ImportState.APPLYING, ImportState.UNDOING)
WAITING_IMPORTS = (ImportState.ASKING, ImportState.CHECKED)


class ImportFile(StudioRow):
    """One file from its arrival to its end. `how`: what its texts are read as (encoding, delimiter, sheet, header,
    decimal, dates), `said`: which of that a person answered; `columns`: column number -> field. `digest` is that of
    what the dry run showed. The stored bytes go as soon as the file is recorded or put away."""

    kind = models.CharField(max_length=10, choices=ImportKind.choices)
    name = models.CharField(max_length=120)
    file = models.FileField(max_length=200, blank=True)
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    state = models.CharField(max_length=10, choices=ImportState.choices, default=ImportState.ASKING)
    state_at = models.DateTimeField()
    made_at = models.DateTimeField()
    asked_by = models.CharField(max_length=80)
    how = models.JSONField(default=dict)
    said = models.JSONField(default=list)
    columns = models.JSONField(default=dict)
    digest = models.CharField(max_length=64, blank=True)
    rows = models.PositiveIntegerField(default=0)
    new = models.PositiveIntegerField(default=0)
    changed = models.PositiveIntegerField(default=0)
    same = models.PositiveIntegerField(default=0)
    wrong = models.PositiveIntegerField(default=0)
    progress = models.PositiveSmallIntegerField(default=0)
    note = models.CharField(max_length=600, blank=True)
    tries = models.PositiveSmallIntegerField(default=0)
    lease_until = models.DateTimeField(null=True, blank=True)
    done_at = models.DateTimeField(null=True, blank=True)
    forgotten_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-made_at", "-id")
        constraints = (
            models.CheckConstraint(condition=Q(kind__in=ImportKind.values), name="import_kind"),
            models.CheckConstraint(condition=Q(state__in=ImportState.values), name="import_state"),
            models.CheckConstraint(condition=Q(progress__lte=100), name="import_progress"),
        )


class ImportMapping(StudioRow):
    """Which column of a list means what, by the digest of its headings: offered when such a list comes again."""

    kind = models.CharField(max_length=10, choices=ImportKind.choices)
    digest = models.CharField(max_length=64)
    columns = models.JSONField(default=dict)
    used_at = models.DateTimeField()

    class Meta:
        constraints = (models.UniqueConstraint(fields=["studio", "kind", "digest"], name="import_mapping_once"),)


class Verdict(models.TextChoices):
    NEW = "new", "new"
    CHANGE = "change", "changes"
    SAME = "same", "same as before"
    ERROR = "error", "error"
    STANDS = "stands", "in the way of taking it back"


class ImportRow(StudioRow):
    """What one row of a file would do, or why not. The rows go when the file is recorded or put away."""

    file = models.ForeignKey(ImportFile, on_delete=models.CASCADE, related_name="dry_run")
    line = models.PositiveIntegerField()
    verdict = models.CharField(max_length=6, choices=Verdict.choices)
    key = models.CharField(max_length=200, blank=True)
    changes = models.JSONField(default=list)  # of [field, from, to]
    errors = models.JSONField(default=list)  # of [column, value, what is wrong and how to mend it]

    class Meta:
        ordering = ("line", "id")
        indexes = (models.Index(fields=["file", "verdict", "line"], name="import_row_verdict"),)
        constraints = (
            models.CheckConstraint(condition=Q(verdict__in=Verdict.values), name="import_row_verdict_known"),
        )


class ImportMade(StudioRow):
    """A row that a file made (`before` is null) or changed (the values before), so that it can be taken back. `digest`
    tells whether it still is as the file left it, without holding a word of it. Forgotten when the time for taking back
    is over."""

    file = models.ForeignKey(ImportFile, on_delete=models.CASCADE, related_name="made")
    line = models.PositiveIntegerField()
    model = models.CharField(max_length=40)
    object_id = models.BigIntegerField()
    before = models.JSONField(null=True, blank=True)
    digest = models.CharField(max_length=64)

    class Meta:
        ordering = ("id",)
        indexes = (models.Index(fields=["model", "object_id"], name="import_made_object"),)


class ImportKey(StudioRow):
    """By which number another list knows a customer, a vehicle (`vin`: its own) or a visit."""

    scheme = models.CharField(max_length=8)
    number = models.CharField(max_length=60)
    customer = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.CASCADE, related_name="import_keys")
    vehicle = models.ForeignKey(Vehicle, null=True, blank=True, on_delete=models.CASCADE, related_name="import_keys")
    visit = models.ForeignKey(Visit, null=True, blank=True, on_delete=models.CASCADE, related_name="import_keys")

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["studio", "scheme", "number"], name="import_key_once"),
            models.CheckConstraint(
                condition=Q(scheme="customer", customer__isnull=False, vehicle=None, visit=None)
                | Q(scheme__in=("vehicle", "vin"), customer=None, vehicle__isnull=False, visit=None)
                | Q(scheme="visit", customer=None, vehicle=None, visit__isnull=False),
                name="import_key_of_one",
            ),
        )
