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
from lifecycle.care.tongue.speak import say_whole
from lifecycle.care.wording import capital
from lifecycle.models import Customer, Price, Purpose, Reminder, Studio
from lifecycle.models.message import REMINDERS_HEADER
from lifecycle.reminders import preferences, wordings
from lifecycle.reminders.facts import zone_of
from lifecycle.reminders.house import absolute, setting
from lifecycle.reminders.told import reason_words, table_words
from lifecycle.reminders.unsubscribe import make_token
from lifecycle.reminders.wordings import Voice, Voices

WIDTH: Final = 72
# "Nothing now is fine" is only said where the window leaves at least this long and nothing presses.
FINE_DAYS: Final = 7
FULL_ITEMS: Final = 2
# A mail about more vehicles than this says by kind of care how many there are; each vehicle's page says the rest.
LISTED_VEHICLES: Final = 4
PRESSING: Final = ("event", "contract")

Prices = Mapping[tuple[int, str, str], tuple[Decimal, Decimal]]


@dataclass(frozen=True, slots=True)
class Item:
    """One care window in a mail, all texts ready to be read. `costs`: it names a price other than none. `planned_on`:
    the day that would suit the studio, inside the window."""

    title: str
    window: str
    why: str
    if_postponed: str
    self_check: str
    price: str
    fine_until: str
    contract_on: str
    asked_before: str
    planned_on: str
    costs: bool


@dataclass(frozen=True, slots=True)
class Group:
    """What a mail says about one vehicle, soonest end of window first."""

    vehicle: str
    plate: str
    url: str
    items: tuple[Item, ...]


@dataclass(frozen=True, slots=True)
class Line:
    """What a digest says of one kind of care of many vehicles.

    Attributes:
        window: of the vehicle whose window ends first.  contract_on: the soonest day that a contract names.
        happened: by plate, what happened to a vehicle; that is never folded into a count.
    """

    title: str
    vehicles: int
    plates: str
    window: str
    contract_on: str
    happened: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Rendered:
    subject: str
    text: str
    html: str
    headers: dict[str, str]
    from_email: str
    words: str = ""
    names_price: bool = False


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
    voices: Voices | None = None,
    voice: Voice | None = None,
) -> Rendered:
    """Render the mail about one or more reminders of one person and one purpose.

    Args:
        reminders: with `due`, `vehicle` and `customer.studio` loaded; the first one is the message's own.
        uid: our id of the message; stands in the Message-ID and in the headers.
        at: aware time of writing.
        asked_before: by window, the day on which an earlier notice went out.
        voices: the words of the studio, read at once for many mails; read here if not given.
        voice: one kind of mail in one language in place of the person's own, to see how it speaks.

    Raises:
        ValueError: no reminders, or of several people or purposes.
    """
    if len({(row.customer_id, row.purpose) for row in reminders}) != 1:
        raise ValueError("a mail is about the reminders of one person and one purpose; got none or several.")
    customer, purpose = reminders[0].customer, reminders[0].purpose
    today = at.astimezone(zone_of(customer)).date()
    if voice is None:
        voices = voices or wordings.voices((customer.studio_id,))
        voice = voices.of(customer.studio_id, purpose, language_of(customer))
    with translation.override(voice.language):
        context = _context(reminders, _groups(reminders, prices, today, asked_before or {}), voice, today)
        text = wrap(render_to_string("mail/reminder.txt", context))
        html = render_to_string("mail/reminder.html", context)
    shown = () if context["digest"] else context["groups"]
    return Rendered(
        subject=context["subject"],
        text=text,
        html=html,
        headers=headers(
            uid=uid, stop_url=context["stop_url"], studio=customer.studio, reminders=[row.pk for row in reminders]
        ),
        from_email=sender(customer.studio),
        words=voice.digest,
        names_price=any(item.costs for group in shown for item in group.items),
    )


