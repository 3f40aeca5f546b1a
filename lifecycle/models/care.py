"""Care that is due: a window with its reason, open until it is answered."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .vehicle import Vehicle


class DueState(models.TextChoices):
    OPEN = "open", "open"
    ASKED = "asked", "asked for"
    BOOKED = "booked", "booked"
    DONE = "done", "done"
    WITHDRAWN = "withdrawn", "no longer due"


LIVE_DUE = (DueState.OPEN, DueState.ASKED, DueState.BOOKED)


class CareDue(StudioRow):
    """One care window. While it lives its dates may move with the forecast, its identity does not: a reminder is
    unique per window and step, so a moved date never writes to anybody twice."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="dues")
    task = models.CharField(max_length=40)
    surfaces = models.JSONField(default=list)
    earliest = models.DateField()
    ideal = models.DateField()
    latest = models.DateField()
    contract_on = models.DateField(null=True, blank=True)
    reason_code = models.CharField(max_length=20)
    why = models.TextField()
    words = models.JSONField(default=dict)  # of lifecycle.care.due.Due: known, cause, prevents …
    state = models.CharField(max_length=10, choices=DueState.choices, default=DueState.OPEN)
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)
    closed_why = models.CharField(max_length=200, blank=True)

    class Meta:
        ordering = ("ideal", "id")
        constraints = (
            models.UniqueConstraint(fields=["vehicle", "task"], condition=Q(state__in=LIVE_DUE), name="due_live_once"),
            models.CheckConstraint(
                condition=Q(earliest__lte=F("ideal"), ideal__lte=F("latest")), name="due_window_order"
            ),
            models.CheckConstraint(condition=Q(state__in=DueState.values), name="due_state"),
            models.CheckConstraint(
                condition=Q(state__in=LIVE_DUE, closed_at=None) | (~Q(state__in=LIVE_DUE) & Q(closed_at__isnull=False)),
                name="due_closed",
            ),
        )


class Refusal(StudioRow):
    """Care that is not offered, with the reason (over budget, unknown paint, clogged first …). Rewritten at each
    assessment."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="refusals")
    task = models.CharField(max_length=40)
    surfaces = models.JSONField(default=list)
    why = models.TextField()
    at = models.DateTimeField()

    class Meta:
        constraints = (models.UniqueConstraint(fields=["vehicle", "task"], name="refusal_once"),)
