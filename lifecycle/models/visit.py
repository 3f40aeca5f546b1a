"""Visits: proposed by the plan, booked by people."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .care import CareDue
from .people import Bay, Customer, Member, Site
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
    # Day and bay that the site's calendar suggests inside the window, and why; nobody is bound by them.
    planned_on = models.DateField(null=True, blank=True)
    planned_bay = models.ForeignKey(Bay, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    planned_why = models.TextField(blank=True)

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
    ASKED = "asked", "asked for"
    OFFERED = "offered", "other days offered"
    BOOKED = "booked", "booked"
    DONE = "done", "done"
    CANCELLED = "cancelled", "cancelled"
    NO_SHOW = "no_show", "did not come"
    DECLINED = "declined", "declined"


# Not over yet: the studio or the customer has still to act.
OPEN_VISITS = (VisitState.ASKED, VisitState.OFFERED, VisitState.BOOKED)
REQUESTS = (VisitState.ASKED, VisitState.OFFERED)


class PartOfDay(models.TextChoices):
    ANY = "any", "any time of day"
    MORNING = "morning", "morning"
    AFTERNOON = "afternoon", "afternoon"


class Visit(StudioRow):
    """A visit from the first wish to its end. `on` and `starts` are the day and the clock at its site; before the
    studio has said a time, `part` holds what suits. `sequence` counts the changes that a calendar must
    see. `wanted_on`: the other day that the customer asks for; the booked one holds until the studio answers."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="visits")
    site = models.ForeignKey(Site, on_delete=models.PROTECT, related_name="+")
    bay = models.ForeignKey(Bay, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    proposal = models.ForeignKey(VisitProposal, null=True, blank=True, on_delete=models.SET_NULL, related_name="visits")
    customer = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.SET_NULL, related_name="visits")
    on = models.DateField()
    starts = models.TimeField(null=True, blank=True)
    part = models.CharField(max_length=10, choices=PartOfDay.choices, default=PartOfDay.ANY)
    hours = models.FloatField(default=1)
    tasks = models.JSONField(default=list)
    paid = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    state = models.CharField(max_length=10, choices=VisitState.choices, default=VisitState.BOOKED)
    booked_at = models.DateTimeField()
    settled_at = models.DateTimeField(null=True, blank=True)
    wish = models.CharField(max_length=500, blank=True)
    reason = models.CharField(max_length=300, blank=True)
    offered = models.JSONField(default=list)  # texts like "2026-05-04T09:00", the clock at the site
    wanted_on = models.DateField(null=True, blank=True)
    wanted_part = models.CharField(max_length=10, choices=PartOfDay.choices, default=PartOfDay.ANY)
    sequence = models.PositiveIntegerField(default=0)
    changed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        ordering = ("on", "id")
        indexes = (models.Index(fields=["customer", "on"], name="visit_of_customer"),)
        constraints = (
            models.CheckConstraint(condition=Q(wanted_on=None) | Q(state="booked"), name="visit_wanted_day"),
            models.CheckConstraint(condition=~Q(state__in=OPEN_VISITS) | Q(settled_at=None), name="visit_open_or_over"),
            models.CheckConstraint(condition=~Q(state="offered") | ~Q(offered=[]), name="visit_offers_a_day"),
            models.CheckConstraint(
                condition=Q(part__in=PartOfDay.values, wanted_part__in=PartOfDay.values), name="visit_part_of_day"
            ),
            models.CheckConstraint(condition=Q(state__in=VisitState.values), name="visit_state"),
            models.CheckConstraint(condition=Q(hours__gt=0), name="visit_hours"),
        )


class CalendarFeed(StudioRow):
    """A private calendar address: of a customer, or of a member for one site. The address is signed over the row and
    its `serial`; a new serial ends the old address."""

    customer = models.OneToOneField(Customer, null=True, blank=True, on_delete=models.CASCADE, related_name="feed")
    member = models.ForeignKey(Member, null=True, blank=True, on_delete=models.CASCADE, related_name="feeds")
    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    serial = models.PositiveIntegerField(default=1)
    made_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["member", "site"], name="feed_once"),
            models.CheckConstraint(
                condition=Q(customer__isnull=False, member=None, site=None)
                | Q(customer=None, member__isnull=False, site__isnull=False),
                name="feed_of_one",
            ),
        )
