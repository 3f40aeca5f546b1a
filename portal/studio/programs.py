"""Programs that talk to Sheenward: a member's tokens, and the reference of the API."""

from __future__ import annotations

from functools import partial

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_GET, require_http_methods, require_POST

from lifecycle.connect import tokens
from lifecycle.connect.hook_events import EVENT_KINDS
from lifecycle.connect.scopes import open_to
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access
from portal.api.reference import reference

from .common import attempt, plain
from .register import sent, who_and_when

DAYS = ((30, "30 days"), (90, "90 days"), (365, "a year"))


class TokenForm(forms.Form):
    """A new token: what it is for, what it may do, how long it holds."""

    name = forms.CharField(
        label="What is it for?", max_length=60, help_text="The program or the place where it runs, no person’s name."
    )
    scopes = forms.MultipleChoiceField(
        label="What may it do?", widget=forms.CheckboxSelectMultiple,
        help_text="Never more than your role allows, also when that changes.",
        error_messages={"required": "Tick at least one thing that the program may do."},
    )  # fmt: skip
    days = forms.TypedChoiceField(label="It holds for", choices=DAYS, coerce=int, initial=90)

    def __init__(self, *args: object, role: str, **kwargs: object) -> None:
        super().__init__(*args, **kwargs)  # type: ignore[arg-type]
        self.fields["scopes"].choices = [  # type: ignore[attr-defined]
            (scope.code, f"{scope.words} ({scope.code})") for scope in open_to(role)
        ]


@access("member")
@require_http_methods(["GET", "POST"])
@never_cache
def token_list(request: MemberRequest) -> HttpResponse:
    """One's own tokens, for an owner those of all; makes one, which is shown this once."""
    member, made = request.member, None
    form = TokenForm(sent(request), role=member.role)
    if form.is_valid():
        verb = partial(tokens.make_token, member_id=member.id, **form.cleaned_data, **who_and_when(request))
        made = attempt(form, verb)
        if made is not None:
            form = TokenForm(role=member.role)
    context = {
        "form": form, "made": made, "per_minute": tokens.PER_MINUTE,
        "rows": tokens.tokens_of(
            member.studio, member_id=None if member.role == "owner" else member.id, at=timezone.now()
        ),
    }  # fmt: skip
    return render(request, "studio/tokens.html", context, status=422 if form.errors else 200)


@access("member")
@require_POST
def end_token(request: MemberRequest, token_id: int) -> HttpResponse:
    """End a token of one's own; an owner may end any of the studio's."""
    member = request.member
    try:
        token = tokens.end_token(
            token_id=token_id, member_id=member.id, everybodys=member.role == "owner", **who_and_when(request)
        )
    except NotFoundHere as error:
        raise Http404(error.message) from error
    except DomainError as error:
        messages.error(request, plain(error))
    else:
        messages.success(request, f"The token “{token.name}” has ended; whoever uses it is refused from now on.")
    return redirect("studio:tokens")


@access("member")
@require_GET
def api_reference(request: MemberRequest) -> HttpResponse:
    """What programs can ask and how, out of the API's own document."""
    return render(request, "studio/api_reference.html", {"reference": reference(), "event_kinds": EVENT_KINDS.values()})
