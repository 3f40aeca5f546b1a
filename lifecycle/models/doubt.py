"""A doubt about a reading that was shown to the person who recorded it, and recorded all the same."""

from __future__ import annotations

from django.db import models

from .base import StudioRow
from .inspection import Inspection
from .surface import Surface


class ReadingDoubt(StudioRow):
    """What a rule said of the readings of one surface in one inspection; `spot` None: of the whole panel."""

    inspection = models.ForeignKey(Inspection, on_delete=models.CASCADE, related_name="doubts")
    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="+")
    spot = models.PositiveSmallIntegerField(null=True, blank=True)
    kind = models.CharField(max_length=20)
    says = models.CharField(max_length=400)

    class Meta:
        ordering = ("id",)
