"""A vehicle, who keeps it and since when, and what a contract asks of it."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.choices import COLOURS, PAINTS, POWERTRAINS, SIZES

from .base import StudioRow, Withdrawable
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


class ContractRule(StudioRow):
    """Inspections that a contract asks for again and again: the first `every_months` after `starts_on`, the last not
    after `ends_on`. `written_in` says where that is to be read. Dates are data; cover is never judged."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="contract_rules")
    title = models.CharField(max_length=120)
    starts_on = models.DateField()
    every_months = models.PositiveSmallIntegerField()
    tolerance_days = models.PositiveSmallIntegerField(default=30)
    ends_on = models.DateField(null=True, blank=True)
    written_in = models.CharField(max_length=200)
    stopped_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("starts_on", "id")
        constraints = (
            models.CheckConstraint(condition=Q(every_months__gte=1, every_months__lte=120), name="rule_months"),
            models.CheckConstraint(condition=Q(ends_on=None) | Q(ends_on__gt=F("starts_on")), name="rule_order"),
        )


class ContractTerm(Withdrawable):
    """An inspection that a contract asks for on a date, by itself or by a rule; `inspection`: the one that was it.
    Dates are data; cover is never judged."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="contract_terms")
    title = models.CharField(max_length=120)
    due = models.DateField()
    tolerance_days = models.PositiveIntegerField(default=30)
    done_on = models.DateField(null=True, blank=True)
    rule = models.ForeignKey(ContractRule, null=True, blank=True, on_delete=models.CASCADE, related_name="terms")
    inspection = models.ForeignKey(
        "lifecycle.Inspection", null=True, blank=True, on_delete=models.SET_NULL, related_name="+"
    )

    class Meta:
        ordering = ("due",)
        constraints = (
            models.UniqueConstraint(
                fields=["rule", "due"], condition=Q(rule__isnull=False, withdrawn_at=None), name="term_once_per_rule"
            ),
        )
