"""What comes in about mails: a provider's events, and the unsubscribe link.

Events come through Anymail's webhook views, which know the providers' formats and check the secret
(ANYMAIL_WEBHOOK_SECRET, "name:password") and, of providers that sign their events, the signature. A provider's hook
does not exist unless one of the two can be checked: anybody could post to it.
"""

from __future__ import annotations

import hashlib
import json
import logging
from collections.abc import Callable, Mapping
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


# Where providers say what kind of bounce it was, and the parts of their events that may hold it.
BOUNCE_WORDS: Final = ("Type", "type", "event", "bounceType", "bounce_type", "bounce_class")
INSIDE: Final = ("data", "bounce")


def _said(raw: object) -> str:
    """The provider's own words for the type of a bounce, from wherever in its event they stand."""
    if not isinstance(raw, Mapping):
        return ""
    words = [str(raw[key]) for key in BOUNCE_WORDS if isinstance(raw.get(key), str)]
    return " ".join([*words, *(_said(raw.get(part)) for part in INSIDE)])


def _kind(event: AnymailTrackingEvent) -> str | None:
    kind = KINDS.get(event.event_type)
    if kind == receipts.BOUNCED and receipts.is_soft_bounce(
        answer=event.mta_response or "", said=_said(event.esp_event)
    ):
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


# Settings of ANYMAIL with which a provider's events are checked by their signature; of some the API key signs.
SIGNING_KEYS: Final[dict[str, tuple[str, ...]]] = {
    "mailgun": ("MAILGUN_WEBHOOK_SIGNING_KEY", "MAILGUN_API_KEY"),
    "mailersend": ("MAILERSEND_SIGNING_SECRET",),
    "mandrill": ("MANDRILL_WEBHOOK_KEY",),
    "resend": ("RESEND_SIGNING_SECRET",),
}


def guarded(view: Callable[..., HttpResponseBase], provider: str) -> Callable[..., HttpResponseBase]:
    """A webhook answers 404 as long as neither a secret nor the provider's signing key is set."""

    signed_with = SIGNING_KEYS.get(provider, ())

    @csrf_exempt
    @wraps(view)
    def only_with_secret(request: HttpRequest, *args: Any, **kwargs: Any) -> HttpResponseBase:
        if not any(settings.ANYMAIL.get(key) for key in ("WEBHOOK_SECRET", *signed_with)):
            log.warning("The mail webhook of %s was called, but ANYMAIL_WEBHOOK_SECRET is not set.", provider)
            raise Http404
        if signed_with and not any(settings.ANYMAIL.get(key) for key in signed_with):
            log.warning("The mail webhook of %s was called, but ANYMAIL_%s is not set.", provider, signed_with[0])
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
