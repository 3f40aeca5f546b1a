"""A paper that belongs to a product: its safety data sheet or product data sheet, in one revision."""

from __future__ import annotations

import uuid

from django.db import models
from django.db.models import Q

from .base import StudioRow
from .layer import Product


class DocumentKind(models.TextChoices):
    SDS = "sds", "safety data sheet"
    PDS = "pds", "product data sheet"


class Document(StudioRow):
    """`revision`: as printed on it; `revised_on`: the day printed on it, or the day on which it was got."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="documents")
    kind = models.CharField(max_length=3, choices=DocumentKind.choices)
    revision = models.CharField(max_length=40, blank=True)
    revised_on = models.DateField()
    language = models.CharField(max_length=8)
    file = models.FileField(max_length=200)
    size = models.PositiveIntegerField()
    sha256 = models.CharField(max_length=64)
    added_at = models.DateTimeField()
    retired_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("-revised_on", "-added_at", "-id")
        constraints = (
            models.CheckConstraint(condition=Q(kind__in=DocumentKind.values), name="document_kind"),
            models.UniqueConstraint(
                fields=["product", "kind", "language", "sha256"],
                condition=Q(retired_at=None),
                name="document_once",
            ),
        )