def _context(reminders: Sequence[Reminder], groups: Sequence[Group], voice: Voice, today: date) -> dict[str, Any]:
    """What the templates of a mail about care need, in the language that is active."""
    customer, purpose = reminders[0].customer, reminders[0].purpose
    told, several = _told(customer, purpose, groups), len(reminders) > 1
    token = make_token(customer_id=customer.pk, purpose=purpose)
    return {
        "name": customer.name,
        "studio": customer.studio.name,
        "phone": unbroken(customer.studio.phone),
        "groups": groups,
        "digest": _digest(reminders, today) if len(groups) > LISTED_VEHICLES else (),
        "home_url": absolute(reverse("customer:home")),
        "several": several,
        # A mail about many things says of each why now, and leaves the rest to the vehicle's page.
        "full": len(reminders) <= FULL_ITEMS,
        "stop_url": absolute(reverse("mail:unsubscribe", args=[token])),
        "choices_url": choices_url(customer, purpose),
        "language": voice.language,
        "subject": _subject(groups, voice, told),
        "opening": voice.say("opening_several" if several else "opening", told),
        "closing": voice.say("closing", told),
        "reason": voice.say("reason", told),
    }


def choices_url(customer: Customer, purpose: str) -> str:
    """The address at which a person chooses what is written to them, without sign-in; in the foot of every mail."""
    token = preferences.make_token(customer_id=customer.pk, purpose=purpose)
    return absolute(reverse("mail:choices", args=[token]))


def purpose_words(purpose: str) -> str:
    """What a purpose is called in a sentence, in the language that is active: "care reminders"."""
    return gettext("offers") if purpose == Purpose.PROMOTION else gettext("care reminders")


def language_of(customer: Customer) -> str:
    """The language of mails to this person: theirs, else the studio's, else English; only one that mails are kept in.

    An unknown one, as "fr" on an imported list, falls back too; "de-AT" is German.
    """
    known = dict(setting("MAIL_LANGUAGES"))
    for wanted in (customer.language, customer.studio.language):
        for name in (wanted, wanted.split("-")[0]):
            if name in known:
                return name
    return "en"


def message_id(uid: UUID) -> str:
    """The Message-ID (RFC 5322, 3.6.4): our id at the host of this installation; the same at a resend."""
    return f"<{uid}@{urlsplit(setting('SITE_ADDRESS')).hostname}>"


def headers(*, uid: UUID, stop_url: str, studio: Studio, reminders: Sequence[int]) -> dict[str, str]:
    """The headers that are frozen with a message.

    One-click unsubscribe after RFC 8058, on top of List-Unsubscribe after RFC 2369; Auto-Submitted after RFC 3834.
    """
    return plain_headers(uid=uid, studio=studio) | {
        "List-Unsubscribe": f"<{stop_url}>",
        "List-Unsubscribe-Post": "List-Unsubscribe=One-Click",
        REMINDERS_HEADER: ",".join(str(pk) for pk in reminders),
    }


def plain_headers(*, uid: UUID, studio: Studio) -> dict[str, str]:
    """The headers of every mail; of one that was asked for there is nothing to unsubscribe from."""
    told = {"Message-ID": message_id(uid), "Auto-Submitted": "auto-generated", "X-Sheenward-Id": str(uid)}
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


def unbroken(text: str) -> str:
    """A telephone number that no line breaks."""
    return one_line(text).replace(" ", "\u00a0")


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
            lines += _paragraph(line)
    return "\n".join(lines) + "\n"


def _paragraph(text: str) -> list[str]:
    """The lines of one paragraph, somewhat narrower where its last word would stand alone."""
    for width in range(WIDTH, WIDTH - 24, -1):
        lines = textwrap.wrap(text, width, break_long_words=False, break_on_hyphens=False)
        if len(lines[-1].split()) > 1:
            return lines
    return textwrap.wrap(text, WIDTH, break_long_words=False, break_on_hyphens=False)


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


