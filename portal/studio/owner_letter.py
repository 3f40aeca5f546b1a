"""The owner's monthly letter to read in the browser, as a PDF, and to switch on and off."""

from __future__ import annotations

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_GET, require_POST

from lifecycle.monthly import letter as letters
from lifecycle.monthly import letter_reads, post
from lifecycle.monthly.pdf import make_pdf
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import studio_today


@access("owner")
@require_GET
def letter(request: MemberRequest) -> HttpResponse:
    """The letter as it would be written today, and what became of those that were."""
    found = letters.compose(request.member.studio, today=studio_today(request))
    context = {
        "letter": found, "sent": letter_reads.sent(request.member.studio, member_id=request.member.id),
        "wanted": letter_reads.wanted(request.member.studio, member_id=request.member.id),
        "action_url": reverse(f"studio:{found.page}") if found else "",
    }  # fmt: skip
    return render(request, "studio/letter.html", context)


@access("owner")
@require_GET
def letter_pdf(request: MemberRequest) -> HttpResponse:
    """The same as a PDF of one page."""
    found = letters.compose(request.member.studio, today=studio_today(request))
    if found is None:
        raise Http404
    answer = HttpResponse(make_pdf(found), content_type="application/pdf")
    answer["Content-Disposition"] = f'attachment; filename="outlook-{found.month:%Y-%m}.pdf"'
    answer["Cache-Control"] = "private, no-store"
    return answer


@access("owner")
@require_POST
def letter_choice(request: MemberRequest) -> HttpResponse:
    """Switch one's own letter on or off."""
    wanted = request.POST.get("wanted") == "yes"
    post.choose(
        studio=request.member.studio, member_id=request.member.id, wanted=wanted, actor=request.member.actor,
        at=timezone.now(),
    )  # fmt: skip
    messages.success(
        request, "You get the letter in the first week of each month." if wanted else "You get no letter any more."
    )
    return redirect("studio:letter")
