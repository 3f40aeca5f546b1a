"""What the access middleware adds to a request, for type hints."""

from __future__ import annotations

from django.http import HttpRequest

from lifecycle.care.signin import CustomerFacts, MemberFacts


class PortalRequest(HttpRequest):
    """Any request that has passed the access middleware."""

    member: MemberFacts | None
    customer_ids: tuple[int, ...]
    wishes: CustomerFacts


class MemberRequest(PortalRequest):
    """A request to a page whose rule names members."""

    member: MemberFacts
