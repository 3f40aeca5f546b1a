"""Climate of a place by source, and how the sources have answered. Places are nobody's property: no studio here."""

from __future__ import annotations

from django.db import models
from django.db.models import Q


class ClimateNormal(models.Model):
    """One source's twelve months of a place; several sources may stand beside each other, the lowest `rank` is used.

    `months` holds the lists of `lifecycle.wear.types.ClimateYear` by name, `parts` what comes from elsewhere.
    `height_m` -9999: nobody has said. `sea_km`: to the nearest sea by the map of climate classes, about 10 km exact.
    """

    source = models.CharField(max_length=120)
    lat = models.FloatField()
    lon = models.FloatField()
    height_m = models.FloatField(default=-9999)
    koppen_class = models.CharField(max_length=4, blank=True)
    error_word = models.CharField(max_length=12)
    detail = models.TextField(blank=True)
    months = models.JSONField()
    fetched_at = models.DateTimeField()
    rank = models.PositiveSmallIntegerField(default=99)
    period = models.CharField(max_length=80, blank=True)
    distance_km = models.FloatField(null=True, blank=True)
    parts = models.JSONField(default=list)
    sea_km = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ("rank", "source")
        constraints = (
            models.UniqueConstraint(fields=["source", "lat", "lon", "height_m"], name="climate_place"),
            models.CheckConstraint(
                condition=Q(lat__gte=-90, lat__lte=90, lon__gte=-180, lon__lte=180), name="climate_pin"
            ),
        )


class ClimateService(models.Model):
    """How an online source has answered of late. After some failures in a row it rests until `open_until`."""

    name = models.CharField(max_length=40, unique=True)
    failures = models.PositiveSmallIntegerField(default=0)
    open_until = models.DateTimeField(null=True, blank=True)
    last_ok_at = models.DateTimeField(null=True, blank=True)
    last_error = models.CharField(max_length=300, blank=True)
