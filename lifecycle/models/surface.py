"""A surface of a vehicle: a panel, a pane, a wheel set, a trim group, the engine bay."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.choices import FINISHES, ORIENTATIONS, SUBSTRATES

from .base import StudioRow
from .vehicle import Vehicle


class Surface(StudioRow):
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="surfaces")
    code = models.CharField(max_length=40)
    orientation = models.CharField(max_length=10)
    substrate = models.CharField(max_length=12)
    finish = models.CharField(max_length=10, default="factory")
    refinished_on = models.DateField(null=True, blank=True)

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


class Mounted(StudioRow):
    """When a wheel set was on the vehicle, from `start` (included) to `end` (excluded). A surface without any such
    row is always on; a set that is off ages as stored."""

    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="mounted")
    start = models.DateField()
    end = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("start",)
        constraints = (
            models.UniqueConstraint(fields=["surface"], condition=Q(end=None), name="mounted_one_now"),
            models.CheckConstraint(condition=Q(end=None) | Q(end__gt=F("start")), name="mounted_order"),
        )
