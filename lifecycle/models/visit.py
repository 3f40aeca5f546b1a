"""Visits: proposed by the plan, booked by people."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .care import CareDue
from .people import Bay, Site
from .vehicle import Vehicle


class ProposalState(models.TextChoices):
    PROPOSED = "proposed", "proposed"
    ACCEPTED = "accepted", "accepted"
    WITHDRAWN = "withdrawn", "withdrawn"


class VisitProposal(StudioRow):
    """A bundle of care windows that one visit can serve. `tasks` are in working order."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="proposals")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    dues = models.ManyToManyField(CareDue, related_name="proposals")
    key = models.CharField(max_length=64)
    earliest = models.DateField()
    ideal = models.DateField()
    latest = models.DateField()
    tasks = models.JSONField(default=list)
    labour_h = models.FloatField()
    cure_h = models.FloatField(default=0)
    why = models.TextField(blank=True)
    state = models.CharField(max_length=10, choices=ProposalState.choices, default=ProposalState.PROPOSED)
    made_at = models.DateTimeField()

    class Meta:
        ordering = ("ideal", "id")
        constraints = (
            models.UniqueConstraint(fields=["vehicle", "key"], condition=Q(state="proposed"), name="proposal_once"),
            models.CheckConstraint(
                condition=Q(earliest__lte=F("ideal"), ideal__lte=F("latest")), name="proposal_window_order"
            ),
            models.CheckConstraint(condition=Q(labour_h__gte=0, cure_h__gte=0), name="proposal_hours"),
        )


class VisitState(models.TextChoices):
    BOOKED = "booked", "booked"
    DONE = "done", "done"
    CANCELLED = "cancelled", "cancelled"
    NO_SHOW = "no_show", "did not come"


class Visit(StudioRow):
    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="visits")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    bay = models.ForeignKey(Bay, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    proposal = models.ForeignKey(VisitProposal, null=True, blank=True, on_delete=models.SET_NULL, related_name="visits")
    on = models.DateField()
    hours = models.FloatField(default=1)
    tasks = models.JSONField(default=list)
    paid = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    state = models.CharField(max_length=10, choices=VisitState.choices, default=VisitState.BOOKED)
    booked_at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("on", "id")
        constraints = (
            models.CheckConstraint(condition=Q(state__in=VisitState.values), name="visit_state"),
            models.CheckConstraint(condition=Q(hours__gt=0), name="visit_hours"),
        )
