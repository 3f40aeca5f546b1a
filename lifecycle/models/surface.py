"""A surface of a vehicle: a panel, a pane, a wheel set, a trim group, the engine bay."""

from __future__ import annotations

from datetime import date

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.choices import FINISHES, ORIENTATIONS, SUBSTRATES

from .base import StudioRow, Withdrawable
from .vehicle import Vehicle


class Surface(StudioRow):
    """`part_since`: the part that is there now came on that day; `removed_on`: it is no longer on the vehicle;
    `season`: which of several wheel sets it is."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="surfaces")
    code = models.CharField(max_length=40)
    orientation = models.CharField(max_length=10)
    substrate = models.CharField(max_length=12)
    finish = models.CharField(max_length=10, default="factory")
    refinished_on = models.DateField(null=True, blank=True)
    part_since = models.DateField(null=True, blank=True)
    removed_on = models.DateField(null=True, blank=True)
    season = models.CharField(max_length=10, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(fields=["vehicle", "code"], name="surface_code"),
            models.CheckConstraint(condition=Q(orientation__in=ORIENTATIONS), name="surface_orientation"),
            models.CheckConstraint(condition=Q(substrate__in=SUBSTRATES), name="surface_substrate"),
            models.CheckConstraint(condition=Q(finish__in=FINISHES), name="surface_finish"),
        )

    def __str__(self) -> str:
        return self.code.replace("_", " ")

    @property
    def as_it_is_since(self) -> date | None:
        """From when on readings and corrections speak of the paint or the part that is there now; None: always."""
        days = [day for day in (self.refinished_on, self.part_since) if day is not None]
        return max(days, default=None)


class Mounted(Withdrawable):
    """When a wheel set was on the vehicle, from `start` (included) to `end` (excluded). A surface without any such
    row is on, unless another set of the vehicle has one; a set that is off ages as stored."""

    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="mounted")
    start = models.DateField()
    end = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("start",)
        constraints = (
            models.UniqueConstraint(
                fields=["surface"], condition=Q(end=None, withdrawn_at=None), name="mounted_one_now"
            ),
            models.CheckConstraint(condition=Q(end=None) | Q(end__gt=F("start")), name="mounted_order"),
        )