def _digest(reminders: Sequence[Reminder], today: date) -> tuple[Line, ...]:
    """One line per kind of care, the soonest end of a window first."""
    by_task: dict[str, list[Reminder]] = defaultdict(list)
    for row in sorted(reminders, key=lambda one: (one.due.latest, one.pk)):
        by_task[row.due.task].append(row)
    return tuple(_line(task, rows, today) for task, rows in by_task.items())


def _line(task: str, rows: Sequence[Reminder], today: date) -> Line:
    known = TASKS.get(task)
    plates = list(dict.fromkeys(one_line(row.vehicle.plate) for row in rows))
    contracts = [row.due.contract_on for row in rows if row.due.contract_on is not None]
    return Line(
        title=table_words(known.title) if known is not None else task.replace("_", " "),
        vehicles=len({row.vehicle_id for row in rows}),
        plates=", ".join(plates),
        window=_window(rows[0].due.earliest, rows[0].due.latest, today),
        contract_on=day_words(min(contracts)) if contracts else "",
        happened=tuple(
            f"{one_line(row.vehicle.plate)}: {_why(row)}" for row in rows if row.due.reason_code == PRESSING[0]
        ),
    )


def _window(earliest: date, latest: date, today: date) -> str:
    until = day_words(latest)
    if earliest <= today:
        return gettext("between now and %(until)s") % {"until": until}
    return gettext("between %(since)s and %(until)s") % {"since": day_words(earliest), "until": until}


def _item(row: Reminder, prices: Prices, today: date, asked_before: date | None) -> Item:
    due = row.due
    task = TASKS.get(due.task)
    words: Mapping[str, str] = due.words
    until = day_words(due.latest)
    # Where the window had closed and was moved on, waiting is not called fine.
    calm = due.reason_code not in PRESSING and due.contract_on is None and not due.words.get("overdue_since")
    fine = calm and due.latest - today >= timedelta(days=FINE_DAYS)
    return Item(
        title=table_words(task.title) if task is not None else due.task.replace("_", " "),
        window=_window(due.earliest, due.latest, today),
        why=_why(row),
        if_postponed=table_words(words.get("if_postponed", "")),
        self_check=table_words(words.get("self_check", "")),
        price=_price(row, prices),
        fine_until=until if fine else "",
        contract_on=day_words(due.contract_on) if due.contract_on is not None else "",
        asked_before=day_words(asked_before) if asked_before is not None else "",
        planned_on=day_words(row.planned_on) if row.planned_on is not None and row.planned_on > today else "",
        costs=prices.get((row.studio_id, due.task, row.vehicle.size), (0, 0))[1] > 0,
    )


def _why(row: Reminder) -> str:
    """Why now, as the rules wrote it about this vehicle; where no phrase knows that, by the reason of the window."""
    due = row.due
    said = say_whole(str(due.words.get("cause") or due.why))
    return said if said is not None else reason_words(due.task, due.reason_code, due.surfaces)


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


def _told(customer: Customer, purpose: str, groups: Sequence[Group]) -> dict[str, object]:
    """What the placeholders of a mail about care stand for; those of one thing are of the first."""
    first = groups[0].items[0]
    return {
        "name": customer.name, "studio": customer.studio.name, "about": purpose_words(purpose),
        "vehicle": groups[0].vehicle, "title": first.title, "window": first.window, "count": len(groups),
    }  # fmt: skip


def _subject(groups: Sequence[Group], voice: Voice, told: Mapping[str, object]) -> str:
    vehicles, things = len(groups), sum(len(group.items) for group in groups)
    if things == 1:
        subject = capital(voice.say("subject", told))
    elif voice.has("subject_several"):
        subject = voice.say("subject_several", told)
    elif vehicles == 1:
        subject = ngettext(
            "Care for your %(vehicle)s: %(count)d thing", "Care for your %(vehicle)s: %(count)d things", things
        ) % {"vehicle": groups[0].vehicle, "count": things}
    else:
        subject = ngettext("Care for %(count)d vehicle", "Care for %(count)d vehicles", vehicles) % {"count": vehicles}
    return one_line(subject)[:200]
