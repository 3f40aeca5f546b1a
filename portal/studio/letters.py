"""Reminders and the outbox: what goes out, what does not and why, and exactly what a mail says."""

from __future__ import annotations

from csp.constants import NONE, UNSAFE_INLINE
from csp.decorators import csp
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from lifecycle.care import register
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.reminders import reads, retries, tending
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import other_pages, page_number, plain

PLAN_STATES = (
    ("", "all"),
    ("planned", "planned"),
    ("waiting", "held back, looked at again"),
    ("skipped", "not sent, for good"),
    ("written", "written"),
)
# A mail's own styles are inline; it may show them, and nothing else: no script, no picture, no link out of its box.
MAIL_POLICY = {"default-src": [NONE], "style-src": [UNSAFE_INLINE], "sandbox": []}


@access("desk")
@require_GET
def reminders(request: MemberRequest) -> HttpResponse:
    """The plan: planned ones first, then the others with the reason why they are not sent."""
    state = request.GET.get("state", "")
    state = state if state in dict(PLAN_STATES) else ""
    studio = request.member.studio
    context = {
        "page": reads.reminders(
            studio, state=state, reason_code=request.GET.get("reason", "")[:30], page=page_number(request)
        ),
        "counts": reads.counts(studio),
        "state": state,
        "reason": request.GET.get("reason", "")[:30],
        "states": PLAN_STATES,
        "more": other_pages(request),
        "may_pause": True,
    }
    return render(request, "studio/reminders.html", context)


@access("desk")
@require_POST
def pause(request: MemberRequest) -> HttpResponse:
    """Hold all reminders of the studio back, or let them go again."""
    paused = request.POST.get("paused") == "yes"
    register.pause_studio(studio=request.member.studio, paused=paused, actor=request.member.actor, at=timezone.now())
    messages.success(
        request,
        "Reminders are paused: nothing new is written, and what is written waits, until you let them go again."
        if paused
        else "Reminders go again; the next round of the worker decides them anew.",
    )
    return redirect("studio:reminders")


@access("desk")
@require_GET
def outbox(request: MemberRequest) -> HttpResponse:
    """Messages and what became of them."""
    studio, state = request.member.studio, request.GET.get("state", "")[:20]
    context = {
        "page": reads.outbox(studio, state=state, page=page_number(request)),
        "counts": reads.counts(studio),
        "state": state,
        "errors": retries.in_words(),
        "more": other_pages(request),
    }
    return render(request, "studio/outbox.html", context)


def _mail_or_404(request: MemberRequest, message_id: int) -> reads.Mail:
    try:
        return reads.mail(request.member.studio, message_id=message_id)
    except NotFoundHere as error:
        raise Http404 from error


@access("desk")
@require_GET
def message(request: MemberRequest, message_id: int) -> HttpResponse:
    """One message exactly as it is sent, with its receipts."""
    mail = _mail_or_404(request, message_id)
    context = {
        "mail": mail,
        "message_id": message_id,
        "may_retry": mail.state in tending.MAY_RETRY,
        "may_stop": mail.state in tending.MAY_STOP,
    }
    return render(request, "studio/message.html", context)


@access("desk")
@require_POST
def tend(request: MemberRequest, message_id: int) -> HttpResponse:
    """Send a failed or stopped message again, or stop one that waits; the button says which."""
    asked = request.POST.get("do", "")
    verb = {"retry": tending.retry, "stop": tending.stop}.get(asked)
    if verb is None:
        _mail_or_404(request, message_id)
        messages.error(request, "Nothing was asked for: press one of the two buttons.")
        return redirect("studio:message", message_id=message_id)
    try:
        verb(studio=request.member.studio, message_id=message_id, actor=request.member.actor, at=timezone.now())
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        messages.error(request, plain(error))
    else:
        messages.success(
            request,
            "It is ready again; the next round of the worker sends it." if asked == "retry" else "It is not sent.",
        )
    return redirect("studio:message", message_id=message_id)


@access("desk")
@require_GET
@csp(MAIL_POLICY)
def message_page(request: MemberRequest, message_id: int) -> HttpResponse:
    """The mail's own HTML, locked into a policy of its own."""
    return HttpResponse(_mail_or_404(request, message_id).html)


@access("desk")
@require_GET
def preview(request: MemberRequest, reminder_id: int) -> HttpResponse:
    """What a reminder would say if it were written now; the renderer is the mail's own."""
    try:
        mail = reads.preview(request.member.studio, reminder_id=reminder_id, at=timezone.now())
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        messages.info(request, plain(error))
        return redirect("studio:outbox")
    return render(request, "studio/message.html", {"mail": mail, "message_id": None})
