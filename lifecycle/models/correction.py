"""Clear coat that was taken off, by estimate, as a ledger; and the plans and consents that came before it."""

from __future__ import annotations

from typing import Any

from django.db import models
from django.db.models import F, Q

from lifecycle.wear.choices import REMOVAL_STAGES

from .base import StudioRow, Withdrawable
from .inspection import Inspection
from .journal import guard_statements, unguard_statements
from .people import Customer, Member
from .surface import Surface
from .vehicle import Vehicle

GUARDED = ("lifecycle_correctionplan", "lifecycle_correctionpanel", "lifecycle_correctionconsent")
PLANNED_STAGES = ("finishing", "one_step", "cut_and_refine")


class CorrectionPlan(StudioRow):
    """What was planned for the paint of a vehicle on one day, panel by panel. A newer plan follows it; it never
    changes. `inspection`: the one whose findings it answers."""

    vehicle = models.ForeignKey(Vehicle, on_delete=models.PROTECT, related_name="correction_plans")
    on = models.DateField()
    made_at = models.DateTimeField()
    member = models.ForeignKey(Member, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    inspection = models.ForeignKey(Inspection, null=True, blank=True, on_delete=models.PROTECT, related_name="+")
    note = models.CharField(max_length=300, blank=True)

    class Meta:
        ordering = ("made_at", "id")


class CorrectionPanel(StudioRow):
    """One painted panel of a plan. `stage` "": nothing was asked for; `goes`: it was asked for and the budget bears it.
    Lengths in µm and shares from 0 to 1 as 10-90 % ranges; None where the paint is not known."""

    plan = models.ForeignKey(CorrectionPlan, on_delete=models.PROTECT, related_name="panels")
    surface = models.ForeignKey(Surface, on_delete=models.PROTECT, related_name="planned_corrections")
    stage = models.CharField(max_length=20, blank=True)
    passes = models.PositiveSmallIntegerField(default=1)
    goes = models.BooleanField(default=False)
    decision = models.CharField(max_length=30)
    why = models.TextField()
    takes_low_um = models.FloatField(null=True, blank=True)
    takes_high_um = models.FloatField(null=True, blank=True)
    share_low = models.FloatField(null=True, blank=True)
    share_high = models.FloatField(null=True, blank=True)
    budget_low_um = models.FloatField(null=True, blank=True)
    budget_high_um = models.FloatField(null=True, blank=True)
    left_before_low = models.PositiveSmallIntegerField(null=True, blank=True)
    left_before_high = models.PositiveSmallIntegerField(null=True, blank=True)
    left_after_low = models.PositiveSmallIntegerField(null=True, blank=True)
    left_after_high = models.PositiveSmallIntegerField(null=True, blank=True)

    class Meta:
        ordering = ("id",)
        constraints = (
            models.UniqueConstraint(fields=["plan", "surface"], name="correction_panel_once"),
            models.CheckConstraint(condition=Q(stage__in=("", *PLANNED_STAGES)), name="correction_panel_stage"),
            models.CheckConstraint(condition=Q(goes=False) | ~Q(stage=""), name="correction_panel_goes"),
            models.CheckConstraint(condition=Q(passes__gte=1, passes__lte=10), name="correction_panel_passes"),
        )


class ConsentWay(models.TextChoices):
    SIGNED = "signed", "signed on screen"
    MAIL = "mail", "by mail"
    SPOKEN = "spoken", "spoken and noted"


class ConsentBy(models.TextChoices):
    KEEPER = "keeper", "the keeper"
    SENT = "sent", "somebody whom the keeper sent"


class CorrectionConsent(StudioRow):
    """What a plan's customer said to it, in the words that were shown; the latest holds. No name stands here, so that
    it outlives the erasure of a person. `signature_sha256`: of the strokes, which are kept apart and can be erased."""

    plan = models.ForeignKey(CorrectionPlan, on_delete=models.PROTECT, related_name="consents")
    customer = models.ForeignKey(Customer, on_delete=models.PROTECT, related_name="correction_consents")
    by = models.CharField(max_length=10, choices=ConsentBy.choices)
    given = models.BooleanField()
    at = models.DateTimeField()
    how = models.CharField(max_length=10, choices=ConsentWay.choices)
    wording = models.TextField()
    note = models.CharField(max_length=300, blank=True)
    signature_sha256 = models.CharField(max_length=64, blank=True)

    class Meta:
        ordering = ("at", "id")
        constraints = (
            models.CheckConstraint(condition=Q(how__in=ConsentWay.values), name="correction_consent_how"),
            models.CheckConstraint(condition=Q(by__in=ConsentBy.values), name="correction_consent_by"),
            models.CheckConstraint(
                condition=~Q(how="signed") | ~Q(signature_sha256=""), name="correction_consent_signed"
            ),
        )


class CorrectionSignature(StudioRow):
    """The lines of a consent that was signed on screen, as a report's. Personal data, which an erasure deletes."""

    consent = models.OneToOneField(CorrectionConsent, on_delete=models.PROTECT, related_name="signature")
    strokes = models.JSONField(default=list)


class Correction(Withdrawable):
    """`removal_low_um`/`removal_high_um`: the removal if it was measured; None: the stage's table value holds.
    `planned`: the panel of the plan that it carries out. `before`/`after`: inspections with readings on either side.
    `happened_elsewhere`: it is recorded because it is true, though no budget was asked. `found`: what it found on its
    surface, so that a wrong entry can be taken back."""

    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="corrections")
    on = models.DateField()
    stage = models.CharField(max_length=20)
    passes = models.PositiveSmallIntegerField(default=1)
    removal_low_um = models.FloatField(null=True, blank=True)
    removal_high_um = models.FloatField(null=True, blank=True)
    member = models.ForeignKey(Member, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    planned = models.OneToOneField(
        CorrectionPanel, null=True, blank=True, on_delete=models.PROTECT, related_name="correction"
    )
    before = models.ForeignKey(Inspection, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    after = models.ForeignKey(Inspection, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    happened_elsewhere = models.BooleanField(default=False)
    found = models.JSONField(default=dict, blank=True)

    class Meta:
        ordering = ("on", "id")
        constraints = (
            models.CheckConstraint(condition=Q(stage__in=REMOVAL_STAGES), name="correction_stage"),
            models.CheckConstraint(
                condition=Q(removal_low_um=None, removal_high_um=None)
                | Q(removal_low_um__gte=0, removal_high_um__gte=F("removal_low_um")),
                name="correction_removal",
            ),
        )


def guard_corrections(apps: Any, schema_editor: Any) -> None:
    """Make the database refuse to change or delete plans and what was said to them."""
    for statement in guard_statements(schema_editor.connection.vendor, GUARDED):
        schema_editor.execute(statement, params=None)  # no parameters: "%" is the function's own


def unguard_corrections(apps: Any, schema_editor: Any) -> None:
    """The reverse of `guard_corrections`."""
    for statement in unguard_statements(schema_editor.connection.vendor, GUARDED):
        schema_editor.execute(statement, params=None)
