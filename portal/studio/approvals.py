"""Mails that wait for the owner: by run, with the reason; approved or refused by choice; and what needs approval."""

from __future__ import annotations

from django import forms
from django.contrib import messages
from django.http import HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_http_methods

from lifecycle.errors import DomainError
from lifecycle.reminders import approval
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import plain
from .register import who_and_when


class PolicyForm(forms.Form):
    """What the owner sees before it goes out."""

    first = forms.BooleanField(label="The first mail in new words", required=False)
    prices = forms.BooleanField(label="Mails that name a price", required=False)
    batches = forms.BooleanField(
        label=f"Runs of more than {approval.MOST_UNSEEN} mails", required=False,
        help_text="Copies of reports and answers about visits are sent by somebody's hand and never wait.",
    )  # fmt: skip


@access("owner")
@require_http_methods(["GET", "POST"])
def approvals(request: MemberRequest) -> HttpResponse:
    """What waits; the button says what is done with what was chosen."""
    if request.method == "POST":
        try:
            messages.success(request, _done(request))
        except DomainError as error:
            return _page(request, wrong=plain(error), field=error.field or "")
        return redirect("studio:approvals")
    return _page(request)


def _done(request: MemberRequest) -> str:
    by = {"member_id": request.member.id, **who_and_when(request)}
    asked = request.POST.get("do", "")
    if asked == "policy":
        approval.set_policy(**{name: name in request.POST for name in PolicyForm.base_fields}, **by)
        return "Kept. What waits already goes on waiting."
    chosen = [int(text) for text in request.POST.getlist("message") if text.isdecimal() and len(text) < 10]
    if asked == "all":
        key = request.POST.get("batch", "")
        chosen = [row.id for run in approval.waiting(request.member.studio) if run.key == key for row in run.rows]
    if asked in ("approve", "all"):
        counts = approval.approve(message_ids=chosen, **by)
        more = f" {counts['released']} more in the same words go too." if counts["released"] else ""
        return f"Approved: {counts['approved']}. The next round of the worker looks at them again and sends them.{more}"
    if asked == "refuse":
        number = approval.refuse(message_ids=chosen, why=request.POST.get("why", ""), **by)
        return f"Stopped: {number}. The reason stands in the outbox."
    raise DomainError("Nothing was asked for: press one of the buttons.")


def _page(request: MemberRequest, *, wrong: str = "", field: str = "") -> HttpResponse:
    studio = request.member.studio
    context = {
        "runs": approval.waiting(studio),
        "form": PolicyForm(
            initial={
                "first": studio.approve_first, "prices": studio.approve_prices, "batches": studio.approve_batches
            }
        ),
        "wrong": wrong,
        "wrong_field": field,
        "chosen": request.POST.getlist("message"),
        "why": request.POST.get("why", ""),
        "pressed": request.POST.get("batch", ""),
    }  # fmt: skip
    return render(request, "studio/approvals.html", context, status=422 if wrong else 200)
