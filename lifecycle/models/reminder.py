"""A reminder: the decision to write, or not to write, about one window."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .care import CareDue
from .people import Customer, Purpose
from .vehicle import Vehicle


class Step(models.TextChoices):
    FIRST = "first", "first notice"
    FOLLOW_UP = "follow_up", "follow-up"
    LAST = "last", "last notice"


class ReminderState(models.TextChoices):
    PLANNED = "planned", "planned"
    WRITTEN = "written", "written"
    SKIPPED = "skipped", "skipped"


class Reminder(StudioRow):
    """Unique per care window and step. A skipped one keeps its reason; `final` false: it is looked at again."""

    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="reminders")
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="reminders")
    due = models.ForeignKey(CareDue, on_delete=models.CASCADE, related_name="reminders")
    step = models.CharField(max_length=10, choices=Step.choices)
    purpose = models.CharField(max_length=12, choices=Purpose.choices, default=Purpose.SERVICE)
    state = models.CharField(max_length=10, choices=ReminderState.choices)
    # The day of a planned visit that it follows, and names once it is written.
    planned_on = models.DateField(null=True, blank=True)
    send_at = models.DateTimeField(null=True, blank=True)
    reason_code = models.CharField(max_length=30)
    reason = models.CharField(max_length=300)
    final = models.BooleanField(default=False)
    made_at = models.DateTimeField()
    changed_at = models.DateTimeField()

    class Meta:
        ordering = ("made_at", "id")
        constraints = (
            models.UniqueConstraint(fields=["due", "step"], name="reminder_once_per_due_and_step"),
            models.CheckConstraint(condition=Q(state__in=ReminderState.values), name="reminder_state"),
            models.CheckConstraint(condition=Q(step__in=Step.values), name="reminder_step"),
            # A plan is valid only if it was made before its send time.
            models.CheckConstraint(
                condition=Q(state="skipped") | Q(send_at__gte=F("made_at")), name="reminder_made_before_send"
            ),
            models.CheckConstraint(condition=~Q(reason=""), name="reminder_has_reason"),
        )
