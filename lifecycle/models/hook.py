"""Addresses of other programs that are told what happened, and each telling."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from .base import StudioRow


class Hook(StudioRow):
    """An address that is told of some kinds of events. Its secret stands nowhere: it is derived from the
    installation's key, `uid` and `serial`. `from_entry`: only later entries of the journal are told of."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    url = models.CharField(max_length=500)
    kinds = models.JSONField(default=list)
    serial = models.PositiveIntegerField(default=1)
    rotated_at = models.DateTimeField(null=True, blank=True)
    from_entry = models.BigIntegerField(default=0)
    made_at = models.DateTimeField()
    failing_since = models.DateTimeField(null=True, blank=True)
    off_at = models.DateTimeField(null=True, blank=True)
    off_why = models.CharField(max_length=200, blank=True)
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("made_at", "id")
        constraints = (
            models.UniqueConstraint(fields=["studio", "url"], condition=Q(ended_at=None), name="hook_url_once"),
        )


class HookState(models.TextChoices):
    READY = "ready", "ready"
    RETRY = "retry", "waiting to try again"
    DELIVERED = "delivered", "delivered"
    FAILED = "failed", "failed"


class HookDelivery(StudioRow):
    """One entry of the journal told to one address, once; the receiver knows it by `uid` however often it is tried."""

    hook = models.ForeignKey(Hook, on_delete=models.CASCADE, related_name="deliveries")
    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    entry_id = models.BigIntegerField()
    kind = models.CharField(max_length=30)
    payload = models.TextField()
    state = models.CharField(max_length=10, choices=HookState.choices, default=HookState.READY)
    made_at = models.DateTimeField()
    state_at = models.DateTimeField()
    next_try_at = models.DateTimeField(null=True, blank=True)
    attempts = models.PositiveSmallIntegerField(default=0)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    error = models.CharField(max_length=300, blank=True)
    claim = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-made_at", "-id")
        indexes = (models.Index(fields=["state", "next_try_at"], name="hook_queue"),)
        constraints = (
            models.UniqueConstraint(fields=["hook", "entry_id"], name="hook_entry_once"),
            models.CheckConstraint(condition=Q(state__in=HookState.values), name="hook_state"),
        )


class HookCursor(models.Model):
    """How far the journal has been read. Entries get their numbers before they are committed, so one may show up
    below a number that was seen already: `low_id` was the newest a good while ago, and all above it is read again."""

    name = models.CharField(max_length=20, unique=True)
    low_id = models.BigIntegerField(default=0)
    next_id = models.BigIntegerField(default=0)
    next_at = models.DateTimeField()
