"""What programs get in with, and what they were answered."""

from __future__ import annotations

from django.db import models
from django.db.models import F, Q

from .base import StudioRow
from .people import Member


class ApiToken(StudioRow):
    """A member's token for programs. Only the SHA-256 of it stands here: 256 random bits need no slow hash.

    `minute` (since 1970, UTC) and `used` count the requests of the present minute for the rate limit.
    """

    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="api_tokens")
    name = models.CharField(max_length=60)
    digest = models.CharField(max_length=64, unique=True)
    scopes = models.JSONField(default=list)
    made_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    ended_at = models.DateTimeField(null=True, blank=True)
    last_used_on = models.DateField(null=True, blank=True)
    minute = models.PositiveBigIntegerField(default=0)
    used = models.PositiveIntegerField(default=0)

    class Meta:
        ordering = ("-made_at", "-id")
        constraints = (models.CheckConstraint(condition=Q(ends_at__gt=F("made_at")), name="token_order"),)

    def __str__(self) -> str:
        return self.name


class ApiAnswer(StudioRow):
    """What a deed was answered, kept under the key that its sender gave it. `status` None: under way, claimed until
    `lease_until`. Only digests of the key and of the request stand here."""

    token = models.ForeignKey(ApiToken, on_delete=models.CASCADE, related_name="answers")
    key_digest = models.CharField(max_length=64)
    request_digest = models.CharField(max_length=64)
    claim = models.UUIDField(null=True, blank=True)
    lease_until = models.DateTimeField(null=True, blank=True)
    status = models.PositiveSmallIntegerField(null=True, blank=True)
    body = models.TextField(blank=True)
    location = models.CharField(max_length=200, blank=True)
    made_at = models.DateTimeField(db_index=True)

    class Meta:
        constraints = (
            models.UniqueConstraint(fields=["token", "key_digest"], name="answer_once"),
            models.CheckConstraint(
                condition=Q(status__isnull=False) | Q(claim__isnull=False, lease_until__isnull=False),
                name="answer_or_claim",
            ),
        )
