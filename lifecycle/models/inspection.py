"""What was seen: inspections with readings, findings and photos, and the gauges that measured."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.choices import CLEAN_STATES

from .base import StudioRow
from .people import Member
from .surface import Surface
from .vehicle import Vehicle


class InspectionKind(models.TextChoices):
    WALK_AROUND = "walk_around", "walk-around"
    PRE_DETAIL = "pre_detail", "pre-detail inspection"
    AFTER_WORK = "after_work", "after the work"
    CHECK = "check", "check"


class Inspection(StudioRow):
    """`key` is made by the device that recorded it, so that a record that is sent twice is stored once.
    `rough_low`/`rough_high`: the rough price named after a walk-around, in the studio's currency. `open`: findings are
    being placed now; at most one inspection of a vehicle is open."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="inspections")
    kind = models.CharField(max_length=12, choices=InspectionKind.choices, default=InspectionKind.CHECK)
    on = models.DateField()
    clean_state = models.CharField(max_length=16)
    light = models.CharField(max_length=40, blank=True)
    by = models.CharField(max_length=10, default="studio")
    member = models.ForeignKey(Member, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    note = models.TextField(blank=True)
    rough_low = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    rough_high = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    open = models.BooleanField(default=False)
    key = models.UUIDField(null=True, blank=True)

    class Meta:
        ordering = ("on", "id")
        constraints = (
            models.CheckConstraint(condition=Q(clean_state__in=CLEAN_STATES), name="inspection_clean_state"),
            models.CheckConstraint(condition=Q(by__in=("studio", "customer")), name="inspection_by"),
            models.CheckConstraint(condition=Q(kind__in=InspectionKind.values), name="inspection_kind"),
            models.CheckConstraint(
                condition=Q(rough_low=None, rough_high=None) | Q(rough_low__gte=0, rough_high__gte=F("rough_low")),
                name="inspection_rough_price",
            ),
            models.UniqueConstraint(fields=["studio", "key"], condition=Q(key__isnull=False), name="inspection_key"),
            models.UniqueConstraint(fields=["vehicle"], condition=Q(open=True), name="inspection_one_open"),
        )


class Gauge(StudioRow):
    """An instrument of the studio. `sd_um`: its standard uncertainty in µm, film gauges only."""

    name = models.CharField(max_length=80)
    method = models.CharField(max_length=12)
    sd_um = models.FloatField(null=True, blank=True)
    checked_on = models.DateField(null=True, blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("name", "id")
        constraints = (
            models.UniqueConstraint(fields=["studio", "name"], name="gauge_name"),
            models.CheckConstraint(condition=Q(sd_um=None) | Q(sd_um__gt=0, sd_um__lte=100), name="gauge_sd"),
        )

    def __str__(self) -> str:
        return self.name


class ReadingKind(models.TextChoices):
    CONTACT_ANGLE = "contact_angle_deg", "contact angle, degrees"
    BEADING = "beading_score", "beading score, 0 to 5"
    GLOSS = "gloss_gu", "gloss at 20 degrees, GU"
    WORKS = "works", "still works (1) or not (0)"
    THICKNESS = "thickness_um", "total film thickness, µm"


class Reading(StudioRow):
    """One measured value on one surface. Several thickness values of one spot are several rows; `spot` counts the
    spots of a panel from 1, `x` and `y` say where on the panel's outline (0 to 1). `typed` and `unit` keep what the
    person typed; `gauge_checked_on` is the gauge's last check as it stood then."""

    inspection = models.ForeignKey(Inspection, on_delete=models.CASCADE, related_name="readings")
    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="readings")
    kind = models.CharField(max_length=20, choices=ReadingKind.choices)
    value = models.FloatField()
    drops = models.PositiveSmallIntegerField(default=1)
    method = models.CharField(max_length=12, blank=True)
    gauge_sd_um = models.FloatField(null=True, blank=True)
    gauge = models.ForeignKey(Gauge, null=True, blank=True, on_delete=models.PROTECT, related_name="readings")
    gauge_checked_on = models.DateField(null=True, blank=True)
    typed = models.CharField(max_length=12, blank=True)
    unit = models.CharField(max_length=3, blank=True)
    spot = models.PositiveSmallIntegerField(null=True, blank=True)
    x = models.FloatField(null=True, blank=True)
    y = models.FloatField(null=True, blank=True)

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
            models.CheckConstraint(
                condition=Q(x=None, y=None) | Q(x__gte=0, x__lte=1, y__gte=0, y__lte=1), name="reading_place"
            ),
        )


