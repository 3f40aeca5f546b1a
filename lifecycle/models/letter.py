"""The owner's monthly letter: a row before it is a mail."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from .base import StudioRow
from .people import Member


class LetterState(models.TextChoices):
    READY = "ready", "ready"
    HANDING_OVER = "handing_over", "handing over"
    RETRY = "retry", "waiting to try again"
    UNCONFIRMED = "unconfirmed", "unconfirmed"
    ACCEPTED = "accepted", "accepted by the provider"
    FAILED = "failed", "failed"
    STOPPED = "stopped", "stopped before sending"


class OwnerLetter(StudioRow):
    """One letter to one owner about one month (its first day); `facts` is the whole letter, frozen
    (`lifecycle.monthly.letter.Letter`). The address is read when it is sent, and not kept here."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="letters")
    month = models.DateField()
    facts = models.JSONField()
    written_at = models.DateTimeField()
    state = models.CharField(max_length=14, choices=LetterState.choices, default=LetterState.READY)
    state_at = models.DateTimeField()
    lease_until = models.DateTimeField(null=True, blank=True)
    next_try_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    error = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ("-month", "id")
        constraints = (
            models.UniqueConstraint(fields=["member", "month"], name="letter_once"),
            models.CheckConstraint(condition=Q(state__in=LetterState.values), name="letter_state"),
            models.CheckConstraint(
                condition=(Q(state="handing_over") & Q(lease_until__isnull=False)) | ~Q(state="handing_over"),
                name="letter_claimed",
            ),
        )
