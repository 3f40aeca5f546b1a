"""A vehicle changes hands by both sides' consent: the present keeper offers it, the new one agrees with own words."""

from __future__ import annotations

from typing import Any

from django import forms
from django.contrib import messages
from django.http import Http404, HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.decorators.cache import never_cache
from django.views.decorators.http import require_http_methods

from lifecycle.care import handover
from lifecycle.care.told import keeping
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.reminders.handover_letters import offer
from portal.access.door import is_fresh, to_fresh_sign_in
from portal.access.people import PortalRequest
from portal.access.registry import access
from portal.limits import too_often

from .common import today_of
from .forms import PURPOSES, WORDINGS

PER_MINUTE = 20
YES_NO = [("yes", gettext_lazy("yes")), ("no", gettext_lazy("no"))]
CHOOSE = gettext_lazy("Say yes or no.")


class OfferForm(forms.Form):
    """Who keeps it, and since when."""

    email = forms.EmailField(
        label=gettext_lazy("E-mail address of the new keeper"), max_length=254,
        widget=forms.EmailInput(attrs={"autocomplete": "off"}),
    )  # fmt: skip
    on = forms.DateField(
        label=gettext_lazy("Keeps it since"), widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d")
    )


class AgreeForm(forms.Form):
    """One's own name and one's own consents; nothing is chosen beforehand."""

    name = forms.CharField(
        label=gettext_lazy("Your name"), max_length=160, widget=forms.TextInput(attrs={"autocomplete": "name"})
    )
    service = forms.ChoiceField(
        label=PURPOSES["service"], help_text=WORDINGS["service"], choices=YES_NO, widget=forms.RadioSelect,
        error_messages={"required": CHOOSE},
    )  # fmt: skip
    promotion = forms.ChoiceField(
        label=PURPOSES["promotion"], help_text=WORDINGS["promotion"], choices=YES_NO, widget=forms.RadioSelect,
        error_messages={"required": CHOOSE},
    )  # fmt: skip


def _said(form: forms.Form, error: DomainError) -> None:
    field = error.field if error.field in form.fields else None
    form.add_error(field, error.message.removeprefix(f"{error.field}: ") if error.field else error.message)


@access("customer")
@require_http_methods(["GET", "POST"])
@never_cache
def give(request: PortalRequest, vehicle_id: int) -> HttpResponse:
    """Offer my vehicle to its new keeper, see what became of it, take it back. Soon after signing in, like all that
    ends something for good."""
    try:
        keeper = keeping(request.customer_ids, vehicle_id)
    except NotFoundHere as error:
        raise Http404 from error
    if not is_fresh(request):
        return to_fresh_sign_in(request, request.path)
    at, mine = timezone.now(), {"customer_ids": request.customer_ids, "vehicle_id": vehicle_id}
    actor = f"customer:{keeper.customer_id}"
    form = OfferForm(request.POST if request.POST.get("do") == "offer" else None, initial={"on": today_of(request)})
    if request.POST.get("do") == "withdraw":
        try:
            handover.withdraw(**mine, actor=actor, at=at)
            messages.success(request, _("The offer is withdrawn; the link in the mail opens nothing any more."))
        except NotFoundHere:
            messages.info(request, _("There is no open offer; it may have been answered meanwhile."))
        return redirect("customer:handover", vehicle_id=vehicle_id)
    if form.is_valid():
        try:
            offer(**mine, **form.cleaned_data, language=translation.get_language() or "en", actor=actor, at=at)
        except NotFoundHere as error:
            raise Http404 from error
        except DomainError as error:
            _said(form, error)
        else:
            messages.success(request, _("The new keeper gets a mail with a link. Until they agree, nothing changes."))
            return redirect("customer:handover", vehicle_id=vehicle_id)
    lines = handover.of_keeper(request.customer_ids, vehicle_id)
    context = {
        "vehicle": keeper.vehicle, "form": form, "lines": lines, "open": any(line.state == "open" for line in lines),
        "days": handover.DAYS,
    }  # fmt: skip
    return render(request, "customer/handover.html", context, status=422 if form.errors else 200)


@access("public")
@require_http_methods(["GET", "POST"])
@never_cache
def take(request: HttpRequest, token: str) -> HttpResponse:
    """The new keeper's page behind the mail's link: agree with one's own name and consents, or decline. Looking alone
    changes nothing, and nothing here says whether the address is known."""
    if too_often(request, "handover", per_minute=PER_MINUTE):
        return render(request, "report/wait.html", status=429)
    at = timezone.now()
    do = request.POST.get("do", "")
    form = AgreeForm(request.POST if do == "agree" else None)
    try:
        if do == "decline":
            handover.decline(token=token, at=at)
            return render(request, "handover/done.html", {"agreed": False})
        view = handover.offer_of(token, at=at)
        if form.is_valid() and _agree(form, token, at):
            return render(request, "handover/done.html", {"agreed": True, "view": view})
    except NotFoundHere:
        return render(request, "handover/over.html", status=404)
    return render(request, "handover/offer.html", {"view": view, "form": form}, status=422 if form.errors else 200)


def _agree(form: AgreeForm, token: str, at: Any) -> bool:
    said = form.cleaned_data
    try:
        handover.accept(
            token=token, name=said["name"], language=translation.get_language() or "en",
            wordings={purpose: str(WORDINGS[purpose]) for purpose in WORDINGS},
            agreed={purpose: said[purpose] == "yes" for purpose in WORDINGS}, how="link in a mail", at=at,
        )  # fmt: skip
    except NotFoundHere:
        raise
    except DomainError as error:
        _said(form, error)
        return False
    return True
