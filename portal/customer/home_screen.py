"""What lets the customer's pages sit on a phone's home screen, and open there without a link."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from django.http import HttpRequest, HttpResponse, JsonResponse
from django.templatetags.static import static
from django.urls import reverse
from django.utils.translation import get_language, override
from django.utils.translation import gettext as _
from django.views.decorators.cache import cache_control
from django.views.decorators.http import require_GET

from portal.access.language import known_language
from portal.access.people import PortalRequest
from portal.access.registry import access

WORKER: Final = Path(__file__).resolve().parent.parent / "static" / "js" / "my-worker.js"


@access("public")
@require_GET
@cache_control(max_age=3600)
def manifest(request: HttpRequest) -> HttpResponse:
    """The web app manifest (W3C). Browsers fetch it without the session, and it names nobody."""
    home = reverse("customer:home")
    language = known_language(request.GET.get("language", "")[:12]) or get_language() or "en"
    with override(language):
        name = _("Sheenward: my vehicle")
    icons = [
        {"src": static(f"icons/home-{size}.png"), "sizes": f"{size}x{size}", "type": "image/png", "purpose": purpose}
        for size in (192, 512)
        for purpose in ("any", "maskable")
    ]
    icons.append({"src": static("icon.svg"), "sizes": "any", "type": "image/svg+xml", "purpose": "any"})
    return JsonResponse(
        {
            "id": home, "lang": language, "name": name, "short_name": "Sheenward", "start_url": home,
            "scope": home, "display": "standalone", "background_color": "#faf8f2", "theme_color": "#faf8f2",
            "icons": icons,
        },
        content_type="application/manifest+json",
    )  # fmt: skip


@access("customer")
@require_GET
def worker(request: PortalRequest) -> HttpResponse:
    """The service worker. Served from here, for a worker reaches no further than the folder that it comes from."""
    return HttpResponse(WORKER.read_bytes(), content_type="text/javascript; charset=utf-8")
