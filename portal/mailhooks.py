"""What comes in about mails: a provider's events, and the unsubscribe link.

Events come through Anymail's webhook views, which know the providers' formats and check the secret
(ANYMAIL_WEBHOOK_SECRET, "name:password"). Without a secret the hooks do not exist: anybody could post to them.
"""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Callable
from functools import wraps
from typing import Any, Final

from anymail.signals import AnymailTrackingEvent, EventType, tracking
from django.conf import settings
from django.dispatch import receiver
from django.http import Http404, HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.csrf import csrf_exempt
from django.views.decorators.http import require_http_methods

from lifecycle.errors import NotFoundHere
from lifecycle.reminders import receipts
from lifecycle.reminders.unsubscribe import read_token
from lifecycle.reminders.unsubscribe import unsubscribe as unsubscribe_now
from portal.access.registry import access

log = logging.getLogger(__name__)

# Anymail's normalised event types -> our words. Opens and clicks are not tracked and not kept.
KINDS: Final[dict[str, str]] = {
    EventType.QUEUED: receipts.ACCEPTED,
    EventType.SENT: receipts.ACCEPTED,
    EventType.DEFERRED: receipts.DEFERRED,
    EventType.DELIVERED: receipts.DELIVERED,
    EventType.BOUNCED: receipts.BOUNCED,
    EventType.REJECTED: receipts.REJECTED,
    EventType.FAILED: receipts.FAILED,
    EventType.COMPLAINED: receipts.COMPLAINED,
    EventType.UNSUBSCRIBED: receipts.UNSUBSCRIBED,
}


def _event_id(event: AnymailTrackingEvent, kind: str) -> str:
    """The provider's id; where it gives none, a digest of the raw event, the same each time it is posted again."""
    if event.event_id:
        return f"{kind}:{event.event_id}"[:200]
    raw = json.dumps(event.esp_event, sort_keys=True, default=str)
    return f"{kind}:{hashlib.sha256(raw.encode()).hexdigest()}"


def _kind(event: AnymailTrackingEvent) -> str | None:
    kind = KINDS.get(event.event_type)
    if kind == receipts.BOUNCED:
        raw = event.esp_event if isinstance(event.esp_event, dict) else {}
        said = " ".join(str(raw.get(key, "")) for key in ("Type", "bounceType", "bounce_type", "bounce_class"))
        if receipts.is_soft_bounce(answer=event.mta_response or "", said=said):
            return receipts.SOFT_BOUNCED
    return kind


@receiver(tracking, dispatch_uid="sheenward receipts")
def take_event(sender: Any, event: AnymailTrackingEvent, esp_name: str, **kwargs: Any) -> None:
    """Keep one event of a provider as a receipt. An error answers 500, and the provider comes again."""
    kind = _kind(event)
    if kind is None:
        return
    now = timezone.now()
    receipts.take(
        provider=esp_name.lower(),
        event_id=_event_id(event, kind),
        uid=str((event.metadata or {}).get("uid", "")),
        provider_id=event.message_id or "",
        kind=kind,
        occurred_at=event.timestamp or now,
        detail=(event.mta_response or event.description or "")[:300],
        at=now,
    )


def guarded(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """A webhook answers 404 as long as no secret is set."""

    @csrf_exempt
    @wraps(view)
    def only_with_secret(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not settings.ANYMAIL.get("WEBHOOK_SECRET"):
            log.warning("A mail webhook was called, but ANYMAIL_WEBHOOK_SECRET is not set.")
            raise Http404
        return view(request, *args, **kwargs)

    return access("public")(only_with_secret)


@access("public")
@csrf_exempt  # RFC 8058: the mail program posts without cookies or any other context
@never_cache
@require_http_methods(["GET", "HEAD", "POST"])
def unsubscribe(request: HttpRequest, token: str) -> HttpResponse:
    """GET asks, POST does it: scanners that open every link change nothing. No sign-in."""
    try:
        choice = unsubscribe_now(token=token, at=timezone.now()) if request.method == "POST" else read_token(token)
    except NotFoundHere as error:
        return render(request, "mail/unsubscribe_unknown.html", {"why": error.message}, status=404)
    page = "mail/unsubscribed.html" if request.method == "POST" else "mail/unsubscribe.html"
    return render(request, page, {"choice": choice})
