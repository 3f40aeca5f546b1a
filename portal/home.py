"""The start page: everybody is sent to where their work is."""

from __future__ import annotations

from django.http import HttpResponse
from django.shortcuts import redirect, render

from portal.access.people import PortalRequest
from portal.access.registry import access


@access("signed_in")
def home(request: PortalRequest) -> HttpResponse:
    """Members to the work list, customers to their vehicles, a stranger to a page that says what to do."""
    if request.member is not None:
        return redirect("studio:work")
    if request.customer_ids:
        return redirect("customer:home")
    return render(request, "account/stranger.html")
