"""Days of the demo, told relative to today so that the demo is always alive."""

from __future__ import annotations

import re
from datetime import UTC, date, datetime, time, timedelta

from lifecycle.outlook.steps import months_later

_OFFSET = re.compile(r"([+-]\d+)([dm])")
_LAST = re.compile(r"last (\d\d)-(\d\d) before (.+)")


def when(text: str, *, today: date) -> date:
    """A day from words: "-14m", "-3m-2d", "+26d", or "last 10-12 before -100d" (never later than the bound).

    Raises:
        ValueError: the words are none of these.
    """
    last = _LAST.fullmatch(text)
    if last is not None:
        bound = when(last[3], today=today)
        day = date(bound.year, int(last[1]), int(last[2]))
        return day if day <= bound else date(bound.year - 1, day.month, day.day)
    if not text or _OFFSET.sub("", text):
        raise ValueError(f"{text!r} is not a day; write -14m, -3m-2d, +26d or 'last 10-12 before -100d'.")
    day = today
    for number, unit in _OFFSET.findall(text):
        day = months_later(day, int(number)) if unit == "m" else day + timedelta(days=int(number))
    return day


def at(day: date, hour: int = 10) -> datetime:
    """An hour of a day, UTC."""
    return datetime.combine(day, time(hour), tzinfo=UTC)


def last_morning(now: datetime) -> datetime:
    """The latest 10:00 UTC that has passed. Nobody has quiet hours then at any site of the demo."""
    today = at(now.astimezone(UTC).date())
    return today if today <= now else today - timedelta(days=1)


def winters(*, since: date, today: date) -> list[tuple[date, date]]:
    """November to March of every winter that has begun since a day."""
    found = []
    for year in range(since.year, today.year + 1):
        start, end = date(year, 11, 1), date(year + 1, 4, 1)
        if since < start <= today:
            found.append((start, end))
    return found


def awake(day: date, stored: list[tuple[date, date]]) -> date:
    """The day itself, or a few days before the storage into which it falls."""
    for start, end in stored:
        if start <= day < end:
            return start - timedelta(days=5)
    return day
