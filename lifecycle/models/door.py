"""The one-time keys of the front door."""

from __future__ import annotations

from django.db import models

from .people import User


class SignInKey(models.Model):
    """One mail with a code and a link; using either uses up both. Neither stands here, nor the address that asked:
    only keyed digests. `user` stays empty where nobody here has the address, and such a key opens nothing.

    `caller_digest`: of the network address that asked; the limits count rows by it and by `address_digest`.
    """

    user = models.ForeignKey(User, null=True, blank=True, on_delete=models.CASCADE, related_name="+")
    address_digest = models.CharField(max_length=64)
    caller_digest = models.CharField(max_length=64)
    code_digest = models.CharField(max_length=64)
    link_digest = models.CharField(max_length=64, unique=True)
    goal = models.CharField(max_length=500, blank=True)
    made_at = models.DateTimeField()
    ends_at = models.DateTimeField()
    tries = models.PositiveSmallIntegerField(default=0)
    used_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        indexes = (
            models.Index(fields=["address_digest", "made_at"], name="key_by_address"),
            models.Index(fields=["caller_digest", "made_at"], name="key_by_caller"),
        )
        constraints = (models.CheckConstraint(condition=models.Q(ends_at__gt=models.F("made_at")), name="key_order"),)
