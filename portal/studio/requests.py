"""What customers ask for, and the desk's answers; the members' calendar addresses and the notice for cancelling."""

from __future__ import annotations

from datetime import datetime
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from lifecycle.care import answering, feeds, visit_reads, worklist
from lifecycle.errors import NotFoundHere
from lifecycle.reminders import visit_letters
from portal.access.people import MemberRequest
from portal.access.registry import access
from portal.calendars import feed_url

from .common import attempt, studio_today
from .forms import DayInput
from .register import sent, who_and_when


class ConfirmForm(forms.Form):
    """Day and time at the site; what is done where the request names nothing."""

    seen = forms.IntegerField(widget=forms.HiddenInput)
    on = forms.DateField(label="Day", widget=DayInput)
    starts = forms.TimeField(
        label="Time", required=False, widget=forms.TimeInput(format="%H:%M", attrs={"type": "time"}),
        help_text="By the clock at the site. Empty: no time is agreed.",
    )  # fmt: skip
    tasks = forms.MultipleChoiceField(label="Care on that day", widget=forms.CheckboxSelectMultiple)

    def __init__(self, *args: Any, tasks: list[tuple[str, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["tasks"].choices = tasks


class OfferForm(forms.Form):
    """Up to three other days with their times."""

    seen = forms.IntegerField(widget=forms.HiddenInput)
    first = forms.CharField(label="A day and time", widget=forms.TextInput(attrs={"type": "datetime-local"}))
    second = forms.CharField(label="Another", required=False, widget=forms.TextInput(attrs={"type": "datetime-local"}))
    third = forms.CharField(label="A third", required=False, widget=forms.TextInput(attrs={"type": "datetime-local"}))

    def clean(self) -> dict[str, Any]:
        """The offers by the clock at the site: no zone is put on them here."""
        cleaned: dict[str, Any] = super().clean() or {}
        offers = []
        for name in ("first", "second", "third"):
            if text := cleaned.get(name):
                try:
                    offers.append(datetime.fromisoformat(text).replace(tzinfo=None))
                except ValueError:
                    self.add_error(name, "Write it like 2026-05-04T09:00.")
        cleaned["offers"] = offers
        return cleaned


class DeclineForm(forms.Form):
    """Why not; the customer reads it."""

    seen = forms.IntegerField(widget=forms.HiddenInput)
    reason = forms.CharField(label="Why not (the customer reads it)", max_length=300)


class NoticeForm(forms.Form):
    """The studio's notice."""

    hours = forms.IntegerField(label="Hours before a visit", min_value=0, max_value=336)


@access("desk")
@require_http_methods(["GET", "POST"])
def requests(request: MemberRequest) -> HttpResponse:
    """Requests, the one that waits longest first; and until when customers cancel on their own page."""
    studio, at = request.member.studio, timezone.now()
    form = NoticeForm(sent(request), initial={"hours": studio.visit_notice_h})
    if form.is_valid() and attempt(form, partial(answering.set_notice, **form.cleaned_data, **who_and_when(request))):
        messages.success(request, f"Customers cancel until {form.cleaned_data['hours']} hours before a visit.")
        return redirect("studio:requests")
    context = {
        "waiting": visit_reads.requests(studio, at=at), "offered": visit_reads.offered(studio, at=at), "form": form,
    }  # fmt: skip
    return render(request, "studio/requests.html", context)


def _task_choices(request: MemberRequest, visit: visit_reads.VisitView) -> list[tuple[str, str]]:
    """What the visit names first, then the vehicle's other windows."""
    named = dict(zip(visit.task_codes, visit.tasks, strict=True))
    windows = worklist.windows_of(request.member.studio, visit.vehicle_id, today=studio_today(request))
    return list((named | {row.task: f"{row.title} ({row.window})" for row in windows if row.task not in named}).items())


@access("desk")
@require_http_methods(["GET", "POST"])
def answer(request: MemberRequest, visit_id: int) -> HttpResponse:
    """Confirm, offer other days or decline a request; move or cancel a booked visit."""
    try:
        visit = visit_reads.visit_of_studio(request.member.studio, visit_id, at=timezone.now())
    except NotFoundHere as error:
        raise Http404 from error
    which, data = request.POST.get("record", ""), sent(request)
    start = {"seen": visit.sequence}
    day = {"on": visit.wanted_on or visit.on, "starts": visit.starts, "tasks": list(visit.task_codes)}
    each: dict[str, forms.Form] = {
        "confirm": ConfirmForm(
            data if which == "confirm" else None, tasks=_task_choices(request, visit), initial=start | day,
            auto_id="confirm_%s",
        ),
        "offer": OfferForm(data if which == "offer" else None, initial=start, auto_id="offer_%s"),
        "decline": DeclineForm(data if which == "decline" else None, initial=start, auto_id="decline_%s"),
    }  # fmt: skip
    done = _answered(request, visit_id, which, each)
    if done is not None:
        mail = "A mail tells the customer." if done.message else f"No mail goes out: {done.no_mail}."
        messages.success(request, f"{done.row.get_state_display().capitalize()}. {mail}")
        return redirect("studio:requests")
    return render(request, "studio/request.html", {"visit": visit, "forms": each})


def _answered(
    request: MemberRequest, visit_id: int, which: str, each: dict[str, forms.Form]
) -> visit_letters.Answered | None:
    given = who_and_when(request) | {"visit_id": visit_id}
    if which == "cancel":
        return attempt(each["decline"], partial(visit_letters.cancel, **given))
    form = each.get(which)
    if form is None or not form.is_valid():
        return None
    verb = {"confirm": visit_letters.confirm, "offer": visit_letters.offer_days, "decline": visit_letters.decline}
    fields = {"confirm": ("seen", "on", "starts", "tasks"), "offer": ("seen", "offers"), "decline": ("seen", "reason")}
    return attempt(form, partial(verb[which], **{name: form.cleaned_data[name] for name in fields[which]}, **given))


@access("desk")
@require_GET
def calendars(request: MemberRequest) -> HttpResponse:
    """My calendar addresses, one for each site."""
    rows = feeds.feeds_of_member(request.member.studio, request.member.id)
    context = {"feeds": [(row, feed_url(row.token) if row.token else "") for row in rows]}
    return render(request, "studio/calendars.html", context)


@access("desk")
@require_POST
def calendar_address(request: MemberRequest, site_id: int) -> HttpResponse:
    """Make, renew or end the address of one site."""
    verb = feeds.end_for_site if request.POST.get("do") == "end" else feeds.make_for_site
    try:
        verb(member_id=request.member.id, site_id=site_id, **who_and_when(request))
    except NotFoundHere as error:
        raise Http404 from error
    said = "The calendar address works no longer." if verb is feeds.end_for_site else "The calendar address is new."
    messages.success(request, said)
    return redirect("studio:calendars")
