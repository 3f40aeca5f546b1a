"""Packages of layers: the owner keeps them, a technician puts one on a vehicle; and a product's data-sheet windows."""

from __future__ import annotations

from functools import partial
from typing import Any, Final

from django.contrib import messages
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import documents, sheet_windows
from lifecycle.care import packages as kept
from lifecycle.care.directory import RecordChoices
from lifecycle.care.goods import products
from lifecycle.care.stack_rules import usual_windows
from lifecycle.errors import NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access

from . import cautions
from .common import attempt, studio_today
from .layer_forms import ITEMS, ItemWorkForm, PackageForm, PackageWorkForm, WindowsForm, item_lines
from .layers import held_back, verdict
from .records import choices_or_404, done
from .register import sent, who_and_when

PAIR_TITLES: Final = {
    "air": ("Air, °C", "air_low_c", "air_high_c"),
    "surface": ("Panel, °C", "surface_low_c", "surface_high_c"),
    "rh": ("Humidity of the air, %", "rh_low_pct", "rh_high_pct"),
    "recoat": ("Time to the next coat, hours", "recoat_low_h", "recoat_high_h"),
    "cure": ("Cure", "keep_dry_h", "no_wash_days", "no_chemicals_days", "full_days"),
}


@access("owner")
@require_http_methods(["GET", "POST"])
def windows(request: MemberRequest, product_id: int) -> HttpResponse:
    """What the data sheet of a product says."""
    try:
        row = sheet_windows.product_windows(request.member.studio, product_id)
    except NotFoundHere as error:
        raise Http404 from error
    form = WindowsForm(sent(request), initial={**row.windows, **row.flags, "allowed_over": row.allowed_over})
    if form.is_valid():
        verb = partial(sheet_windows.save_windows, product_id=product_id, **form.told(), **who_and_when(request))
        if attempt(form, verb) is not None:
            messages.success(request, f"The data sheet of {row.code} is on record.")
            return redirect("studio:product", product_id=product_id)
    usual = usual_windows(row.kind)
    pairs = [
        {"title": title, "usual": usual.get(name, ""), "fields": [form[field] for field in fields]}
        for name, (title, *fields) in PAIR_TITLES.items()
    ]
    rest = [form[name] for name in ("allowed_over", *sheet_windows.FLAGS)]
    return render(request, "studio/product_windows.html", {"row": row, "form": form, "pairs": pairs, "rest": rest})


@access("owner")
@require_GET
def packages(request: MemberRequest) -> HttpResponse:
    """The packages, also those no longer offered."""
    return render(request, "studio/packages.html", {"rows": kept.packages(request.member.studio, retired=True)})


def _package_page(request: MemberRequest, row: kept.PackageRow | None) -> HttpResponse:
    choices = [(product.id, f"{product.code} {product.name}") for product in products(request.member.studio)]
    told = sent(request)
    form = PackageForm(told, initial={"name": row.name, "note": row.note} if row is not None else None)
    items = ITEMS(told, prefix="item", initial=item_lines(row), form_kwargs={"products": choices})
    if told is not None and all([form.is_valid(), items.is_valid()]):
        verb = partial(
            kept.save_package,
            package_id=row.id if row is not None else None,
            items=[entry for line in items for entry in line.entries()],
            **form.cleaned_data,
            **who_and_when(request),
        )
        if attempt(form, verb) is not None:
            messages.success(request, f"{form.cleaned_data['name']} is on record.")
            return redirect("studio:packages")
    return render(request, "studio/package.html", {"row": row, "form": form, "items": items})


@access("owner")
@require_http_methods(["GET", "POST"])
def new_package(request: MemberRequest) -> HttpResponse:
    """Put a package on record."""
    return _package_page(request, None)


def _package_or_404(request: MemberRequest, package_id: int) -> kept.PackageRow:
    try:
        return kept.package(request.member.studio, package_id)
    except NotFoundHere as error:
        raise Http404 from error


