"""How a vehicle is really used, dated, and what happened to it."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import Withdrawable
from .surface import Surface
from .vehicle import Vehicle


class Habits(Withdrawable):
    """Usage from `start` (included) to `end` (excluded). A place of its own if it lives away from its site."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="habits")
    start = models.DateField()
    end = models.DateField(null=True, blank=True)
    parking = models.CharField(max_length=16)
    km_per_year = models.FloatField()
    wash_method = models.CharField(max_length=24)
    washes_per_year = models.FloatField()
    wash_ph = models.CharField(max_length=10, default="unknown")
    road_salt = models.CharField(max_length=10, default="none")
    trees_birds = models.PositiveSmallIntegerField(default=1)
    source = models.CharField(max_length=10, default="defaulted")
    lat = models.FloatField(null=True, blank=True)
    lon = models.FloatField(null=True, blank=True)
    height_m = models.FloatField(null=True, blank=True)
    sea_distance_m = models.FloatField(null=True, blank=True)

    class Meta:
        ordering = ("start",)
        constraints = (
            models.UniqueConstraint(
                fields=["vehicle"], condition=Q(end=None, withdrawn_at=None), name="habits_one_now"
            ),
            models.CheckConstraint(condition=Q(end=None) | Q(end__gt=F("start")), name="habits_order"),
            models.CheckConstraint(condition=Q(km_per_year__gte=0, washes_per_year__gte=0), name="habits_amounts"),
            models.CheckConstraint(condition=Q(trees_birds__lte=3), name="habits_trees"),
            models.CheckConstraint(
                condition=Q(lat=None, lon=None) | Q(lat__isnull=False, lon__isnull=False), name="habits_place"
            ),
        )


class Storage(Withdrawable):
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="storages")
    start = models.DateField()
    end = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("start",)
        constraints = (models.CheckConstraint(condition=Q(end=None) | Q(end__gt=F("start")), name="storage_order"),)


class CareEvent(Withdrawable):
    """A wash, a decontamination, a top-up, a bird dropping …: anything dated that the forecast must know.
    `before`: what the event ended and changed, so that it can be withdrawn. `key` is made by the device that recorded
    it, so that it is stored once."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="care_events")
    surface = models.ForeignKey(Surface, null=True, blank=True, on_delete=models.CASCADE)
    kind = models.CharField(max_length=24)
    on = models.DateField()
    by = models.CharField(max_length=10, default="studio")
    dwell_h = models.FloatField(null=True, blank=True)
    air_c = models.FloatField(null=True, blank=True)
    note = models.CharField(max_length=300, blank=True)
    before = models.JSONField(default=dict, blank=True)
    key = models.UUIDField(null=True, blank=True)

    class Meta:
        ordering = ("on", "id")
        constraints = (
            models.CheckConstraint(condition=Q(by__in=("studio", "customer")), name="care_event_by"),
            models.CheckConstraint(condition=Q(dwell_h=None) | Q(dwell_h__gte=0), name="care_event_dwell"),
            models.UniqueConstraint(fields=["studio", "key"], condition=Q(key__isnull=False), name="care_event_key"),
        )
