"""The outlook as it was prepared: a sheet for each site and for all of them, and the rows behind every figure."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .people import Site
from .vehicle import Vehicle


class OutlookSheet(StudioRow):
    """One page of the outlook, ready to be shown. `site` empty: all sites. `body` is a
    `lifecycle.outlook.sheet.Sheet`. Written anew at every preparation."""

    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    as_of = models.DateField()
    made_at = models.DateTimeField()
    body = models.JSONField()

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["site"], condition=Q(site__isnull=False), name="outlook_sheet_site"),
            models.UniqueConstraint(fields=["studio"], condition=Q(site=None), name="outlook_sheet_all"),
        )


class OutlookRow(StudioRow):
    """One visit, care window or renewal that the figures were drawn from. `take_up` is the mean chance that it is taken
    up once it is due; hours as in `outlook.capacity`. Written anew at every preparation."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="+")
    split = models.CharField(max_length=10)
    task = models.CharField(max_length=40)
    source = models.CharField(max_length=30)
    made_on = models.DateField()
    earliest = models.DateField()
    ideal = models.DateField()
    latest = models.DateField()
    take_up = models.FloatField()
    price_low = models.FloatField()
    price_high = models.FloatField()
    labour_h = models.FloatField()
    why = models.CharField(max_length=300)

    class Meta:
        indexes = (
            models.Index(fields=["studio", "split", "latest"], name="outlook_row_all"),
            models.Index(fields=["site", "split", "latest"], name="outlook_row_site"),
        )
        constraints = (
            models.CheckConstraint(
                condition=Q(earliest__lte=F("ideal"), ideal__lte=F("latest")), name="outlook_row_order"
            ),
            models.CheckConstraint(condition=Q(take_up__gte=0, take_up__lte=1), name="outlook_row_chance"),
        )