class FindingKind(models.TextChoices):
    SWIRLS = "swirls", "swirl marks"
    SCUFF = "scuff", "scuff"
    CHIP = "chip", "stone chip"
    SCRATCH = "scratch", "isolated deep scratch"
    OXIDATION = "oxidation", "oxidation"
    FADING = "fading", "fading"
    WATER_ETCHING = "water_etching", "water etching"
    BIRD_ETCHING = "bird_etching", "bird dropping etching"
    TOUCH_UP = "touch_up", "previous touch-up"
    REFINISH = "refinish", "refinish"
    BUFFER_TRAILS = "buffer_trails", "buffer trails"
    RESIDUE = "residue", "residue"
    GAP_FIT = "gap_fit", "gap or fit"
    OVERSPRAY = "overspray", "overspray"
    STAINING = "staining", "staining"
    EDGE_LIFT = "edge_lift", "film edge lifting"
    CRACK = "crack", "crack"
    OTHER = "other", "other"


class Finding(StudioRow):
    """One thing that was noticed. `x` and `y` (0 to 1) say where: on the outline of its surface (`on_outline`), else
    on the plan of the vehicle. `key` is made by the device, so that it is stored once."""

    inspection = models.ForeignKey(Inspection, on_delete=models.CASCADE, related_name="findings")
    surface = models.ForeignKey(Surface, null=True, blank=True, on_delete=models.CASCADE)
    kind = models.CharField(max_length=16, choices=FindingKind.choices)
    severity = models.PositiveSmallIntegerField(default=1)
    size_mm = models.FloatField(null=True, blank=True)
    pre_existing = models.BooleanField(default=True)
    note = models.CharField(max_length=300, blank=True)
    on_outline = models.BooleanField(default=False)
    x = models.FloatField(null=True, blank=True)
    y = models.FloatField(null=True, blank=True)
    key = models.UUIDField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.CheckConstraint(condition=Q(severity__gte=1, severity__lte=5), name="finding_severity"),
            models.CheckConstraint(condition=Q(kind__in=FindingKind.values), name="finding_kind"),
            models.CheckConstraint(
                condition=Q(size_mm=None) | Q(size_mm__gt=0, size_mm__lte=5000), name="finding_size"
            ),
            models.CheckConstraint(
                condition=Q(x=None, y=None) | Q(x__gte=0, x__lte=1, y__gte=0, y__lte=1), name="finding_place"
            ),
            models.UniqueConstraint(fields=["inspection", "key"], condition=Q(key__isnull=False), name="finding_key"),
        )


class Photo(StudioRow):
    """A picture that was taken of a vehicle, encoded anew and without the place where it was taken.
    `sha256` is that of the stored file; `key` is made by the device, so that it is stored once."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="photos")
    inspection = models.ForeignKey(Inspection, null=True, blank=True, on_delete=models.CASCADE, related_name="photos")
    finding = models.ForeignKey(Finding, null=True, blank=True, on_delete=models.CASCADE, related_name="photos")
    surface = models.ForeignKey(Surface, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    file = models.FileField(max_length=200)
    thumbnail = models.FileField(max_length=200)
    width = models.PositiveIntegerField()
    height = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    caption = models.CharField(max_length=200, blank=True)
    by = models.CharField(max_length=10, default="studio")
    added_at = models.DateTimeField()
    key = models.UUIDField(null=True, blank=True)

    class Meta:
        ordering = ("added_at", "id")
        constraints = (
            models.CheckConstraint(condition=Q(by__in=("studio", "customer")), name="photo_by"),
            models.CheckConstraint(condition=Q(width__gt=0, height__gt=0), name="photo_size"),
            models.UniqueConstraint(fields=["studio", "key"], condition=Q(key__isnull=False), name="photo_key"),
        )
