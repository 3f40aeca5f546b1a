"""What was put where: products of the studio and the layers that stand on surfaces."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .people import Member
from .surface import Surface


class Product(StudioRow):
    """A product that the studio uses. `life_low_months`/`life_high_months` overrule the life table (10-90 %)."""

    code = models.CharField(max_length=20)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=30)
    life_low_months = models.FloatField(null=True, blank=True)
    life_high_months = models.FloatField(null=True, blank=True)
    thickness_um = models.FloatField(null=True, blank=True)
    caution = models.TextField(blank=True)

    class Meta:
        ordering = ("code",)
        constraints = (
            models.UniqueConstraint(fields=["studio", "code"], name="product_code"),
            models.CheckConstraint(
                condition=Q(life_low_months=None, life_high_months=None)
                | Q(life_low_months__gt=0, life_high_months__gt=F("life_low_months")),
                name="product_life",
            ),
        )

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Layer(StudioRow):
    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="layers")
    product = models.ForeignKey(Product, null=True, blank=True, on_delete=models.PROTECT, related_name="layers")
    kind = models.CharField(max_length=30)
    applied = models.DateField()
    coats = models.PositiveSmallIntegerField(default=1)
    batch = models.CharField(max_length=40, blank=True)
    applicator = models.ForeignKey(Member, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    ended = models.DateField(null=True, blank=True)
    ended_why = models.CharField(max_length=60, blank=True)

    class Meta:
        ordering = ("applied", "id")
        constraints = (
            models.CheckConstraint(condition=Q(ended=None) | Q(ended__gte=F("applied")), name="layer_order"),
            models.CheckConstraint(condition=Q(coats__gte=1, coats__lte=12), name="layer_coats"),
        )
        indexes = (models.Index(fields=["studio", "batch"], name="layer_batch"),)
