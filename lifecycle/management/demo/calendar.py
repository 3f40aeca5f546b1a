"""When the demo's sites are open, whose hands work there, and a closure ahead."""

from __future__ import annotations

from datetime import time
from typing import Any

from lifecycle.care.opening import close_site, set_hands, set_opening
from lifecycle.management.demo.people import ACTOR, House
from lifecycle.management.demo.when import at, when
from lifecycle.models import Bay


def write_calendar(house: House) -> None:
    """Opening hours, public holidays, warm bays, people's hours and closures of every site that names them."""
    told = house.book.studio
    by: dict[str, Any] = {"studio": house.studio, "actor": ACTOR, "at": at(house.book.today)}
    for key, row in told["calendar"].items():
        site = house.sites[key]
        hours = (time.fromisoformat(row["opens"]), time.fromisoformat(row["closes"]))
        warm = Bay.objects.filter(site=site, name__in=row["warm_bays"]).values_list("pk", flat=True)
        set_opening(
            site_id=site.pk, hours=dict.fromkeys(row["days"], hours), country=row["country"],
            subdivision=row.get("subdivision", ""), warm_bays=list(warm), **by,
        )  # fmt: skip
    members = {member.user.name: member for member in house.members}
    for row in told["hands"]:
        set_hands(
            site_id=house.sites[row["site"]].pk, member_id=members[row["member"]].pk, weekdays=row["days"],
            hours_a_day=row["hours"], skills=row["skills"], **by,
        )  # fmt: skip
    for row in told["closures"]:
        first, last = (when(row[name], today=house.book.today) for name in ("first", "last"))
        close_site(site_id=house.sites[row["site"]].pk, first=first, last=last, reason=row["reason"], **by)
