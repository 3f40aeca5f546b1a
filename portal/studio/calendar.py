"""A site's calendar: its weeks for members, closures and what they hit for the desk, opening hours for the owner."""

from __future__ import annotations

from datetime import date, time
from functools import partial
from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import calendar_reads
from lifecycle.care import opening as verbs
from lifecycle.care.site_days import SKILLS, WEEKDAYS
from lifecycle.care.wording import day_words
from lifecycle.errors import NotFoundHere
from lifecycle.reminders import closure_moves
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt, studio_today
from .forms import DayInput
from .register import sent, who_and_when


class ClockInput(forms.TimeInput):
    """A time of day with the browser's own chooser."""

    input_type = "time"

    def __init__(self) -> None:
        super().__init__(format="%H:%M")


class OpeningForm(forms.Form):
    """Opening hours of the seven days, public holidays, load target, warm still bays."""

    country = forms.CharField(
        label="Country whose public holidays are kept", max_length=2, required=False,
        help_text="Two letters of ISO 3166, such as NO. Empty: no public holiday closes the site.",
    )  # fmt: skip
    subdivision = forms.CharField(
        label="Part of the country", max_length=12, required=False, help_text="Such as BY for Bavaria in DE."
    )
    load_target = forms.IntegerField(
        label="Part of a week that planning fills, %", min_value=75, max_value=85,
        help_text="75 to 85; the rest stays for what comes up.",
    )  # fmt: skip
    warm_bays = forms.MultipleChoiceField(
        label="Warm, still bays", required=False, widget=forms.CheckboxSelectMultiple,
        help_text="A car stays there while its coat cures; until then nothing else comes in.",
    )  # fmt: skip

    def __init__(self, *args: Any, view: calendar_reads.OpeningView, **kwargs: Any) -> None:
        initial: dict[str, Any] = {
            "country": view.country, "subdivision": view.subdivision, "load_target": view.load_target,
            "warm_bays": [str(pk) for pk, _name, warm in view.bays if warm],
        }  # fmt: skip
        for day, (opens, closes) in view.hours.items():
            initial |= {f"opens_{day}": opens, f"closes_{day}": closes}
        super().__init__(*args, initial=initial, **kwargs)
        for day in range(len(WEEKDAYS)):
            self.fields[f"opens_{day}"] = forms.TimeField(label="From", required=False, widget=ClockInput())
            self.fields[f"closes_{day}"] = forms.TimeField(label="To", required=False, widget=ClockInput())
        self.fields["warm_bays"].choices = [(str(pk), name) for pk, name, _warm in view.bays]
        if not view.bays:
            del self.fields["warm_bays"]

    def days(self) -> list[tuple[str, forms.BoundField, forms.BoundField]]:
        """The week: name of the day, its two fields."""
        return [(name, self[f"opens_{day}"], self[f"closes_{day}"]) for day, name in enumerate(WEEKDAYS)]

    def others(self) -> list[forms.BoundField]:
        """The fields that are not of one day."""
        return [field for field in self if not field.name.startswith(("opens_", "closes_"))]

    def hours(self) -> dict[int, tuple[time, time]]:
        """Weekday -> opening and closing time, of the days that are filled in."""
        told = self.cleaned_data
        return {day: (told[f"opens_{day}"], told[f"closes_{day}"]) for day in range(7) if told[f"opens_{day}"]}

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        for day in range(7):
            ends = [f"opens_{day}", f"closes_{day}"]
            empty = [name for name in ends if not cleaned.get(name) and name not in self.errors]
            if len(empty) == 1:
                self.add_error(empty[0], "Fill in both times of the day, or neither where it is closed.")
        return cleaned


