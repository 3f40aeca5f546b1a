"""One renderer for the preview and the mail: subject, text, HTML and headers, in the customer's language.

A mail is short: why now, one thing to do, what happens if it waits, a free look for oneself, and until when doing
nothing is fine. Time is a range, never a bare date, except a date that a contract names. Several windows of one person
come in one mail.
"""

from __future__ import annotations

import textwrap
from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from decimal import Decimal
from email.utils import formataddr, parseaddr
from typing import Any, Final
from urllib.parse import urlsplit
from uuid import UUID

from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import formats, translation
from django.utils.translation import gettext, ngettext

from lifecycle.care.rules import TASKS
from lifecycle.models import Price, Purpose, Reminder, Studio
from lifecycle.models.message import REMINDERS_HEADER
from lifecycle.reminders.facts import zone_of
from lifecycle.reminders.house import absolute, setting
from lifecycle.reminders.unsubscribe import make_token

WIDTH: Final = 72
# "Nothing now is fine" is only said where the window leaves at least this long and nothing presses.
FINE_DAYS: Final = 7
FULL_ITEMS: Final = 2
PRESSING: Final = ("event", "contract")

Prices = Mapping[tuple[int, str, str], tuple[Decimal, Decimal]]


@dataclass(frozen=True, slots=True)
class Item:
    """One care window in a mail, all texts ready to be read."""

    title: str
    window: str
    why: str
    if_postponed: str
    self_check: str
    price: str
    fine_until: str
    contract_on: str
    asked_before: str


@dataclass(frozen=True, slots=True)
class Group:
    """What a mail says about one vehicle, soonest end of window first."""

    vehicle: str
    plate: str
    url: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Rendered:
    subject: str
    text: str
    html: str
    headers: dict[str, str]
    from_email: str


def prices_for(reminders: Sequence[Reminder]) -> Prices:
    """The price list for these reminders, in one query; keyed by studio, task and size of vehicle."""
    studios = {row.studio_id for row in reminders}
    tasks = {row.due.task for row in reminders}
    return {
        (price.studio_id, price.task, price.size): (price.low, price.high)
        for price in Price.objects.filter(studio__in=studios, task__in=tasks)
    }


def compose(
    *,
    reminders: Sequence[Reminder],
    prices: Prices,
    uid: UUID,
    at: datetime,
    asked_before: Mapping[int, date] | None = None,
) -> Rendered:
    """Render the mail about one or more reminders of one person and one purpose.

    Args:
        reminders: with `due`, `vehicle` and `customer.studio` loaded; the first one is the message's own.
        uid: our id of the message; stands in the Message-ID and in the headers.
        at: aware time of writing.
        asked_before: by window, the day on which an earlier notice went out.

    Raises:
        ValueError: no reminders, or of several people or purposes.
    """
    if len({(row.customer_id, row.purpose) for row in reminders}) != 1:
        raise ValueError("a mail is about the reminders of one person and one purpose; got none or several.")
    customer, purpose = reminders[0].customer, reminders[0].purpose
    today = at.astimezone(zone_of(customer)).date()
    with translation.override(customer.language or customer.studio.language or "en"):
        groups = _groups(reminders, prices, today, asked_before or {})
        stop = absolute(reverse("mail:unsubscribe", args=[make_token(customer_id=customer.pk, purpose=purpose)]))
        context: dict[str, Any] = {
            "name": customer.name,
            "studio": customer.studio.name,
            "phone": customer.studio.phone,
            "groups": groups,
            "several": len(reminders) > 1,
            # A mail about many things says of each why now, and leaves the rest to the vehicle's page.
            "full": len(reminders) <= FULL_ITEMS,
            "about": gettext(str(Purpose(purpose).label)),
            "stop_url": stop,
            "choices_url": absolute(reverse("customer:choices")),
            "language": translation.get_language() or "en",
            "subject": _subject(groups),
        }
        text = wrap(render_to_string("mail/reminder.txt", context))
        html = render_to_string("mail/reminder.html", context)
    return Rendered(
        subject=context["subject"],
        text=text,
        html=html,
        headers=headers(uid=uid, stop_url=stop, studio=customer.studio, reminders=[row.pk for row in reminders]),
        from_email=sender(customer.studio),
    )


def message_id(uid: UUID) -> str:
    """The Message-ID (RFC 5322, 3.6.4): our id at the host of this installation; the same at a resend."""
    return f"<{uid}@{urlsplit(setting('SITE_ADDRESS')).hostname}>"


