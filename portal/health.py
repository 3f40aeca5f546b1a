"""Whether the portal and its worker are alive: for probes, and for the banner on the studio's pages."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from django.db import DatabaseError
from django.http import HttpRequest, JsonResponse
from django.utils import timezone
from django.views.decorators.cache import never_cache

from lifecycle import tasks
from portal.access.registry import access


@dataclass(frozen=True, slots=True)
class Silence:
    """Steps that do not run. `worker` is true when none of them does; `since` is None where none was ever heard of."""

    steps: tuple[str, ...]
    worker: bool
    since: datetime | None


def silence(at: datetime) -> Silence | None:
    """What has not been heard of at `at` (aware), in words for a person; None while all is well."""
    names = tasks.stale(at)
    if not names:
        return None
    since = tasks.worker_silent_since(at)
    never = since is not None and since.year == 1  # the far past stands for never
    return Silence(
        steps=tuple(tasks.STEPS[name].says.lower() for name in names),
        worker=since is not None,
        since=None if never else since,
    )


@access("public")
@never_cache
def healthz(request: HttpRequest) -> JsonResponse:
    """200 while every periodic step has been heard of lately, else 503 with the names of the silent ones."""
    try:
        silent = tasks.stale(timezone.now())
    except DatabaseError:
        return JsonResponse({"ok": False, "database": "unreachable or not migrated"}, status=503)
    return JsonResponse({"ok": not silent, "silent_steps": silent}, status=503 if silent else 200)
