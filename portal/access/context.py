"""What every page's frame needs: the way around, and whether the worker is silent."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone
from django.utils.functional import SimpleLazyObject
from django.utils.translation import gettext_lazy as _

from portal.health import silence

from .registry import ROLES_OF

# URL name, rule, label. The start of the address says which entry is the present one.
STUDIO_PAGES: Final = (
    ("studio:work", "member", _("Work list")),
    ("studio:vehicles", "member", _("Vehicles")),
    ("studio:search", "member", _("Search")),
    ("studio:customers", "desk", _("Customers")),
    ("studio:requests", "desk", _("Requests")),
    ("studio:bookings", "desk", _("Bookings")),
    ("studio:offers", "desk", _("Offers")),
    ("studio:reminders", "desk", _("Reminders")),
    ("studio:outbox", "desk", _("Outbox")),
    ("studio:sites", "member", _("Sites")),
    ("studio:outlook", "owner", _("Outlook")),
    ("studio:house", "owner", _("Studio")),
)
# Pages that lie beside an entry's address and belong to it.
BELONG: Final = {
    "studio:house": (
        "studio:team",
        "studio:products",
        "studio:prices",
        "studio:figures",
        "studio:documents",
        "studio:imports",
        "studio:out",
        "studio:tokens",
        "studio:hooks",
        "studio:api_reference",
    )
}


@dataclass(frozen=True, slots=True)
class NavItem:
    url: str
    label: Any
    current: bool


def _studio_nav(path: str, role: str) -> list[NavItem]:
    items = []
    for name, rule, label in STUDIO_PAGES:
        if role in ROLES_OF[rule]:
            url = reverse(name)
            starts = (url, *(reverse(other) for other in BELONG.get(name, ())))
            items.append(NavItem(url, label, path == url if name == "studio:work" else path.startswith(starts)))
    return items


def shell(request: HttpRequest) -> dict[str, Any]:
    """`nav_items` and `member` for members; `silent_worker`, asked only where a studio page shows its banner."""
    member = getattr(request, "member", None)
    if member is None:
        return {}
    return {
        "member": member,
        "nav_items": _studio_nav(request.path, member.role),
        "silent_worker": SimpleLazyObject(lambda: silence(timezone.now())),
    }
