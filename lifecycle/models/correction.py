"""Clear coat that was taken off, by estimate, as a ledger."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.choices import REMOVAL_STAGES

from .base import StudioRow
from .people import Member
from .surface import Surface


class Correction(StudioRow):
    """`removal_low_um`/`removal_high_um`: the removal if it was measured; None: the stage's table value holds."""

    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="corrections")
    on = models.DateField()
    stage = models.CharField(max_length=20)
    passes = models.PositiveSmallIntegerField(default=1)
    removal_low_um = models.FloatField(null=True, blank=True)
    removal_high_um = models.FloatField(null=True, blank=True)
    member = models.ForeignKey(Member, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")

    class Meta:
        ordering = ("on", "id")
        constraints = (
            models.CheckConstraint(condition=Q(stage__in=REMOVAL_STAGES), name="correction_stage"),
            models.CheckConstraint(
                condition=Q(removal_low_um=None, removal_high_um=None)
                | Q(removal_low_um__gte=0, removal_high_um__gte=F("removal_low_um")),
                name="correction_removal",
            ),
        )
