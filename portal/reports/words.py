"""Words of a report that pages and print share."""

from __future__ import annotations

from datetime import datetime
from typing import Final

from django.utils.formats import date_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from lifecycle.care.reports.view import ReportView, Signed

CLEAN_WORDS: Final = {
    "dirty": gettext_lazy("not washed"),
    "washed": gettext_lazy("washed"),
    "decontaminated": gettext_lazy("washed and decontaminated"),
}
SEEN: Final = gettext_lazy("I have seen this report.")


def signed_words(signed: Signed | None, at: datetime) -> str:
    """Who signed, when and how."""
    if signed is None or not signed.how:
        return _("Not signed.")
    said = {"name": signed.name, "when": f"{date_format(at, _('j F Y, H:i'))} {at.tzname()}", "seen": str(SEEN)}
    if signed.erased:
        return _("Signed on %(when)s; name and signature were erased at the person's request.") % said
    if signed.how == "drawn":
        return _("Signed on the screen by %(name)s on %(when)s.") % said
    return _("%(name)s on %(when)s: typed the name and ticked “%(seen)s”") % said


def report_words(view: ReportView) -> list[tuple[str, str]]:
    """The circumstances of an inspection, line by line; what nobody said is left out."""
    rows = [
        (_("Inspection"), f"{view.inspection}, {date_format(view.on, _('j F Y'))}"),
        (_("State"), str(CLEAN_WORDS.get(view.clean_state, view.clean_state))),
        (_("Light"), view.light),
        (_("Inspected by"), view.by),
        (_("Note"), view.note),
    ]
    return [(name, value) for name, value in rows if value]
