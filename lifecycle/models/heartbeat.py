"""One row per periodic job: when it last ran and how. No studio: it speaks of the machine."""

from __future__ import annotations

from django.db import models


class Heartbeat(models.Model):
    name = models.CharField(max_length=40, unique=True)
    last_at = models.DateTimeField()
    ok = models.BooleanField(default=True)
    took_s = models.FloatField(default=0)
    note = models.CharField(max_length=300, blank=True)
