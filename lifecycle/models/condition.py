"""What the model said about a vehicle, when, and from which inputs."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .layer import Layer
from .surface import Surface
from .vehicle import Vehicle


class Assessment(StudioRow):
    """One run of the wear model over one vehicle. `latest` marks the one that holds; earlier ones stay as history.

    `surfaces` holds per surface code: clogging band, clogged, clear coat, etch risk; `climate` class, source and words;
    `whole` the complete forecast and `inputs` what it was made from, kept for the latest assessment only.
    """

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="assessments")
    as_of = models.DateField()
    at = models.DateTimeField()
    input_hash = models.CharField(max_length=64)
    model_version = models.CharField(max_length=20)
    latest = models.BooleanField(default=True)
    surfaces = models.JSONField(default=dict)
    whole = models.JSONField(default=dict)
    inputs = models.JSONField(default=dict)
    climate = models.JSONField(default=dict)
    assumed = models.JSONField(default=list)
    windows_at = models.DateTimeField(null=True, blank=True)  # when its care windows were opened

    class Meta:
        ordering = ("as_of", "id")
        constraints = (
            models.UniqueConstraint(fields=["vehicle"], condition=Q(latest=True), name="assessment_one_latest"),
        )


def _share(name: str) -> Q:
    return Q(**{name: None}) | Q(**{f"{name}__gte": 0, f"{name}__lte": 1})


class Forecast(StudioRow):
    """The forecast of one live layer in one assessment. All bands are empty where no forecast is given."""

    assessment = models.ForeignKey(Assessment, on_delete=models.CASCADE, related_name="forecasts")
    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="+")
    layer = models.ForeignKey(Layer, on_delete=models.CASCADE, related_name="forecasts")
    stage = models.CharField(max_length=10)
    function_p10 = models.FloatField(null=True)
    function_p50 = models.FloatField(null=True)
    function_p90 = models.FloatField(null=True)
    renewal_p10_months = models.FloatField(null=True)
    renewal_p50_months = models.FloatField(null=True)
    renewal_p90_months = models.FloatField(null=True)
    tired_p10 = models.DateField(null=True)
    tired_p50 = models.DateField(null=True)
    tired_p90 = models.DateField(null=True)
    end_p10 = models.DateField(null=True)
    end_p50 = models.DateField(null=True)
    end_p90 = models.DateField(null=True)
    rate_median = models.FloatField(default=1.0)
    seen_on = models.DateField(null=True)
    evidence_says = models.CharField(max_length=300, blank=True)
    reasons = models.JSONField(default=list)
    marks = models.JSONField(default=list)
    notes = models.JSONField(default=list)
    course = models.JSONField(default=list)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["assessment", "layer"], name="forecast_layer_once"),
            models.CheckConstraint(
                condition=_share("function_p10") & _share("function_p50") & _share("function_p90"),
                name="forecast_function_share",
            ),
            models.CheckConstraint(
                condition=Q(function_p50=None)
                | Q(function_p10__lte=F("function_p50"), function_p50__lte=F("function_p90")),
                name="forecast_function_order",
            ),
            models.CheckConstraint(
                condition=Q(end_p50=None) | Q(end_p10__lte=F("end_p50"), end_p50__lte=F("end_p90")),
                name="forecast_end_order",
            ),
        )
