"""Twelve months of climate at a place. Places are nobody's property, so this row has no studio."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class ClimateNormal(models.Model):
    """`months` holds the lists of `lifecycle.wear.types.ClimateYear` by name. `height_m` -9999: nobody has said."""

    source = models.CharField(max_length=40)
    lat = models.FloatField()
    lon = models.FloatField()
    height_m = models.FloatField(default=-9999)
    koppen_class = models.CharField(max_length=4, blank=True)
    error_word = models.CharField(max_length=12)
    detail = models.TextField(blank=True)
    months = models.JSONField()
    fetched_at = models.DateTimeField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["source", "lat", "lon", "height_m"], name="climate_place"),
            models.CheckConstraint(
                condition=Q(lat__gte=-90, lat__lte=90, lon__gte=-180, lon__lte=180), name="climate_pin"
            ),
        )