def headers(*, uid: UUID, stop_url: str, studio: Studio, reminders: Sequence[int]) -> dict[str, str]:
    """The headers that are frozen with a message.

    One-click unsubscribe after RFC 8058, on top of List-Unsubscribe after RFC 2369; Auto-Submitted after RFC 3834.
    """
    told = {
        "Message-ID": message_id(uid),
        "List-Unsubscribe": f"<{stop_url}>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
        "Auto-Submitted": "auto-generated",
        "X-Sheenward-Id": str(uid),
        REMINDERS_HEADER: ",".join(str(pk) for pk in reminders),
    }
    if studio.reply_to:
        told["Reply-To"] = studio.reply_to
    return told


def sender(studio: Studio) -> str:
    """The studio's name with the installation's address."""
    address = parseaddr(setting("DEFAULT_FROM_EMAIL"))[1]
    return formataddr((one_line(studio.name)[:40], address))


def one_line(text: str) -> str:
    """The text without line breaks, which a header must not hold."""
    return " ".join(text.split())


def wrap(text: str) -> str:
    """Wrap lines at 72 characters; addresses stay whole; at most one empty line in a row."""
    lines: list[str] = []
    for raw in text.strip().splitlines():
        line = raw if raw == "-- " else raw.rstrip()  # the mark of a signature keeps its space
        if not line and lines and not lines[-1]:
            continue
        if len(line) <= WIDTH:
            lines.append(line)
        else:
            lines += textwrap.wrap(line, WIDTH, break_long_words=False, break_on_hyphens=False)
    return "\n".join(lines) + "\n"


def day_words(day: date) -> str:
    """A day in the language of the reader."""
    # Translators: how a day is written, in Django's date format characters.
    return formats.date_format(day, gettext("j F Y"))


def _groups(
    reminders: Sequence[Reminder], prices: Prices, today: date, asked_before: Mapping[int, date]
) -> tuple[Group, ...]:
    by_vehicle: dict[int, list[Reminder]] = defaultdict(list)
    for row in reminders:
        by_vehicle[row.vehicle_id].append(row)
    return tuple(
        Group(
            vehicle=one_line(rows[0].vehicle.description),
            plate=one_line(rows[0].vehicle.plate),
            url=absolute(reverse("customer:vehicle", args=[vehicle_id])),
            items=tuple(
                _item(row, prices, today, asked_before.get(row.due_id))
                for row in sorted(rows, key=lambda one: (one.due.latest, one.pk))
            ),
        )
        for vehicle_id, rows in by_vehicle.items()
    )


def _item(row: Reminder, prices: Prices, today: date, asked_before: date | None) -> Item:
    due = row.due
    task = TASKS.get(due.task)
    words: Mapping[str, str] = due.words
    until = day_words(due.latest)
    if due.earliest <= today:
        window = gettext("between now and %(until)s") % {"until": until}
    else:
        window = gettext("between %(since)s and %(until)s") % {"since": day_words(due.earliest), "until": until}
    # Where the window had closed and was moved on, waiting is not called fine.
    calm = due.reason_code not in PRESSING and due.contract_on is None and not due.words.get("overdue_since")
    fine = calm and due.latest - today >= timedelta(days=FINE_DAYS)
    return Item(
        title=gettext(task.title) if task is not None else due.task.replace("_", " "),
        window=window,
        why=due.words.get("cause") or due.why,
        if_postponed=words.get("if_postponed", ""),
        self_check=words.get("self_check", ""),
        price=_price(row, prices),
        fine_until=until if fine else "",
        contract_on=day_words(due.contract_on) if due.contract_on is not None else "",
        asked_before=day_words(asked_before) if asked_before is not None else "",
    )


def _price(row: Reminder, prices: Prices) -> str:
    known = prices.get((row.studio_id, row.due.task, row.vehicle.size))
    if known is None:
        return ""
    low, high = (formats.number_format(amount, 0 if amount == amount.to_integral_value() else 2) for amount in known)
    told = {"low": low, "high": high, "currency": row.customer.studio.currency}
    if known[1] == 0:
        return gettext("free of charge")
    if low == high:
        return gettext("about %(low)s %(currency)s") % told
    return gettext("about %(low)s to %(high)s %(currency)s") % told


def _subject(groups: Sequence[Group]) -> str:
    vehicle, vehicles, things = groups[0].vehicle, len(groups), sum(len(group.items) for group in groups)
    if things == 1:
        first = groups[0].items[0]
        told = {"title": first.title[:1].upper() + first.title[1:], "vehicle": vehicle, "window": first.window}
        subject = gettext("%(title)s for your %(vehicle)s, %(window)s") % told
    elif vehicles == 1:
        subject = ngettext(
            "Care for your %(vehicle)s: %(count)d thing", "Care for your %(vehicle)s: %(count)d things", things
        ) % {"vehicle": vehicle, "count": things}
    else:
        subject = ngettext("Care for %(count)d vehicle", "Care for %(count)d vehicles", vehicles) % {"count": vehicles}
    return one_line(subject)[:200]
