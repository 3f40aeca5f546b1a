"""What the studio's views share: today's date at the studio, bounded paging, and a verb's refusal shown in its form."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Final, TypeVar
from zoneinfo import ZoneInfo

from django import forms
from django.http import Http404
from django.utils import timezone
from django.utils.http import urlencode

from lifecycle.care.tongue.speak import say
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest

Result = TypeVar("Result")
MAX_PAGE: Final = 10_000


def studio_today(request: MemberRequest) -> date:
    """The calendar day at the studio."""
    return timezone.now().astimezone(ZoneInfo(request.member.studio.zone)).date()


def bounded_int(text: str, *, low: int, high: int, default: int) -> int:
    """A whole number from an address, held within bounds; `default` where it is none."""
    try:
        return min(max(int(text), low), high)
    except ValueError:
        return default


def page_number(request: MemberRequest) -> int:
    """The page that the address asks for."""
    return bounded_int(request.GET.get("page", ""), low=1, high=MAX_PAGE, default=1)


def search_text(request: MemberRequest) -> str:
    """What was searched for, cut to a sane length."""
    return request.GET.get("q", "").strip()[:80]


def other_pages(request: MemberRequest) -> str:
    """The present address's query without its page, ready for `page=` to follow."""
    kept = {name: value for name, value in request.GET.items() if name != "page"}
    return f"?{urlencode(kept)}&" if kept else "?"


def attempt(form: forms.Form, verb: Callable[[], Result]) -> Result | None:
    """Call a verb. What it refuses is shown in the form, beside the field it names; nothing that was typed is lost.

    Raises:
        Http404: the verb met a thing of another studio.
    """
    try:
        return verb()
    except NotFoundHere as error:
        raise Http404(error.message) from error
    except DomainError as error:
        form.add_error(error.field if error.field in form.fields else None, plain(error))
        return None


def plain(error: DomainError) -> str:
    """The error in the language that is active, without the field name before it, which the form shows already."""
    lead = f"{error.field}: "
    text = say(error.message.removeprefix(lead) if error.field else error.message)
    return text[:1].upper() + text[1:]
