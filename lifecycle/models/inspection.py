"""What was seen: inspections, readings, findings."""

from __future__ import annotations

from django.db import models
from django.db.models import Q

from lifecycle.wear.choices import CLEAN_STATES

from .base import StudioRow
from .people import Member
from .surface import Surface
from .vehicle import Vehicle


class Inspection(StudioRow):
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="inspections")
    on = models.DateField()
    clean_state = models.CharField(max_length=16)
    by = models.CharField(max_length=10, default="studio")
    member = models.ForeignKey(Member, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    note = models.TextField(blank=True)

    class Meta:
        ordering = ("on", "id")
        constraints = (
            models.CheckConstraint(condition=Q(clean_state__in=CLEAN_STATES), name="inspection_clean_state"),
            models.CheckConstraint(condition=Q(by__in=("studio", "customer")), name="inspection_by"),
        )


class ReadingKind(models.TextChoices):
    CONTACT_ANGLE = "contact_angle_deg", "contact angle, degrees"
    BEADING = "beading_score", "beading score, 0 to 5"
    GLOSS = "gloss_gu", "gloss at 20 degrees, GU"
    WORKS = "works", "still works (1) or not (0)"
    THICKNESS = "thickness_um", "total film thickness, µm"


class Reading(StudioRow):
    """One measured value on one surface. Several thickness values of one spot are several rows."""

    inspection = models.ForeignKey(Inspection, on_delete=models.CASCADE, related_name="readings")
    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="readings")
    kind = models.CharField(max_length=20, choices=ReadingKind.choices)
    value = models.FloatField()
    drops = models.PositiveSmallIntegerField(default=1)
    method = models.CharField(max_length=12, blank=True)
    gauge_sd_um = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(
                condition=Q(kind="contact_angle_deg", value__gte=0, value__lte=180)
                | Q(kind="beading_score", value__gte=0, value__lte=5)
                | Q(kind="gloss_gu", value__gte=0, value__lte=2000)
                | Q(kind="works", value__in=(0, 1))
                | Q(kind="thickness_um", value__gte=0, value__lte=5000),
                name="reading_in_range",
            ),
        )


class Finding(StudioRow):
    inspection = models.ForeignKey(Inspection, on_delete=models.CASCADE, related_name="findings")
    surface = models.ForeignKey(Surface, null=True, blank=True, on_delete=models.CASCADE)
    kind = models.CharField(max_length=30)
    severity = models.PositiveSmallIntegerField(default=1)
    pre_existing = models.BooleanField(default=True)
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        constraints = (models.CheckConstraint(condition=Q(severity__gte=1, severity__lte=5), name="finding_severity"),)
