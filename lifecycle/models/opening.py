"""When a site is open, when it is closed, and whose hands work there."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .people import Member, Site


class OpeningHours(StudioRow):
    """One weekday of a site by its own clock. A weekday without a row is closed, unless the site has no row at all."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="opening_hours")
    weekday = models.PositiveSmallIntegerField()  # 0 is Monday
    opens = models.TimeField()
    closes = models.TimeField()

    class Meta:
        ordering = ("weekday",)
        constraints = (
            models.UniqueConstraint(fields=["site", "weekday"], name="opening_once"),
            models.CheckConstraint(condition=Q(weekday__lte=6), name="opening_weekday"),
            models.CheckConstraint(condition=Q(opens__lt=F("closes")), name="opening_order"),
        )


class Closure(StudioRow):
    """Days, both included, on which a site does not work, and why. A lifted one no longer counts."""

    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="closures")
    first = models.DateField()
    last = models.DateField()
    reason = models.CharField(max_length=200)
    made_at = models.DateTimeField()
    lifted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("first", "id")
        constraints = (models.CheckConstraint(condition=Q(first__lte=F("last")), name="closure_order"),)


class Hands(StudioRow):
    """What a member works at a site: labour hours on each of these weekdays, and the work beyond everyday care that
    this person does."""

    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="hands")
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="hands")
    weekdays = models.JSONField(default=list)
    hours_a_day = models.FloatField()
    skills = models.JSONField(default=list)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["member", "site"], name="hands_once"),
            models.CheckConstraint(condition=Q(hours_a_day__gt=0, hours_a_day__lte=14), name="hands_hours"),
        )
