"""Sites: where they lie, what is known of their climate, and their year. Members see, the owner corrects."""

from __future__ import annotations

from datetime import date
from functools import partial
from typing import Any, Final

from django import forms
from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import places
from lifecycle.climate.place_climate import MONTH_NAMES, Quantity, chloride_mark
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access
from portal.drawings import year_strip

from .common import attempt, plain, studio_today

DIGITS: Final = {"ghi_kwh_m2_day": 2, "air_c": 1, "diurnal_range_k": 1, "wind_ms": 1, "uv_mj_m2": 1}


class PlaceForm(forms.Form):
    """Where a site lies. The place is a pin or a name; height and sea distance are the owner's own knowledge."""

    where = forms.CharField(
        label="Place",
        max_length=120,
        help_text="Latitude and longitude, north and east positive, such as 58.1, 6.7; or a large city, or a US zip "
        "code. Nothing is asked over the network.",
    )
    height_m = forms.FloatField(label="Height above the sea, m", required=False, help_text="Empty: taken as sea level.")
    sea_distance_m = forms.FloatField(label="Distance to the sea, m", required=False)
    road_salt = forms.ChoiceField(
        label="Salt on the roads in winter", choices=[(word, word) for word in places.ROAD_SALT]
    )

    def clean_where(self) -> str:
        text: str = self.cleaned_data["where"]
        try:
            self.place = places.locate(text)
        except DomainError as error:
            raise forms.ValidationError(plain(error)) from error
        return text


@access("member")
@require_GET
def sites(request: MemberRequest) -> HttpResponse:
    """The studio's sites with the climate source in use."""
    context = {"sites": places.sites(request.member.studio), "may_edit": request.member.role == "owner"}
    return render(request, "studio/sites.html", context)


@access("member")
@require_GET
def site(request: MemberRequest, site_id: int) -> HttpResponse:
    """One site: its climate by month with sources and marks, and the strip of its year."""
    view = _view(request, site_id)
    rows = year_strip.week_rows(view)
    context: dict[str, Any] = {
        "site": view,
        "months": MONTH_NAMES,
        "table": [_line(quantity) for quantity in view.climate.quantities] if view.climate else [],
        "weeks": rows,
        "strip": year_strip.draw(rows, today=view.today, key="year", title=f"The year at {view.row.name}")
        if rows
        else "",
        "frost_words": month_span(view.climate.salt_months) if view.climate else "",
        "chloride_mark": chloride_mark().value,
        "may_edit": request.member.role == "owner",
    }
    return render(request, "studio/site.html", context)


@access("owner")
@require_http_methods(["GET", "POST"])
def site_place(request: MemberRequest, site_id: int) -> HttpResponse:
    """Correct where a site lies."""
    view = _view(request, site_id)
    now = {
        "where": f"{view.row.lat:g}, {view.row.lon:g}", "height_m": view.row.height_m,
        "sea_distance_m": view.sea_distance_m, "road_salt": view.road_salt,
    }  # fmt: skip
    form = PlaceForm(request.POST or None, initial=now)
    if request.method == "POST" and form.is_valid():
        told = form.cleaned_data
        verb = partial(
            places.set_place,
            studio=request.member.studio,
            site_id=site_id,
            lat=form.place.lat,
            lon=form.place.lon,
            height_m=told["height_m"] if told["height_m"] is not None else form.place.height_m,
            sea_distance_m=told["sea_distance_m"],
            road_salt=told["road_salt"],
            actor=request.member.actor,
            at=timezone.now(),
        )
        if attempt(form, verb) is not None:
            messages.success(request, f"{view.row.name} is on record; its vehicles are assessed again.")
            return redirect("studio:site", site_id=site_id)
    return render(request, "studio/site_place.html", {"site": view, "form": form})


def _view(request: MemberRequest, site_id: int) -> places.SiteView:
    """The site's view; a site of another studio answers 404."""
    try:
        return places.site(request.member.studio, site_id, today=studio_today(request))
    except NotFoundHere as error:
        raise Http404(error.message) from error


def month_span(months: tuple[bool, ...]) -> str:
    """Months of one season in words, across the turn of the year too: "from November to March", "in July", ""."""
    first = next((month for month in range(12) if months[month] and not months[month - 1]), None)
    if first is None:
        return ""
    last = next(month for month in range(first, first + 12) if not months[(month + 1) % 12]) % 12
    names = [date(2001, month + 1, 1).strftime("%B") for month in (first, last)]
    return f"in {names[0]}" if first == last else f"from {names[0]} to {names[1]}"


def _line(quantity: Quantity) -> dict[str, Any]:
    digits = DIGITS.get(quantity.key, 0)
    return {
        "title": quantity.title,
        "unit": quantity.unit,
        "months": [f"{month:.{digits}f}".replace("-", "−") for month in quantity.months],
        "year": f"{quantity.year:.{digits}f}".replace("-", "−"),
        "kind": "sum" if quantity.summed else "mean",
        "word": quantity.error_word,
        "mark": quantity.mark.value,
        "source": quantity.source,
    }
