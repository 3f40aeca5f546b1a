"""A surface of a vehicle: a panel, a pane, a wheel set, a trim group, the engine bay."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

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
