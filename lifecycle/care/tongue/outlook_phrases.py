"""What the outlook, the advice and the owner's approval note beside their rows, as a customer reads it in their own
data; see `rule_phrases`."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_noop as _

EXPECTED: Final = (
    _("care window %(span)s: %(code)s"),
    _("care window %(span)s: %(code)s; %(words)s"),
    _("an open complaint"),
    _("somebody said yes"),
    _("planned for %(day)s"),
    _("booked for %(day)s: %(tasks)s"),
    _("forecast: the %(layercode)s ends %(span)s"),
    _("after the one before it: again every %(n)s months"),
    _("after the one before it: a new one lasts %(n)s to %(n2)s months there"),
)
STEPS: Final = (
    _("the care was given"),
    _("no longer due"),
    _("a visit is booked"),
    _("no answer in %(n)s days"),
    _("taken off or replaced"),
)
LOOKS: Final = (
    _("beading %(n)s of 5"),
    _("contact angle %(n)s°"),
    _("still works: %(n)s"),
    _("found worn: %(words)s on %(iso)s, decontaminated."),
    _("found still good: %(words)s on %(iso)s, decontaminated."),
    _("between worn and good: %(words)s on %(iso)s, decontaminated."),
    _("found worn: %(words)s on %(iso)s, decontaminated; %(words2)s."),
    _("found still good: %(words)s on %(iso)s, decontaminated; %(words2)s."),
    _("between worn and good: %(words)s on %(iso)s, decontaminated; %(words2)s."),
    _("forecast when advised: %(n)s to %(n2)s %% function left on %(surfacecode)s"),
    _("No reading from before the wash to hold against %(words)s on %(iso)s."),
    _("Renewed before anybody read the old layer on a decontaminated surface."),
    _("it was clogged: %(words)s before, %(words2)s after on %(iso)s."),
    _("it was not clogged: %(words)s before, %(words2)s after on %(iso)s."),
    _("clean it is no better, so worn or never clogged: %(words)s before, %(words2)s after on %(iso)s."),
)
BUDGETS: Final = (
    _("It takes %(n)s to %(n2)s µm; the budget is %(n3)s to %(n4)s µm."),
    _("Not offered: %(words)s"),
)
APPROVALS: Final = (
    _("Waits for the owner: %(words)s."),
    _("nobody has approved a mail in these words yet"),
    _("it names a price"),
    _("more than 20 mails in one run"),
)
CLOSED: Final = (
    _("not open on a %(weekday)s"),
    _("public holiday: %(text)s"),
)
PHRASES: Final = (*EXPECTED, *STEPS, *LOOKS, *BUDGETS, *APPROVALS, *CLOSED)
