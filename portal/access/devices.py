"""Where a person is signed in, and how to end that: one place or all others."""

from __future__ import annotations

import time
from dataclasses import dataclass
from datetime import datetime
from typing import Any, Final

from allauth.usersessions.models import UserSession
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from .door import caller_of
from .registry import access

NOTED: Final = "noted_at"
# How exact "last seen" is; each note is a write.
NOTE_EVERY_S: Final = 10 * 60
# What a browser calls itself, RFC 9110 section 10.1.5; the first that fits counts, for most of them also name others.
BROWSERS: Final = (
    ("Edg", "Edge"), ("OPR/", "Opera"), ("SamsungBrowser", "Samsung Internet"), ("Firefox", "Firefox"),
    ("FxiOS", "Firefox"), ("CriOS", "Chrome"), ("Chrome", "Chrome"), ("Safari", "Safari"),
)  # fmt: skip
SYSTEMS: Final = (
    ("iPhone", "iPhone"), ("iPad", "iPad"), ("Android", "Android"), ("CrOS", "ChromeOS"), ("Windows", "Windows"),
    ("Mac OS", "Mac"), ("Linux", "Linux"),
)  # fmt: skip


@dataclass(frozen=True, slots=True)
class Device:
    """One place where a person is signed in. `here`: it is the session that asks."""

    id: int
    name: str
    address: str
    since: datetime
    seen: datetime
    here: bool


def device_words(agent: str) -> str:
    """ "Firefox on Android", or that the device has not said what it is."""
    browser = next((name for mark, name in BROWSERS if mark in agent), "")
    system = next((name for mark, name in SYSTEMS if mark in agent), "")
    if browser and system:
        return _("%(browser)s on %(system)s") % {"browser": browser, "system": system}
    return browser or system or _("A device that does not say what it is")


def note_seen(request: HttpRequest) -> None:
    """Put on record that this session is alive, at most every ten minutes."""
    noted: Any = request.session.get(NOTED)
    now, key = time.time(), request.session.session_key
    if isinstance(noted, list) and noted[0] in (key, "") and now - noted[1] < NOTE_EVERY_S:
        return
    fields = {
        "user_id": request.user.pk,
        "ip": caller_of(request) or "0.0.0.0",  # noqa: S104  (no address known)
        "user_agent": request.headers.get("User-Agent", "")[: UserSession._meta.get_field("user_agent").max_length],
        "last_seen_at": timezone.now(),
    }
    UserSession.objects.update_or_create(session_key=key, defaults=fields)
    request.session[NOTED] = [key, now]


def devices_of(request: HttpRequest) -> list[Device]:
    """Where the person of this request is signed in, the present place first, then the last seen."""
    here = request.session.session_key
    rows = UserSession.objects.purge_and_list(request.user)
    found = [
        Device(row.pk, device_words(row.user_agent), "" if row.ip == "0.0.0.0" else row.ip,  # noqa: S104
               row.created_at, row.last_seen_at, row.session_key == here)
        for row in rows
    ]  # fmt: skip
    return sorted(found, key=lambda one: (not one.here, -one.seen.timestamp()))


@access("signed_in")
@require_http_methods(["GET", "POST"])
@never_cache
def devices(request: HttpRequest) -> HttpResponse:
    """The list, with a button beside each place. Ending the present one is signing out."""
    if request.method == "GET":
        return render(request, "account/devices.html", {"devices": devices_of(request)})
    others = UserSession.objects.filter(user=request.user).exclude(session_key=request.session.session_key)
    if "others" in request.POST:
        ended = [row.end() for row in others]
        said = _("Signed out everywhere else.") if ended else _("You are signed in nowhere else.")
    else:
        wanted = request.POST.get("end", "")
        row = others.filter(pk=int(wanted)).first() if wanted.isascii() and wanted.isdigit() else None
        if row is None:
            raise Http404
        row.end()
        said = _("Signed out there.")
    messages.success(request, said)
    return redirect("devices")
