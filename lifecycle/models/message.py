"""A message is a row before it is a message; receipts say what became of it."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from .base import StudioRow
from .handover import Handover
from .people import Customer, Purpose
from .reminder import Reminder
from .report import Report
from .visit import Visit

REMINDERS_HEADER = "X-Sheenward-Reminders"


class MessageState(models.TextChoices):
    READY = "ready", "ready"
    HANDING_OVER = "handing_over", "handing over"
    RETRY = "retry", "waiting to try again"
    UNCONFIRMED = "unconfirmed", "unconfirmed"
    ACCEPTED = "accepted", "accepted by the provider"
    DELIVERED = "delivered", "delivered"
    BOUNCED = "bounced", "bounced"
    COMPLAINED = "complained", "complained about"
    FAILED = "failed", "failed"
    STOPPED = "stopped", "stopped before sending"


FINAL_STATES = (
    MessageState.DELIVERED,
    MessageState.BOUNCED,
    MessageState.COMPLAINED,
    MessageState.FAILED,
    MessageState.STOPPED,
)


class Message(StudioRow):
    """A frozen, rendered e-mail. `uid` is our id: it stands in the Message-ID and in the provider's metadata."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="messages")
    reminder = models.OneToOneField(Reminder, null=True, blank=True, on_delete=models.PROTECT, related_name="message")
    # The copy of a report that the person signed for: asked for, so it needs no consent to reminders.
    report = models.ForeignKey(Report, null=True, blank=True, on_delete=models.PROTECT, related_name="messages")
    # An answer about a visit that the person asked for or has booked; true only while the visit's sequence is this.
    visit = models.ForeignKey(Visit, null=True, blank=True, on_delete=models.CASCADE, related_name="messages")
    visit_sequence = models.PositiveIntegerField(null=True, blank=True)
    # The offer of a vehicle to a new keeper, who is no customer yet: `customer` is who offers. True while it is open.
    handover = models.ForeignKey(Handover, null=True, blank=True, on_delete=models.CASCADE, related_name="messages")
    purpose = models.CharField(max_length=12, choices=Purpose.choices)
    to_email = models.EmailField()
    from_email = models.CharField(max_length=200)
    subject = models.CharField(max_length=200)
    text = models.TextField()
    html = models.TextField()
    headers = models.JSONField(default=dict)
    state = models.CharField(max_length=14, choices=MessageState.choices, default=MessageState.READY)
    state_at = models.DateTimeField()
    written_at = models.DateTimeField()
    claim = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    next_try_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    resends = models.PositiveSmallIntegerField(default=0)
    provider_id = models.CharField(max_length=200, blank=True)
    error = models.TextField(blank=True)

    class Meta:
        ordering = ("written_at", "id")
        indexes = (
            models.Index(fields=["state", "next_try_at"], name="message_queue"),
            models.Index(fields=["provider_id"], name="message_provider_id", condition=~Q(provider_id="")),
        )
        constraints = (
            models.CheckConstraint(condition=Q(state__in=MessageState.values), name="message_state"),
            # One recorded resend at most where the outcome of a hand-over stayed unknown.
            models.CheckConstraint(condition=Q(resends__lte=1), name="message_one_resend"),
            models.CheckConstraint(
                condition=(Q(state="handing_over") & Q(claim__isnull=False) & Q(lease_until__isnull=False))
                | ~Q(state="handing_over"),
                name="message_claimed",
            ),
        )

    def told_of(self) -> list[int]:
        """Keys of the reminders that it carries: one, or several where one person has several vehicles or windows."""
        told = str(self.headers.get(REMINDERS_HEADER, ""))
        ids = [int(part) for part in told.split(",") if part.strip().isdecimal()]
        if self.reminder_id is not None and self.reminder_id not in ids:
            ids.insert(0, self.reminder_id)
        return ids


class Receipt(StudioRow):
    """One event of the provider about one message, stored once, in whatever order it comes."""

    provider = models.CharField(max_length=40)
    event_id = models.CharField(max_length=200)
    message = models.ForeignKey(Message, null=True, blank=True, on_delete=models.CASCADE, related_name="receipts")
    kind = models.CharField(max_length=20)
    occurred_at = models.DateTimeField()
    received_at = models.DateTimeField()
    detail = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("occurred_at", "id")
        constraints = (models.UniqueConstraint(fields=["provider", "event_id"], name="receipt_once"),)


class EarlyReceipt(models.Model):
    """An event about a provider's id that no message of ours carries yet: the event was quicker than our own note of
    the hand-over. No studio: whose it is shows when the id is known. It holds no word of the event but its kind."""

    provider = models.CharField(max_length=40)
    event_id = models.CharField(max_length=200)
    provider_id = models.CharField(max_length=200)
    kind = models.CharField(max_length=20)
    occurred_at = models.DateTimeField()
    received_at = models.DateTimeField()

    class Meta:
        ordering = ("occurred_at", "id")
        constraints = (models.UniqueConstraint(fields=["provider", "event_id"], name="early_receipt_once"),)
