"""Who there is: users, the studio with its sites and bays, members, customers, consent, complaints."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any, ClassVar
from zoneinfo import ZoneInfo

from django.contrib.auth.base_user import BaseUserManager
from django.contrib.auth.models import AbstractUser
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower

from .base import StudioRow


class UserManager(BaseUserManager["User"]):
    """Users are known by their e-mail address."""

    def create_user(self, email: str, password: str | None = None, **fields: Any) -> User:
        if not email:
            raise ValueError("A user needs an e-mail address.")
        user = self.model(email=self.normalize_email(email).lower(), **fields)
        user.set_password(password)
        user.save(using=self._db)
        return user

    def create_superuser(self, email: str, password: str | None = None, **fields: Any) -> User:
        return self.create_user(email, password, is_staff=True, is_superuser=True, **fields)


class User(AbstractUser):
    """A person who can sign in. Members have a password and a second factor; customers a code by e-mail."""

    username = None  # type: ignore[assignment]
    email = models.EmailField("e-mail address", unique=True)
    name = models.CharField(max_length=120, blank=True)

    USERNAME_FIELD = "email"
    REQUIRED_FIELDS: ClassVar[list[str]] = []

    objects = UserManager()  # type: ignore[assignment,misc]

    class Meta:
        constraints = (models.UniqueConstraint(Lower("email"), name="user_email_any_case"),)

    def __str__(self) -> str:
        return self.name or self.email

    def get_full_name(self) -> str:
        return self.name or self.email


class Studio(models.Model):
    name = models.CharField(max_length=120)
    slug = models.SlugField(unique=True)
    currency = models.CharField(max_length=3, default="EUR")
    zone = models.CharField(max_length=64, default="UTC")
    language = models.CharField(max_length=8, default="en")
    phone = models.CharField(max_length=40, blank=True)
    reply_to = models.EmailField(blank=True)
    paused_at = models.DateTimeField(null=True, blank=True)
    # Until so many hours before its start a customer cancels or moves a visit on their own page; then they phone.
    visit_notice_h = models.PositiveSmallIntegerField(default=24)
    # What the owner sees before it goes out: the first mail in new words, prices, many mails at once.
    approve_first = models.BooleanField(default=True)
    approve_prices = models.BooleanField(default=True)
    approve_batches = models.BooleanField(default=True)

    class Meta:
        constraints = (models.CheckConstraint(condition=Q(visit_notice_h__lte=336), name="studio_visit_notice"),)

    def __str__(self) -> str:
        return self.name

    def day(self, at: datetime) -> date:
        """The calendar day at the studio."""
        return at.astimezone(ZoneInfo(self.zone)).date()


class Site(StudioRow):
    name = models.CharField(max_length=120)
    lat = models.FloatField()
    lon = models.FloatField()
    height_m = models.FloatField(null=True, blank=True)
    sea_distance_m = models.FloatField(null=True, blank=True)
    zone = models.CharField(max_length=64, default="UTC")
    road_salt = models.CharField(max_length=12, default="none")
    # Whose public holidays it keeps, by ISO 3166; "" keeps none.
    country = models.CharField(max_length=2, blank=True)
    subdivision = models.CharField(max_length=12, blank=True)
    # Share of a week's hours that planning fills, in percent; the rest is for what comes up.
    load_target = models.PositiveSmallIntegerField(default=80)

    class Meta:
        constraints = (
            models.CheckConstraint(condition=Q(load_target__gte=75, load_target__lte=85), name="site_load_target"),
            models.CheckConstraint(condition=Q(lat__gte=-90, lat__lte=90), name="site_lat"),
            models.CheckConstraint(condition=Q(lon__gte=-180, lon__lte=180), name="site_lon"),
            models.UniqueConstraint(fields=["studio", "name"], name="site_name"),
        )

    def __str__(self) -> str:
        return self.name

    def day(self, at: datetime) -> date:
        """The calendar day at the site."""
        return at.astimezone(ZoneInfo(self.zone)).date()


class Bay(StudioRow):
    site = models.ForeignKey(Site, on_delete=models.CASCADE, related_name="bays")
    name = models.CharField(max_length=60)
    # A car may stay here while its coat cures; until then nothing else comes in.
    warm_still = models.BooleanField(default=False)

    class Meta:
        constraints = (models.UniqueConstraint(fields=["site", "name"], name="bay_name"),)

    def __str__(self) -> str:
        return self.name


class Role(models.TextChoices):
    OWNER = "owner", "owner"
    TECHNICIAN = "technician", "technician"
    DESK = "desk", "desk"


class Member(StudioRow):
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    role = models.CharField(max_length=12, choices=Role.choices)
    ended_at = models.DateTimeField(null=True, blank=True)
    # Owners get the outlook as a letter once a month, unless they have switched it off.
    monthly_letter = models.BooleanField(default=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["studio", "user"], condition=Q(ended_at=None), name="member_once"),
            models.CheckConstraint(condition=Q(role__in=Role.values), name="member_role"),
        )

    def __str__(self) -> str:
        return str(self.user)


class Customer(StudioRow):
    """A person or a firm whose vehicles the studio looks after. `zone` decides the quiet hours: `quiet_from` to
    `quiet_to` on that clock (both None: those of the house); no reminder comes before the day `paused_until`. Once
    `erased_at` is set, nothing here says who it was."""

    name = models.CharField(max_length=160)
    email = models.EmailField(blank=True)
    phone = models.CharField(max_length=40, blank=True)
    language = models.CharField(max_length=8, default="en")
    # metric, uk or us; "": as is usual in the country where the vehicle is looked after.
    units = models.CharField(max_length=8, blank=True)
    zone = models.CharField(max_length=64, default="UTC")
    fleet = models.BooleanField(default=False)
    user = models.ForeignKey(User, null=True, blank=True, on_delete=models.SET_NULL, related_name="customers")
    since = models.DateField(null=True, blank=True)
    quiet_from = models.TimeField(null=True, blank=True)
    quiet_to = models.TimeField(null=True, blank=True)
    paused_until = models.DateField(null=True, blank=True)
    erased_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint("studio", Lower("email"), condition=~Q(email=""), name="customer_email_once"),
            models.UniqueConstraint(fields=["studio", "user"], condition=Q(user__isnull=False), name="customer_user"),
            models.CheckConstraint(
                condition=Q(quiet_from=None, quiet_to=None) | Q(quiet_from__isnull=False, quiet_to__isnull=False),
                name="customer_quiet_whole",
            ),
        )

    def __str__(self) -> str:
        return self.name


class Purpose(models.TextChoices):
    SERVICE = "service", "care reminders"
    PROMOTION = "promotion", "offers"


class Consent(StudioRow):
    """One statement of consent or of its withdrawal; the latest of a purpose holds. Never changed, only followed."""

    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="consents")
    purpose = models.CharField(max_length=12, choices=Purpose.choices)
    given = models.BooleanField()
    at = models.DateTimeField()
    how = models.CharField(max_length=60)
    wording = models.TextField()

    class Meta:
        ordering = ("at", "id")
        indexes = (models.Index(fields=["customer", "purpose", "at"], name="consent_latest"),)
        constraints = (models.CheckConstraint(condition=Q(purpose__in=Purpose.values), name="consent_purpose"),)


class Suppression(StudioRow):
    """An address that must not be written to: it bounced hard, complained, or asked. Of an erased person only the
    keyed `digest` of the address stays (`lifecycle.care.addresses`)."""

    email = models.EmailField(blank=True)
    digest = models.CharField(max_length=64, blank=True)
    why = models.CharField(max_length=20)
    at = models.DateTimeField()
    lifted_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(
                "studio", Lower("email"), condition=Q(lifted_at=None) & ~Q(email=""), name="suppression_once"
            ),
            models.UniqueConstraint(
                fields=["studio", "digest"], condition=Q(lifted_at=None) & ~Q(digest=""), name="suppression_digest_once"
            ),
            models.CheckConstraint(condition=~Q(email="", digest=""), name="suppression_of_somebody"),
        )


class Complaint(StudioRow):
    """A complaint or a claim; while it is open nothing promotional is sent."""

    customer = models.ForeignKey(Customer, on_delete=models.CASCADE, related_name="complaints")
    vehicle = models.ForeignKey("lifecycle.Vehicle", null=True, blank=True, on_delete=models.CASCADE)
    about = models.TextField()
    opened_at = models.DateTimeField()
    closed_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = (
            models.CheckConstraint(
                condition=Q(closed_at=None) | Q(closed_at__gte=models.F("opened_at")), name="complaint_order"
            ),
        )
