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


class StandingManager(models.Manager[Any]):
    """Only the rows that stand; what was withdrawn is asked for through `every`."""

    def get_queryset(self) -> StudioQuerySet:
        return StudioQuerySet(self.model, using=self._db).filter(withdrawn_at=None)

    def of(self, studio: Any) -> StudioQuerySet:
        return self.get_queryset().of(studio)


class Withdrawable(StudioRow):
    """Abstract: a row that can be withdrawn as a wrong entry. It stays, with the day and the reason, and counts for
    nothing: `objects` and every relation leave it out."""

    withdrawn_at = models.DateTimeField(null=True, blank=True)
    withdrawn_why = models.CharField(max_length=200, blank=True)

    objects = StandingManager()  # type: ignore[assignment,misc]
    every = StudioQuerySet.as_manager()

    class Meta:
        abstract = True
