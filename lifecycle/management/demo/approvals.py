"""The demo's owner has read the care reminders and approved them, on record; offers still wait for a look."""

from __future__ import annotations

from typing import Any, Final

from lifecycle.management.demo.people import House
from lifecycle.management.demo.when import at
from lifecycle.reminders import approval

SEEN: Final = (("service", "en"), ("service", "de"))


def approve_mails(house: House) -> None:
    """The words of care reminders are approved; of them prices and many at once need no look. Offers' words do."""
    owner = next(member for member in house.members if member.role == "owner")
    by: dict[str, Any] = {
        "studio": house.studio,
        "member_id": owner.pk,
        "actor": f"member:{owner.pk}",
        "at": at(house.book.today),
    }
    for kind, language in SEEN:
        approval.approve_words(kind=kind, language=language, **by)
    approval.set_policy(first=True, prices=False, batches=False, **by)