@access("owner")
@require_http_methods(["GET", "POST"])
def package(request: MemberRequest, package_id: int) -> HttpResponse:
    """Change a package, or offer it no longer."""
    row = _package_or_404(request, package_id)
    if request.method == "POST" and request.POST.get("record") in ("retire", "back"):
        back = request.POST["record"] == "back"
        kept.retire_package(package_id=package_id, back=back, **who_and_when(request))
        messages.success(request, f"{row.name} is {'offered again' if back else 'no longer offered'}.")
        return redirect("studio:packages")
    return _package_page(request, row)


def _checked(
    request: MemberRequest, form: PackageWorkForm, forms: dict[int, ItemWorkForm], which: dict[str, Any]
) -> tuple[kept.ItemChecked, ...] | None:
    """The findings of every item, or None where the form is not whole."""
    if not all([form.is_valid(), *(one.is_valid() for one in forms.values())]):
        return None
    work = {item_id: one.work(form.in_the_bay()) for item_id, one in forms.items()}
    verb = partial(
        kept.check_package, studio=request.member.studio, applied=form.cleaned_data["applied"], work=work, **which
    )
    return attempt(form, verb)


def _apply(
    request: MemberRequest, form: PackageWorkForm, forms: dict[int, ItemWorkForm], which: dict[str, Any]
) -> kept.Applied:
    return kept.apply_package(
        **which,
        applied=form.cleaned_data["applied"],
        work={item_id: one.work(form.in_the_bay()) for item_id, one in forms.items()},
        applicator_id=form.cleaned_data["applicator"],
        leave_out=form.cleaned_data["leave_out"],
        override_reason=request.POST.get("override_reason", ""),
        **who_and_when(request),
    )


def _said(request: MemberRequest, choices: RecordChoices, name: str, applied: kept.Applied) -> HttpResponse:
    if applied.left_out:
        left = "; ".join(f"{product} on the {surface}" for product, surface in applied.left_out)
        messages.info(request, f"Left out: {left}.")
    return done(request, choices, f"{name}: {applied.recorded} layer{'s' if applied.recorded > 1 else ''} recorded")


@access("technician")
@require_http_methods(["GET", "POST"])
def apply(request: MemberRequest, vehicle_id: int, package_id: int) -> HttpResponse:
    """Put a package on a vehicle: every product on every surface that it goes on, in one action."""
    choices, today = choices_or_404(request, vehicle_id), studio_today(request)
    row = _package_or_404(request, package_id)
    if row.retired_on is not None:
        raise Http404
    which, told = {"vehicle_id": vehicle_id, "package_id": package_id}, sent(request)
    start = {"applied": today, "applicator": request.member.id}
    form = PackageWorkForm(told, choices=choices, today=today, initial=start)
    plain = kept.check_package(studio=request.member.studio, applied=today, work={}, **which)
    going = {one.item.id: [each.surface for each in one.surfaces] for one in plain}
    forms = {
        item.id: ItemWorkForm(told, prefix=f"item-{item.id}", initial={"coats": item.coats})
        for item in row.items
        if going[item.id]
    }
    checked = _checked(request, form, forms, which) if told is not None else None
    found = verdict(each for one in checked for each in one.surfaces) if checked is not None else None
    if found is not None and "check" not in request.POST:
        left_out = form.cleaned_data["leave_out"]
        if not held_back(request, form, found, left_out=left_out):
            applied = attempt(form, partial(_apply, request, form, forms, which))
            if applied is not None:
                return _said(request, choices, row.name, applied)
    verdicts = {one.item.id: verdict(one.surfaces) for one in checked or ()}
    context = {
        "row": row,
        "vehicle": choices,
        "form": form,
        "day_fields": [form["applied"], form["applicator"]],
        "lines": [
            {"item": item, "surfaces": going[item.id], "form": forms.get(item.id), "found": verdicts.get(item.id)}
            for item in row.items
        ],
        "found": found,
        "override_reason": request.POST.get("override_reason", ""),
        "cautions": cautions.for_layer(choices.powertrain),
        "product_sheets": documents.sheets(request.member.studio, today=today),
        "product_cautions": cautions.of_products(
            product for product in choices.products if product.id in {item.product_id for item in row.items}
        ),
    }
    return render(request, "studio/apply_package.html", context)
