"""Addresses of the API, under /api/."""

from __future__ import annotations

from django.urls import path

from .v1 import api

urlpatterns = [path("v1/", api.urls)]
