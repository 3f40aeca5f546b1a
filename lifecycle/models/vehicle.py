"""A vehicle, who keeps it and since when, and what a contract asks of it."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.choices import COLOURS, PAINTS, POWERTRAINS, SIZES

from .base import StudioRow
from .people import Customer, Site


class Vehicle(StudioRow):
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="vehicles")
    plate = models.CharField(max_length=20)
    description = models.CharField(max_length=120)
    body = models.CharField(max_length=20)
    size = models.CharField(max_length=2)
    colour = models.CharField(max_length=8)
    paint = models.CharField(max_length=14, default="clear_coat")
    powertrain = models.CharField(max_length=12, default="combustion")
    first_seen = models.DateField()
    retired_on = models.DateField(null=True, blank=True)
    assess_again = models.BooleanField(default=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["studio", "plate"], condition=Q(retired_on=None), name="vehicle_plate"),
            models.CheckConstraint(condition=Q(colour__in=COLOURS), name="vehicle_colour"),
            models.CheckConstraint(condition=Q(size__in=SIZES), name="vehicle_size"),
            models.CheckConstraint(condition=Q(paint__in=PAINTS), name="vehicle_paint"),
            models.CheckConstraint(condition=Q(powertrain__in=POWERTRAINS), name="vehicle_powertrain"),
        )

    def __str__(self) -> str:
        return f"{self.description} ({self.plate})"


class Keeper(StudioRow):
    """Who keeps the vehicle, from `start` (included) to `end` (excluded). One at a time."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="keepers")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="keeps")
    start = models.DateField()
    end = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("start",)
        constraints = (
            models.UniqueConstraint(fields=["vehicle"], condition=Q(end=None), name="keeper_one_now"),
            models.CheckConstraint(condition=Q(end=None) | Q(end__gte=F("start")), name="keeper_order"),
        )


class ContractTerm(StudioRow):
    """An inspection that a contract asks for. Dates are data; cover is never judged."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="contract_terms")
    title = models.CharField(max_length=120)
    due = models.DateField()
    tolerance_days = models.PositiveIntegerField(default=30)
    done_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("due",)
