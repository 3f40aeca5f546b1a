"""Prices, and what was recommended, offered and answered. Recommended and offered are different facts."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.choices import SIZES

from .base import StudioRow
from .care import CareDue
from .people import Customer, Site
from .vehicle import Vehicle


class Price(StudioRow):
    """What a care task costs about, by vehicle size, in the studio's currency."""

    task = models.CharField(max_length=40)
    size = models.CharField(max_length=2)
    low = models.DecimalField(max_digits=9, decimal_places=2)
    high = models.DecimalField(max_digits=9, decimal_places=2)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["studio", "task", "size"], name="price_once"),
            models.CheckConstraint(condition=Q(low__gte=0, high__gte=F("low")), name="price_order"),
            models.CheckConstraint(condition=Q(size__in=SIZES), name="price_size"),
        )


class Offer(StudioRow):
    """One piece of advice about one vehicle; what became of it is in its steps.

    `recommended_by`: "member:3", or "cycle" where the rule `reason_code` asked for it. `basis`: what was forecast for
    the surfaces when it was made, so that a later look can say whether the advice was right."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.CASCADE, related_name="offers")
    due = models.ForeignKey(CareDue, null=True, blank=True, on_delete=models.SET_NULL, related_name="offers")
    task = models.CharField(max_length=40)
    price_low = models.DecimalField(max_digits=9, decimal_places=2)
    price_high = models.DecimalField(max_digits=9, decimal_places=2)
    made_at = models.DateTimeField()
    site = models.ForeignKey(Site, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    surfaces = models.JSONField(default=list, blank=True)
    reason_code = models.CharField(max_length=20, blank=True)
    recommended_by = models.CharField(max_length=80, default="cycle")
    basis = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ("made_at", "id")
        constraints = (
            models.UniqueConstraint(fields=["due"], condition=Q(due__isnull=False), name="offer_once_per_due"),
            models.CheckConstraint(
                condition=Q(price_low__gte=0, price_high__gte=F("price_low")), name="offer_price_order"
            ),
        )


class OfferStepKind(models.TextChoices):
    RECOMMENDED = "recommended", "recommended"
    OFFERED = "offered", "offered"
    ACCEPTED = "accepted", "accepted"
    DECLINED = "declined", "declined"
    DEFERRED = "deferred", "deferred"
    EXPIRED = "expired", "expired"
    WITHDRAWN = "withdrawn", "withdrawn"
    DONE = "done", "done"
    OUTCOME = "outcome", "looked at again"


class OfferVerdict(models.TextChoices):
    RIGHT = "right", "the advice was right"
    NOT_RIGHT = "not_right", "the advice was not right"
    CANNOT_TELL = "cannot_tell", "cannot tell"


ABOUT = ("visit", "layer", "event", "inspection")


class OfferStep(StudioRow):
    """Append-only: the latest step of an offer is its answer; an outcome comes after it and answers nothing.

    Attributes:
        price_low, price_high: what was named when it was offered.
        options: what was named beside it, the cheapest adequate one and "nothing now".
        taken, left: of an offer accepted in part, the surfaces that are to be done and those that are left.
        about, about_id: the visit, layer, event or inspection that shows it. No key of the database, since a row
            that is never changed cannot let go of another.
        verdict: of an outcome.
    """

    offer = models.ForeignKey(Offer, on_delete=models.CASCADE, related_name="steps")
    kind = models.CharField(max_length=12, choices=OfferStepKind.choices)
    at = models.DateTimeField()
    channel = models.CharField(max_length=20, blank=True)
    why = models.CharField(max_length=200, blank=True)
    until = models.DateField(null=True, blank=True)
    price_low = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    price_high = models.DecimalField(max_digits=9, decimal_places=2, null=True, blank=True)
    options = models.JSONField(default=list, blank=True)
    taken = models.JSONField(default=list, blank=True)
    left = models.JSONField(default=list, blank=True)
    about = models.CharField(max_length=12, blank=True)
    about_id = models.BigIntegerField(null=True, blank=True)
    verdict = models.CharField(max_length=12, blank=True, choices=OfferVerdict.choices)

    class Meta:
        ordering = ("at", "id")
        constraints = (
            models.CheckConstraint(condition=Q(kind__in=OfferStepKind.values), name="offer_step_kind"),
            models.CheckConstraint(
                condition=Q(kind="outcome", verdict__in=OfferVerdict.values) | (~Q(kind="outcome") & Q(verdict="")),
                name="offer_step_verdict",
            ),
            models.CheckConstraint(
                condition=Q(about="", about_id=None) | Q(about__in=ABOUT, about_id__isnull=False),
                name="offer_step_about",
            ),
        )


class OfferTold(StudioRow):
    """To whom a step was said. A row of its own, so that an erasure can unlink the person from a step that is never
    changed."""

    step = models.OneToOneField(OfferStep, on_delete=models.CASCADE, related_name="told")
    customer = models.ForeignKey(Customer, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
