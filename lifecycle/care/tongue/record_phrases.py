"""What the planning of visits and reminders notes beside its rows, as a customer reads it in their own data; see
`rule_phrases`."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_noop as _

BUNDLES: Final = (
    _("Fixed by the contract date %(day)s; it fits %(span)s"),
    _("Fixed by the contract date %(day)s; it fits %(span)s: %(n)s tasks in one visit instead of %(n2)s visits, "
      "sharing "
      "about %(n3)s h."),
    _("Fixed by the %(title)s; it fits %(span)s"),
    _("Fixed by the %(title)s; it fits %(span)s: %(n)s tasks in one visit instead of %(n2)s visits, sharing about "
      "%(n3)s "
      "h."),
)  # fmt: skip
PLACES_IN_THE_CALENDAR: Final = (
    _("Its ideal day."),
    _("%(n)s day after its ideal day%(rest)s"),
    _("%(n)s days after its ideal day%(rest)s"),
    _("%(n)s day before its ideal day%(rest)s"),
    _("%(n)s days before its ideal day%(rest)s"),
    _(", %(day)s, which is over."),
    _(": with it the week of %(day)s would come to %(n)s %% of its hours, the target is %(n2)s %%; the week of "
      "%(day2)s "
      "comes to %(n3)s %%."),
    _(", %(day)s, on which the site is closed (%(words)s)."),
    _(": the day planned before, which still fits."),
    _(": the days nearer to it leave less room for %(n)s h and for what comes up."),
    _("The site is closed on every day %(span)s that is still to come."),
    _("No day %(span)s has %(n)s h free in a fitting bay with the hands for it; longer hours, another bay or another "
      "pair of hands would make room."),
    _("Nobody here has %(text)s entered among the skills."),
    _("%(name)s is warm and still; the coat cures there for %(n)s h after closing."),
)  # fmt: skip
REMINDERS: Final = (
    _("The care is no longer open: %(code)s."),
    _("The care was done."),
    _("The care is no longer due."),
    _("The vehicle is no longer looked after here."),
    _("The studio has paused its reminders."),
    _("A visit on %(iso)s covers this care."),
    _("A visit for this care is asked for; the answer is awaited."),
    _("A booked visit covers this care."),
    _("The studio does not offer this work here: %(words)s"),
    _("The vehicle is in storage."),
    _("The window ended on %(iso)s."),
    _("Done on %(iso)s; %(text)s is not on record yet."),
    _("Done on %(iso)s; it is not written about again for %(n)s days."),
    _("This person does not keep the vehicle any more."),
    _("There is no e-mail address."),
    _("The address must not be written to: %(code)s."),
    _("It is not known whether this person wants care reminders."),
    _("It is not known whether this person wants offers."),
    _("A complaint is open; only what the studio owes is told of until it is closed."),
    _("This person does not want care reminders."),
    _("This person does not want offers."),
    _("This person wants to hear nothing until %(iso)s."),
    _("The answer on %(iso)s was no; this window is not written about again."),
    _("Put off until %(iso)s by the person; nothing is written before."),
    _("Declined twice in a row: it is left alone until %(iso)s."),
    _("The last visit was on %(iso)s; nothing is offered for %(n)s days."),
    _("A visit is booked for %(iso)s; offers wait until after it."),
    _("The window has been open since %(iso)s."),
    _("The window opens on %(iso)s."),
    _("A last notice is only written before a date that a contract names."),
    _("The first notice has not gone out yet."),
    _("The contract names %(iso)s; this is %(n)s days before."),
    _("About half-way to the end of the window on %(iso)s."),
    _("The person put it off until %(iso)s."),
    _("The person wanted to hear nothing until %(iso)s."),
    _("Another notice to this person went out first; %(words)s"),
    _("Another notice to this person went out first; %(words)s, and the window ends on %(iso)s."),
    _("at most one care reminder in %(n)s days"),
    _("at most one offer in %(n)s days and %(n2)s a year"),
    _("Its time, %(iso)s, was before vehicle and person were both on record here (%(iso2)s)."),
    _("Its time, %(iso)s, had passed before it could be written."),
    _("No time is left for it before %(iso)s."),
    _("Written in one mail with others: message %(text)s."),
    _("The forecast no longer asks for it."),
)
PHRASES: Final = (*BUNDLES, *PLACES_IN_THE_CALENDAR, *REMINDERS)
