"""Are we right: what was forecast before a look and what was seen, and who came with and without a reminder.

Both are worked out anew every night from what stands for good: the assessments, the looks, the reminders, the visits.
"""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .care import CareDue
from .inspection import Inspection
from .layer import Layer, Product
from .people import Member, Site
from .vehicle import Vehicle


class ForecastCheck(StudioRow):
    """One look at one layer, beside the forecast that was made before it. `what`: whether it had fallen to "tired" or
    come to its "end"; `lead`: the "last" forecast before the look, or the last one made "early", 90 days before it.
    `chance`: the forecast chance that it had by the day of the look."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="+")
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    inspection = models.ForeignKey(Inspection, on_delete=models.CASCADE, related_name="+")
    layer = models.ForeignKey(Layer, on_delete=models.CASCADE, related_name="+")
    product = models.ForeignKey(Product, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    applicator = models.ForeignKey(Member, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    what = models.CharField(max_length=5)
    lead = models.CharField(max_length=5)
    forecast_on = models.DateField()
    seen_on = models.DateField()
    chance = models.FloatField()
    seen = models.BooleanField()

    class Meta:
        indexes = (models.Index(fields=["studio", "lead", "what"], name="check_figure"),)
        constraints = (
            models.UniqueConstraint(fields=["inspection", "layer", "what", "lead"], name="check_once"),
            models.CheckConstraint(condition=Q(forecast_on__lt=F("seen_on")), name="check_before_the_look"),
            models.CheckConstraint(condition=Q(chance__gte=0, chance__lte=1), name="check_chance"),
        )


class ReminderTrial(StudioRow):
    """One care window followed for four weeks: from its first reminder (`reminded`), or from its opening while nobody
    had been reminded of it. `came`: a visit for it was booked in these weeks."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="+")
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="+")
    due = models.OneToOneField(CareDue, on_delete=models.CASCADE, related_name="+")
    task = models.CharField(max_length=40)
    reminded = models.BooleanField()
    start = models.DateField()
    came = models.BooleanField()

    class Meta:
        indexes = (models.Index(fields=["studio", "reminded", "task"], name="trial_figure"),)
