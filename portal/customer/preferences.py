"""The link in every mail's foot: choose without sign-in what is written, in which language and when."""

from __future__ import annotations

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.reminders import preferences as chosen
from portal.access.language import speak
from portal.access.registry import access

from .forms import PURPOSES, WORDINGS, ChoiceForm, WishesForm
from .wishes import wishes_form


@access("public")
@require_http_methods(["GET", "HEAD", "POST"])
@never_cache
def preferences(request: HttpRequest, token: str) -> HttpResponse:
    """GET shows, POST changes: scanners that open every link change nothing. The token says whose choices they are."""
    try:
        held = chosen.read(token)
    except NotFoundHere as error:
        return render(request, "mail/unsubscribe_unknown.html", {"why": error.message}, status=404)
    # In the language of the mails, whatever the browser's is.
    speak(request, held.languages)
    if request.method == "POST":
        answer = _wish if "language" in request.POST else _choose
        return answer(request, token, held)
    return _page(request, held)


def _page(request: HttpRequest, held: chosen.Preferences, wrong: WishesForm | None = None) -> HttpResponse:
    context = {
        "held": held,
        "lines": [
            {"line": line, "title": PURPOSES[line.purpose], "wording": WORDINGS[line.purpose]} for line in held.lines
        ],
        "form": wrong or wishes_form(held.wishes),
    }
    return render(request, "mail/choices.html", context, status=200 if wrong is None else 422)


def _choose(request: HttpRequest, token: str, held: chosen.Preferences) -> HttpResponse:
    form = ChoiceForm({**request.POST.dict(), "customer": held.customer_id})
    if not form.is_valid():
        messages.error(request, _("That choice could not be read; nothing was changed. Please use the buttons below."))
        return redirect("mail:choices", token=token)
    purpose: str = form.cleaned_data["purpose"]
    given = form.cleaned_data["answer"] == "yes"
    chosen.choose(token=token, purpose=purpose, given=given, wording=str(WORDINGS[purpose]), at=timezone.now())
    said = _("%(purpose)s: yes, from now on.") if given else _("%(purpose)s: no more, from now on.")
    messages.success(request, said % {"purpose": PURPOSES[purpose]})
    return redirect("mail:choices", token=token)


def _wish(request: HttpRequest, token: str, held: chosen.Preferences) -> HttpResponse:
    # Whose wishes these are is the token's to say, whatever the form says.
    form = WishesForm({**request.POST.dict(), "customer": held.customer_id}, auto_id=f"id_{held.customer_id}_%s")
    if form.is_valid():
        wishes = {name: value for name, value in form.cleaned_data.items() if name != "customer"}
        try:
            chosen.wish(token=token, at=timezone.now(), **wishes)
        except DomainError as error:
            form.add_error(error.field or None, error.message.removeprefix(f"{error.field}: "))
        else:
            messages.success(request, _("Kept. What is planned from now on follows it."))
            return redirect("mail:choices", token=token)
    return _page(request, held, form)
