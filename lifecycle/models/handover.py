"""A vehicle that its keeper offers to a new one: nothing changes until the new keeper has agreed."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .people import Customer
from .vehicle import Vehicle


class HandoverState(models.TextChoices):
    OPEN = "open", "waits for the new keeper"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined by the new keeper"
    WITHDRAWN = "withdrawn", "withdrawn by the present keeper"
    EXPIRED = "expired", "over without an answer"


class Handover(StudioRow):
    """An offer of the present keeper (`customer`) to whoever reads the mail to `to_email`. The address stands here only
    while the offer is open: who does not agree leaves nothing behind. Only a digest of the link's token is kept."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="handovers")
    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="handovers")
    to_email = models.EmailField(blank=True)
    to_customer = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    on = models.DateField()
    state = models.CharField(max_length=10, choices=HandoverState.choices, default=HandoverState.OPEN)
    token_digest = models.CharField(max_length=64, unique=True)
    made_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-made_at", "-id")
        constraints = (
            models.CheckConstraint(condition=Q(state__in=HandoverState.values), name="handover_state"),
            models.CheckConstraint(condition=Q(ends_at__gt=F("made_at")), name="handover_order"),
            models.CheckConstraint(condition=Q(state="open") | Q(to_email=""), name="handover_forgets"),
            models.UniqueConstraint(fields=["vehicle"], condition=Q(state="open"), name="handover_one_open"),
        )
