"""A studio's own words for its mails, and what was sent to try them."""

from __future__ import annotations

import uuid

from django.db import models

from .base import StudioRow
from .people import Member


class MailWording(StudioRow):
    """One sentence of one kind of mail in one language, as the studio put it; "" goes back to the built-in words. The
    latest row holds, earlier ones stay."""

    kind = models.CharField(max_length=20)
    language = models.CharField(max_length=8)
    part = models.CharField(max_length=20)
    text = models.TextField(blank=True)
    by = models.ForeignKey(Member, null=True, blank=True, on_delete=models.SET_NULL, related_name="+")
    at = models.DateTimeField()

    class Meta:
        ordering = ("at", "id")
        indexes = (models.Index(fields=["studio", "kind", "language", "part"], name="wording_latest"),)


class MailTrial(StudioRow):
    """A mail that a member sent to their own address to see it. It is no reminder, counts as none, and keeps no words
    and no address: only who tried which kind, and what became of it."""

    uid = models.UUIDField(default=uuid.uuid4, unique=True, editable=False)
    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="+")
    kind = models.CharField(max_length=20)
    language = models.CharField(max_length=8)
    at = models.DateTimeField()
    outcome = models.CharField(max_length=12)
    error = models.TextField(blank=True)

    class Meta:
        ordering = ("-at", "-id")
