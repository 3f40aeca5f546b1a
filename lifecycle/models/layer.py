"""What was put where: products of the studio, the layers that stand on surfaces, and packages of layers."""

from __future__ import annotations

from django.db import models
from django.db.models import Case, F, Q, Value, When

from .base import StudioRow
from .people import Member
from .surface import Surface

# The base coat of a surface; care.stack_rules says the same, and a test holds them together.
BASE_KINDS = (
    "ceramic_entry", "ceramic_mid", "ceramic_top", "engine_bay_coating", "headlamp_coat", "leather_coat",
    "side_glass_coat", "textile_guard", "trim_coat", "wheel_coat", "windscreen_coat",
)  # fmt: skip
FILM_KINDS = ("film_body", "wrap")
WINDOWS = (
    ("air_low_c", "air_high_c"), ("surface_low_c", "surface_high_c"), ("rh_low_pct", "rh_high_pct"),
    ("recoat_low_h", "recoat_high_h"),
)  # fmt: skip
CURE_FIELDS = ("keep_dry_h", "no_wash_days", "no_chemicals_days", "full_days")


class Product(StudioRow):
    """A product that the studio uses. `life_low_months`/`life_high_months` overrule the life table (10-90 %).

    The windows and cure times are those of its data sheet, None where common practice holds; `allowed_over` names kinds
    of layer that the sheet permits as a ground.
    """

    code = models.CharField(max_length=20)
    name = models.CharField(max_length=120)
    kind = models.CharField(max_length=30)
    life_low_months = models.FloatField(null=True, blank=True)
    life_high_months = models.FloatField(null=True, blank=True)
    thickness_um = models.FloatField(null=True, blank=True)
    caution = models.TextField(blank=True)
    air_low_c = models.FloatField(null=True, blank=True)
    air_high_c = models.FloatField(null=True, blank=True)
    surface_low_c = models.FloatField(null=True, blank=True)
    surface_high_c = models.FloatField(null=True, blank=True)
    rh_low_pct = models.FloatField(null=True, blank=True)
    rh_high_pct = models.FloatField(null=True, blank=True)
    recoat_low_h = models.FloatField(null=True, blank=True)
    recoat_high_h = models.FloatField(null=True, blank=True)
    keep_dry_h = models.FloatField(null=True, blank=True)
    no_wash_days = models.FloatField(null=True, blank=True)
    no_chemicals_days = models.FloatField(null=True, blank=True)
    full_days = models.FloatField(null=True, blank=True)
    allowed_over = models.JSONField(default=list, blank=True)
    matte_fit = models.BooleanField(default=False)
    isocyanates = models.BooleanField(default=False)
    solvents = models.BooleanField(default=False)

    class Meta:
        ordering = ("code",)
        constraints = (
            models.UniqueConstraint(fields=["studio", "code"], name="product_code"),
            models.CheckConstraint(
                condition=Q(life_low_months=None, life_high_months=None)
                | Q(life_low_months__gt=0, life_high_months__gt=F("life_low_months")),
                name="product_life",
            ),
            *(
                models.CheckConstraint(
                    condition=Q(**{low: None}) | Q(**{high: None}) | Q(**{f"{low}__lte": F(high)}),
                    name=f"product_{low.removesuffix('_c').removesuffix('_pct').removesuffix('_h')}",
                )
                for low, high in WINDOWS
            ),
        )

    def __str__(self) -> str:
        return f"{self.code} {self.name}"


class Layer(StudioRow):
    """A layer with how it was put on: the preparation, what was measured, and what was recorded against a rule.

    `overridden`: the findings that were gone against, with `override_reason` in the words of who did it.
    """

    surface = models.ForeignKey(Surface, on_delete=models.CASCADE, related_name="layers")
    product = models.ForeignKey(Product, null=True, blank=True, on_delete=models.PROTECT, related_name="layers")
    kind = models.CharField(max_length=30)
    applied = models.DateField()
    coats = models.PositiveSmallIntegerField(default=1)
    batch = models.CharField(max_length=40, blank=True)
    applicator = models.ForeignKey(Member, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    ended = models.DateField(null=True, blank=True)
    ended_why = models.CharField(max_length=60, blank=True)
    prep = models.JSONField(default=list, blank=True)
    air_c = models.FloatField(null=True, blank=True)
    surface_c = models.FloatField(null=True, blank=True)
    rh_pct = models.FloatField(null=True, blank=True)
    coat_gap_h = models.FloatField(null=True, blank=True)
    overridden = models.JSONField(default=list, blank=True)
    override_reason = models.CharField(max_length=500, blank=True)

    class Meta:
        ordering = ("applied", "id")
        constraints = (
            models.CheckConstraint(condition=Q(ended=None) | Q(ended__gte=F("applied")), name="layer_order"),
            models.CheckConstraint(condition=Q(coats__gte=1, coats__lte=12), name="layer_coats"),
            models.CheckConstraint(condition=Q(rh_pct=None) | Q(rh_pct__gte=0, rh_pct__lte=100), name="layer_humidity"),
            # No two live base coats, films or toppers of one kind on a surface, whatever the code above does.
            models.UniqueConstraint(
                F("surface"),
                Case(
                    When(kind__in=BASE_KINDS, then=Value("base")),
                    When(kind__in=FILM_KINDS, then=Value("film")),
                    default=F("kind"),
                ),
                condition=Q(ended=None) & ~Q(kind="unknown"),
                name="layer_one_live",
            ),
        )
        indexes = (models.Index(fields=["studio", "batch"], name="layer_batch"),)


class LayerPackage(StudioRow):
    """Layers that are sold and put on together; a retired one stays for the record and is no longer offered."""

    name = models.CharField(max_length=80)
    note = models.TextField(blank=True)
    retired_on = models.DateField(null=True, blank=True)

    class Meta:
        ordering = ("name",)
        constraints = (models.UniqueConstraint(fields=["studio", "name"], name="package_name"),)

    def __str__(self) -> str:
        return self.name


class PackageItem(StudioRow):
    """One product of a package and where it goes: a rule of `care.package_rules`, or `codes` of surfaces."""

    package = models.ForeignKey(LayerPackage, on_delete=models.CASCADE, related_name="items")
    order = models.PositiveSmallIntegerField()
    product = models.ForeignKey(Product, on_delete=models.PROTECT, related_name="+")
    coats = models.PositiveSmallIntegerField(default=1)
    where = models.CharField(max_length=20)
    codes = models.JSONField(default=list, blank=True)

    class Meta:
        ordering = ("order", "id")
        constraints = (
            models.UniqueConstraint(fields=["package", "order"], name="package_item_order"),
            models.CheckConstraint(condition=Q(coats__gte=1, coats__lte=12), name="package_item_coats"),
        )
