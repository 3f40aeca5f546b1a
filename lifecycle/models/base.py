"""What every row of business data has: its studio."""

from __future__ import annotations

from typing import Any, Self

from django.db import models


class StudioQuerySet(models.QuerySet[Any]):
    def of(self, studio: Any) -> Self:
        """Only the rows of this studio; the one way in for every read."""
        return self.filter(studio=studio)


class StudioRow(models.Model):
    """Abstract: a row that belongs to one studio."""

    studio = models.ForeignKey("lifecycle.Studio", on_delete=models.PROTECT, related_name="+")

    objects = StudioQuerySet.as_manager()

    class Meta:
        abstract = True
