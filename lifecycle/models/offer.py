"""Prices, and what was recommended, offered and answered. Recommended and offered are different facts."""

from __future__ import annotations

from typing import Any

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
    the surfaces when it was made, so that a later look can say whether the advice was right.

    The database itself keeps what the steps say beside the offer (`latest_statements`), so that a page over all advice
    need not read every step: `latest_kind`, `latest_at` of the latest step, outcomes apart, and whether it was ever
    `asked` (offered to somebody) or answered with a yes (`said_yes`)."""

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
    latest_kind = models.CharField(max_length=12, blank=True, editable=False)
    latest_at = models.DateTimeField(null=True, blank=True, editable=False)
    asked = models.BooleanField(default=False, editable=False)
    said_yes = models.BooleanField(default=False, editable=False)

    class Meta:
        ordering = ("made_at", "id")
        indexes = (
            models.Index(fields=["studio", "latest_kind", "latest_at"], name="offer_latest_kind"),
            models.Index(fields=["studio", "latest_at"], name="offer_latest"),
            models.Index(
                fields=["studio", "task", "site", "reason_code", "latest_kind", "asked", "said_yes"],
                name="offer_counts",
            ),
        )
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
        indexes = (models.Index(fields=["studio", "kind", "at"], name="offer_step_kind_at"),)
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


LATEST = """UPDATE lifecycle_offer SET latest_kind = NEW.kind, latest_at = NEW.at
    WHERE id = NEW.offer_id AND (latest_at IS NULL OR latest_at <= NEW.at);
UPDATE lifecycle_offer SET asked = (asked OR NEW.kind = 'offered'), said_yes = (said_yes OR NEW.kind = 'accepted')
    WHERE id = NEW.offer_id AND NEW.kind IN ('offered', 'accepted');"""
WHEN = "WHEN (NEW.kind <> 'outcome')"


def latest_statements(vendor: str) -> list[str]:
    """SQL by which each new step brings its offer up to date. Steps are only ever added, so nothing else is needed.

    A migration that changes the table of offers takes these away first and puts them back (`forget_latest`,
    `keep_latest`): SQLite makes a changed table anew, and a trigger must not name one that is not there meanwhile.

    Args:
        vendor: "sqlite" or "postgresql".
    """
    name, table = "lifecycle_offer_latest", "lifecycle_offerstep"
    if vendor == "sqlite":
        made = f"CREATE TRIGGER {name} AFTER INSERT ON {table} {WHEN} BEGIN {LATEST} END"
        return [f"DROP TRIGGER IF EXISTS {name}", made]
    body = f"BEGIN {LATEST} RETURN NULL; END"
    return [
        f"CREATE OR REPLACE FUNCTION {name}() RETURNS trigger LANGUAGE plpgsql AS $$ {body} $$",
        f"DROP TRIGGER IF EXISTS {name} ON {table}",
        f"CREATE TRIGGER {name} AFTER INSERT ON {table} FOR EACH ROW {WHEN} EXECUTE FUNCTION {name}()",
    ]


def keep_latest(apps: Any, schema_editor: Any) -> None:
    for statement in latest_statements(schema_editor.connection.vendor):
        schema_editor.execute(statement, params=None)  # no parameters: "%" would be the function's own


def forget_latest(apps: Any, schema_editor: Any) -> None:
    on = "" if schema_editor.connection.vendor == "sqlite" else " ON lifecycle_offerstep"
    schema_editor.execute(f"DROP TRIGGER IF EXISTS lifecycle_offer_latest{on}", params=None)
