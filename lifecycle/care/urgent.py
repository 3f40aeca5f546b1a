"""By when an urgent event is answered, on the clock of the site. Pure: no Django, no clock of its own."""

from __future__ import annotations

from datetime import UTC, datetime, time, timedelta, tzinfo


def answer_by(reported: datetime, *, within_h: float, zone: tzinfo) -> datetime:
    """The latest moment for the answer, in UTC: `within_h` elapsed hours after the report.

    Less than a day means the same day, so that it also never passes midnight at the site (common practice: in hot
    weather the same day, else within 24 to 48 h). Hours are elapsed ones, through both changes of the clocks.

    Args:
        reported: an aware moment.  within_h: hours, `answer_h` of a due.  zone: of the site.

    Raises:
        ValueError: a moment without a zone, or no hours.
    """
    if reported.tzinfo is None:
        raise ValueError("reported has no zone; give an aware moment.")
    if within_h <= 0:
        raise ValueError(f"within_h is {within_h:g}; give more than 0 hours.")
    latest = reported.astimezone(UTC) + timedelta(hours=within_h)
    if within_h >= 24:
        return latest
    tomorrow = reported.astimezone(zone).date() + timedelta(days=1)
    return min(latest, datetime.combine(tomorrow, time(), zone).astimezone(UTC))
