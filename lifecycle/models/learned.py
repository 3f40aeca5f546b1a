"""What a studio's inspections said of a product's life, as of the last night."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .layer import Product
from .people import Site


class LearnedLife(StudioRow):
    """One product at one site, months at the reference duty: `label` the median by label or table, `median_*` the
    learned median with its 10-90 % range, `life_*` that of the next vehicle. Worked out anew every night; the row
    before is of no use then and goes."""

    product = models.ForeignKey(Product, on_delete=models.CASCADE, related_name="learned")
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="learned")
    at = models.DateTimeField()
    vehicles = models.PositiveIntegerField()
    ended = models.PositiveIntegerField()
    excluded = models.PositiveIntegerField()
    label = models.FloatField()
    median_low = models.FloatField()
    median_mid = models.FloatField()
    median_high = models.FloatField()
    life_low = models.FloatField()
    life_mid = models.FloatField()
    life_high = models.FloatField()
    mark = models.CharField(max_length=20)
    says = models.TextField()
    calibration_says = models.TextField(blank=True)

    class Meta:
        ordering = ("product", "site")
        constraints = (
            models.UniqueConstraint(fields=["product", "site"], name="learned_one"),
            models.CheckConstraint(
                condition=Q(median_low__lte=F("median_mid"), median_mid__lte=F("median_high")), name="learned_median"
            ),
            models.CheckConstraint(
                condition=Q(life_low__lte=F("life_mid"), life_mid__lte=F("life_high")), name="learned_life"
            ),
            models.CheckConstraint(condition=Q(ended__lte=F("vehicles")), name="learned_counts"),
        )
