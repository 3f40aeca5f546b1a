"""Webhooks: the addresses of other programs that are told what happened, and how that went."""

from __future__ import annotations

from functools import partial
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods, require_POST

from lifecycle.connect import hook_events, hooks
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt, plain
from .register import sent, who_and_when

KINDS: Final = [(kind.code, f"{kind.words} ({kind.code})") for kind in hook_events.EVENT_KINDS.values()]


class KindsForm(forms.Form):
    """Which kinds of events an address is told of."""

    kinds = forms.MultipleChoiceField(
        label="What is it told of?", choices=KINDS, widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one kind of event."},
    )  # fmt: skip


class HookForm(KindsForm):
    """A new address."""

    field_order = ("url", "kinds")
    url = forms.CharField(
        label="Address", max_length=500, widget=forms.URLInput(attrs={"autocomplete": "off"}),
        help_text="It begins with https:// and is open to the public internet.",
    )  # fmt: skip


@access("owner")
@require_http_methods(["GET", "POST"])
@never_cache
def hook_list(request: MemberRequest) -> HttpResponse:
    """The addresses; adds one, whose secret is shown this once."""
    form, secret = HookForm(sent(request)), ""
    if form.is_valid():
        added = attempt(form, partial(hooks.add_hook, **form.cleaned_data, **who_and_when(request)))
        if added is not None:
            form, secret = HookForm(), added[1]
    context = {"form": form, "secret": secret, "rows": hooks.hooks(request.member.studio)}
    return render(request, "studio/hooks.html", context, status=422 if form.errors else 200)


def _done(request: MemberRequest, hook_id: int, asked: str) -> tuple[str, str]:
    """Do what a button says; the words for it, and a new secret where there is one."""
    by: dict[str, Any] = {"hook_id": hook_id, **who_and_when(request)}
    if asked == "rotate":
        return "", hooks.rotate(**by)
    if asked == "on":
        hooks.switch_on(**by)
        return "It is on again, and told of what happens from now on.", ""
    if asked == "end":
        hooks.end_hook(**by)
        return "Nothing more is sent there.", ""
    raise DomainError("Nothing was asked for: press one of the buttons.")


@access("owner")
@require_http_methods(["GET", "POST"])
@never_cache
def hook(request: MemberRequest, hook_id: int) -> HttpResponse:
    """One address with its latest messages: other kinds, a new secret, on again, or the end."""
    try:
        row, told = hooks.hook(request.member.studio, hook_id)
        asked, secret = request.POST.get("do", ""), ""
        form = KindsForm(request.POST if asked == "kinds" else None, initial={"kinds": row.kinds})
        if asked == "kinds":
            verb = partial(hooks.change_kinds, hook_id=hook_id, **who_and_when(request))
            if form.is_valid() and attempt(form, lambda: verb(kinds=form.cleaned_data["kinds"])) is not None:
                messages.success(request, "From now on it is told of these kinds.")
                return redirect("studio:hook", hook_id=hook_id)
        elif request.method == "POST":
            said, secret = _done(request, hook_id, asked)
            if said:
                messages.success(request, said)
                return redirect("studio:hooks")
    except NotFoundHere as error:
        raise Http404(error.message) from error
    except DomainError as error:
        messages.error(request, plain(error))
        return redirect("studio:hook", hook_id=hook_id)
    context = {"row": row, "told": told, "form": form, "secret": secret}
    return render(request, "studio/hook.html", context, status=422 if form.errors else 200)


@access("owner")
@require_POST
def resend(request: MemberRequest, hook_id: int, delivery_id: int) -> HttpResponse:
    """Send one message once more."""
    try:
        hooks.send_again(hook_id=hook_id, delivery_id=delivery_id, **who_and_when(request))
    except NotFoundHere as error:
        raise Http404(error.message) from error
    except DomainError as error:
        messages.error(request, plain(error))
    else:
        messages.success(request, "It is ready again; the next round of the worker sends it under the same id.")
    return redirect("studio:hook", hook_id=hook_id)