class HandsForm(forms.Form):
    """What a member works at a site."""

    weekdays = forms.MultipleChoiceField(
        label="Works here on", required=False, choices=[(str(day), name) for day, name in enumerate(WEEKDAYS)],
        widget=forms.CheckboxSelectMultiple, help_text="None: this person is not counted here.",
    )  # fmt: skip
    hours_a_day = forms.FloatField(
        label="Labour hours on each of these days", required=False, widget=forms.NumberInput(attrs={"step": "any"}),
        help_text="Hands on cars, without breaks and desk work.",
    )  # fmt: skip
    skills = forms.MultipleChoiceField(
        label="Does, beside everyday care", required=False, choices=list(SKILLS.items()),
        widget=forms.CheckboxSelectMultiple,
    )  # fmt: skip


class ClosureForm(forms.Form):
    """Days on which the site does not work."""

    first = forms.DateField(label="First day", widget=DayInput)
    last = forms.DateField(label="Last day", widget=DayInput)
    reason = forms.CharField(label="Why", max_length=200, help_text="Such as storm, flooded yard, stocktaking.")


def _day(text: str, default: date) -> date:
    try:
        found = date.fromisoformat(text)
    except ValueError:
        return default
    return found if 2000 < found.year < 2100 else default


@access("member")
@require_GET
def site_calendar(request: MemberRequest, site_id: int) -> HttpResponse:
    """One week of a site: who comes when, what is proposed, how full the week is."""
    day = _day(request.GET.get("week", ""), studio_today(request))
    try:
        view = calendar_reads.week(request.member.studio, site_id, day=day)
    except NotFoundHere as error:
        raise Http404(error.message) from error
    role = request.member.role
    context = {"view": view, "may_open": role == "owner", "may_close": role in ("owner", "desk")}
    return render(request, "studio/site_calendar.html", context)


def _opening(request: MemberRequest, site_id: int) -> calendar_reads.OpeningView:
    try:
        return calendar_reads.opening(request.member.studio, site_id, today=studio_today(request))
    except NotFoundHere as error:
        raise Http404(error.message) from error


@access("owner")
@require_http_methods(["GET", "POST"])
def opening(request: MemberRequest, site_id: int) -> HttpResponse:
    """Say when the site is open, whose holidays it keeps, and which bays are warm and still."""
    view = _opening(request, site_id)
    form = OpeningForm(sent(request), view=view)
    if form.is_valid():
        told = form.cleaned_data
        verb = partial(
            verbs.set_opening, site_id=site_id, hours=form.hours(), country=told["country"],
            subdivision=told["subdivision"], load_target=told["load_target"],
            warm_bays=[int(key) for key in told.get("warm_bays", ())], **who_and_when(request),
        )  # fmt: skip
        if attempt(form, verb) is not None:
            messages.success(request, f"The hours of {view.site} are on record; its proposals are planned anew.")
            return redirect("studio:site_calendar", site_id=site_id)
    return render(request, "studio/opening.html", {"view": view, "form": form})


@access("owner")
@require_http_methods(["GET", "POST"])
def hands(request: MemberRequest, site_id: int, member_id: int) -> HttpResponse:
    """Say what a member works at the site."""
    view = _opening(request, site_id)
    row = next((row for row in view.hands if row.member_id == member_id), None)
    if row is None:
        raise Http404(f"Member {member_id} does not work in this studio.")
    start = {
        "weekdays": [str(day) for day in row.weekdays], "hours_a_day": row.hours_a_day, "skills": list(row.skills)
    }  # fmt: skip
    form = HandsForm(sent(request), initial=start)
    if form.is_valid():
        told = form.cleaned_data

        def keep() -> bool:
            verbs.set_hands(
                site_id=site_id, member_id=member_id, weekdays=[int(day) for day in told["weekdays"]],
                hours_a_day=told["hours_a_day"] or 0.0, skills=told["skills"], **who_and_when(request),
            )  # fmt: skip
            return True

        if attempt(form, keep):
            messages.success(request, f"What {row.name} works at {view.site} is on record.")
            return redirect("studio:opening", site_id=site_id)
    return render(request, "studio/hands.html", {"view": view, "row": row, "form": form})


