"""Prices, and what was recommended, offered and answered. Recommended and offered are different facts."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.choices import SIZES

from .base import StudioRow
from .care import CareDue
from .vehicle import Vehicle


class Price(StudioRow):
    """What a care task costs about, by vehicle size, in the studio's currency."""

    task = models.CharField(max_length=40)
    size = models.CharField(max_length=2)
    low = models.DecimalField(max_digits=9, decimal_places=2)
    high = models.DecimalField(max_digits=9, decimal_places=2)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["studio", "task", "size"], name="price_once"),
            models.CheckConstraint(condition=Q(low__gte=0, high__gte=F("low")), name="price_order"),
            models.CheckConstraint(condition=Q(size__in=SIZES), name="price_size"),
        )


class Offer(StudioRow):
    """One piece of advice about one vehicle; what became of it is in its steps."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="offers")
    due = models.ForeignKey(CareDue, null=True, blank=True, on_delete=models.SET_NULL, related_name="offers")
    task = models.CharField(max_length=40)
    price_low = models.DecimalField(max_digits=9, decimal_places=2)
    price_high = models.DecimalField(max_digits=9, decimal_places=2)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ("made_at", "id")
        constraints = (
            models.UniqueConstraint(fields=["due"], condition=Q(due__isnull=False), name="offer_once_per_due"),
            models.CheckConstraint(
                condition=Q(price_low__gte=0, price_high__gte=F("price_low")), name="offer_price_order"
            ),
        )


class OfferStepKind(models.TextChoices):
    RECOMMENDED = "recommended", "recommended"
    OFFERED = "offered", "offered"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined"
    DEFERRED = "deferred", "deferred"
    EXPIRED = "expired", "expired"
    WITHDRAWN = "withdrawn", "withdrawn"
    DONE = "done", "done"


class OfferStep(StudioRow):
    """Append-only: the latest step of an offer is its answer."""

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="steps")
    kind = models.CharField(max_length=12, choices=OfferStepKind.choices)
    at = models.DateTimeField()
    channel = models.CharField(max_length=20, blank=True)
    why = models.CharField(max_length=200, blank=True)
    until = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("at", "id")
        constraints = (models.CheckConstraint(condition=Q(kind__in=OfferStepKind.values), name="offer_step_kind"),)
