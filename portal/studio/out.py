"""Records taken out: every list as CSV or XLSX, the whole studio as a zip. Each download goes into the journal."""

from __future__ import annotations

from django.http import Http404, HttpResponse, StreamingHttpResponse
from django.http.response import HttpResponseBase
from django.shortcuts import render
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from lifecycle.errors import DomainError
from lifecycle.taking_out import lists, packing, reads
from lifecycle.taking_out.lists import Outgoing
from portal.access.people import MemberRequest
from portal.access.registry import access

from .register import who_and_when


@access("owner")
@require_GET
def out(request: MemberRequest) -> HttpResponse:
    """Every list by its group, the whole studio, and what was taken out before."""
    context = {"groups": lists.lists(), "rows": reads.taken(request.member.studio)}
    return render(request, "studio/out.html", context)


@access("owner")
@require_http_methods(["GET", "POST"])
def out_list(request: MemberRequest, table: str) -> HttpResponseBase:
    """The columns of one list; hands it out where a button says so."""
    row = next((row for _, rows in lists.lists() for row in rows if row.name == table), None)
    if row is None:
        raise Http404
    if request.method != "POST":
        return render(request, "studio/out_list.html", {"row": row})
    try:
        going = lists.take_list(name=table, form=request.POST.get("form", ""), **who_and_when(request))
    except DomainError as error:
        raise Http404 from error  # no button of ours says so
    return _handed_out(going)


@access("owner")
@require_POST
def out_studio(request: MemberRequest) -> HttpResponseBase:
    """The whole studio as a zip."""
    return _handed_out(packing.take_studio(**who_and_when(request)))


def _handed_out(going: Outgoing) -> StreamingHttpResponse:
    """A piece at a time: neither the server nor the database holds the whole."""
    answer = StreamingHttpResponse(going.pieces, content_type=going.kind)
    answer["Content-Disposition"] = f'attachment; filename="{going.name}"'
    answer["X-Content-Type-Options"] = "nosniff"
    answer["Cache-Control"] = "no-store"
    return answer