@access("desk")
@require_http_methods(["GET", "POST"])
def closures(request: MemberRequest, site_id: int) -> HttpResponse:
    """The closures of a site; adds one and goes on to what it hits."""
    view = _opening(request, site_id)
    form = ClosureForm(sent(request))
    if form.is_valid():
        verb = partial(verbs.close_site, site_id=site_id, **form.cleaned_data, **who_and_when(request))
        closure = attempt(form, verb)
        if closure is not None:
            messages.success(request, f"{view.site} is closed on these days; its proposals are planned anew.")
            return redirect("studio:closure", closure_id=closure.pk)
    return render(request, "studio/closures.html", {"view": view, "form": form})


class MovesForm(forms.Form):
    """For each visit that a closure hits: whether it moves, and to which day."""

    def __init__(self, *args: Any, hit: closure_moves.Hit, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.hit = hit
        for move in hit.moves:
            plate = move.plate or move.vehicle
            key = move.visit_id
            self.fields[f"move_{key}"] = forms.BooleanField(
                label=f"Move {plate}", required=False, initial=move.to is not None
            )
            self.fields[f"seen_{key}"] = forms.IntegerField(widget=forms.HiddenInput, initial=move.seen)
            self.fields[f"to_{key}"] = forms.DateField(
                label=f"New day of {plate}", required=False, widget=DayInput, initial=move.to
            )

    def rows(self) -> list[dict[str, Any]]:
        """Each move with its fields."""
        return [
            {"move": move, "tick": self[f"move_{move.visit_id}"], "seen": self[f"seen_{move.visit_id}"],
             "to": self[f"to_{move.visit_id}"]}
            for move in self.hit.moves
        ]  # fmt: skip

    def clean(self) -> dict[str, Any]:
        cleaned: dict[str, Any] = super().clean() or {}
        for move in self.hit.moves:
            to = f"to_{move.visit_id}"
            if cleaned.get(f"move_{move.visit_id}") and not cleaned.get(to) and to not in self.errors:
                self.add_error(to, "Give the new day, or leave this visit where it is.")
        return cleaned

    def moves(self) -> list[tuple[int, int, date]]:
        """Visit, sequence seen and new day of the visits that are to move."""
        told = self.cleaned_data
        ids = [move.visit_id for move in self.hit.moves if told[f"move_{move.visit_id}"]]
        return [(key, told[f"seen_{key}"], told[f"to_{key}"]) for key in ids]


@access("desk")
@require_http_methods(["GET", "POST"])
def closure(request: MemberRequest, closure_id: int) -> HttpResponse:
    """What a closure hits: new days with reasons, moved in one go; or lift the closure."""
    try:
        hit = closure_moves.hit_by(request.member.studio, closure_id, at=timezone.now())
    except NotFoundHere as error:
        raise Http404(error.message) from error
    lift = request.method == "POST" and "lift" in request.POST
    form = MovesForm(None if lift else sent(request), hit=hit)
    if lift:
        if not hit.lifted:
            verbs.lift_closure(closure_id=closure_id, **who_and_when(request))
        messages.success(request, f"{hit.site} is open on these days again.")
        return redirect("studio:closures", site_id=hit.site_id)
    if form.is_valid():
        moved = attempt(
            form, partial(closure_moves.move_all, closure_id=closure_id, moves=form.moves(), **who_and_when(request))
        )
        if moved is not None:
            for one in moved:
                told = f"phone the customer{', ' + one.phone if one.phone else ''}: {one.no_mail}" if one.no_mail else (
                    "a mail is on its way"
                )  # fmt: skip
                messages.success(request, f"{one.plate} is now booked for {day_words(one.on)}; {told}.")
            return redirect("studio:closure", closure_id=closure_id)
    return render(request, "studio/closure.html", {"hit": hit, "form": form})
