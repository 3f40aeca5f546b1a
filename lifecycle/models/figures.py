"""A studio's own figure in the place of one of the parameter table."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.types import Mark

from .base import StudioRow
from .layer import Product


class FigureOverride(StudioRow):
    """`key` as in the parameter table; `product`: for that product alone. A new figure is a new row: the one before
    gets the time at which it was `superseded` and stays."""

    product = models.ForeignKey(Product, null=True, blank=True, on_delete=models.PROTECT, related_name="figures")
    key = models.CharField(max_length=80)
    value = models.FloatField()
    low = models.FloatField()
    high = models.FloatField()
    mark = models.CharField(max_length=20)
    source = models.CharField(max_length=300)
    since = models.DateTimeField()
    superseded = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("since", "id")
        constraints = (
            models.UniqueConstraint(
                fields=["studio", "key"], condition=Q(product=None, superseded=None), name="figure_one_of_studio"
            ),
            models.UniqueConstraint(
                fields=["studio", "product", "key"], condition=Q(superseded=None), name="figure_one_of_product"
            ),
            models.CheckConstraint(condition=Q(low__lte=F("value"), value__lte=F("high")), name="figure_range"),
            models.CheckConstraint(condition=Q(mark__in=[mark.value for mark in Mark]), name="figure_mark"),
            models.CheckConstraint(condition=~Q(source=""), name="figure_source"),
            models.CheckConstraint(
                condition=Q(superseded=None) | Q(superseded__gte=F("since")), name="figure_superseded"
            ),
        )
