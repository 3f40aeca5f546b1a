"""The owner's house: team, products, prices, and where the rest of it is found."""

from __future__ import annotations

from functools import partial
from typing import Any

from django.contrib import messages
from django.db import transaction
from django.http import Http404, HttpResponse
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import documents, founding, goods, house_reads
from lifecycle.condition import learning
from lifecycle.connect.hooks import switched_off
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.invitation import days_it_holds, invite
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import attempt, plain, studio_today
from .house_forms import MemberForm, PriceForm, ProductForm, RoleForm
from .register import sent, who_and_when


@access("owner")
@require_GET
def house(request: MemberRequest) -> HttpResponse:
    """What belongs to the studio itself, as a plain list."""
    return render(request, "studio/house.html", {"hooks_off": switched_off(request.member.studio)})


def _send_link(request: MemberRequest, row: house_reads.MemberRow) -> None:
    """Mail the link and say how it went; the member is on record either way."""
    wrong = invite(house_reads.user_of(row), studio=request.member.studio.name)
    if wrong:
        messages.error(
            request,
            f"The mail to {row.email} did not go out: {wrong}. Mend the mail settings, then send the link again.",
        )
    else:
        messages.success(
            request, f"A link to set the password went to {row.email}; it holds for {days_it_holds()} days."
        )


@access("owner")
@require_http_methods(["GET", "POST"])
def team(request: MemberRequest) -> HttpResponse:
    """Who works here; adds a member."""
    form = MemberForm(sent(request), initial={"role": "technician"})
    if form.is_valid():
        added = attempt(form, partial(founding.add_member, **form.cleaned_data, **who_and_when(request)))
        if added is not None:
            row = house_reads.member_at_work(request.member.studio, added.pk)
            messages.success(request, f"{row.name} is on record as {row.role}.")
            _send_link(request, row)
            return redirect("studio:team")
    return render(request, "studio/team.html", {"rows": house_reads.team(request.member.studio), "form": form})


def _change_member(request: MemberRequest, row: house_reads.MemberRow, form: RoleForm) -> str | None:
    """Do what the button says; returns the words for it, None where it was refused."""
    which = request.POST.get("record")
    try:
        if which == "link":
            _send_link(request, row)
            return ""
        if which == "end":
            founding.end_member(member_id=row.id, **who_and_when(request))
            return f"{row.name} no longer works here; the studio’s pages are closed to them."
    except DomainError as error:
        form.add_error(None, plain(error))
        return None
    verb = partial(founding.change_role, member_id=row.id, **who_and_when(request))
    if form.is_valid() and attempt(form, partial(verb, role=form.cleaned_data["role"])) is not None:
        return f"{row.name} is {form.cleaned_data['role']} now."
    return None


@access("owner")
@require_http_methods(["GET", "POST"])
def member(request: MemberRequest, member_id: int) -> HttpResponse:
    """One member: another role, the link once more, or the end."""
    try:
        row = house_reads.member_at_work(request.member.studio, member_id)
    except NotFoundHere as error:
        raise Http404 from error
    start = {"role": row.role}
    asked = request.method == "POST"
    # The buttons for the link and the end send no role; the form still shows the present one.
    form = RoleForm({**start, **request.POST.dict()} if asked else None, initial=start)
    if asked:
        said = _change_member(request, row, form)
        if said is not None:
            if said:
                messages.success(request, said)
            return redirect("home" if row.id == request.member.id else "studio:team")
    return render(request, "studio/member.html", {"row": row, "form": form, "days": days_it_holds()})


@access("owner")
@require_GET
def products(request: MemberRequest) -> HttpResponse:
    """The products that layers are recorded with."""
    return render(request, "studio/products.html", {"rows": goods.products(request.member.studio)})


def _save_product(request: MemberRequest, form: ProductForm, product_id: int | None, said: str) -> HttpResponse | None:
    verb = partial(goods.save_product, product_id=product_id, **form.cleaned_data, **who_and_when(request))
    product = attempt(form, verb)
    if product is None:
        return None
    messages.success(request, f"{product.code} {said}")
    return redirect("studio:products")


@access("owner")
@require_http_methods(["GET", "POST"])
def new_product(request: MemberRequest) -> HttpResponse:
    """Put a product on record."""
    form = ProductForm(sent(request))
    done = _save_product(request, form, None, "is on record.") if form.is_valid() else None
    return done or render(request, "studio/product.html", {"form": form, "row": None})


@access("owner")
@require_http_methods(["GET", "POST"])
def product(request: MemberRequest, product_id: int) -> HttpResponse:
    """Change a product."""
    row = next((row for row in goods.products(request.member.studio) if row.id == product_id), None)
    if row is None:
        raise Http404
    form = ProductForm(sent(request), initial=_fields_of(row), fixed_kind=row.fixed_kind)
    done = None
    if form.is_valid():
        done = _save_product(request, form, product_id, "is changed. The vehicles that wear it are assessed anew.")
    if done is not None:
        return done
    studio = request.member.studio
    (held,) = documents.sheets(studio, today=studio_today(request), product_ids=[product_id])
    learned = learning.learned_of(studio, product_id)
    context = {"form": form, "row": row, "sheets": held, "learned": learned, "figure_key": f"layer.{row.kind}.months"}
    return render(request, "studio/product.html", context)


def _fields_of(row: goods.ProductRow) -> dict[str, Any]:
    return {name: getattr(row, name) for name in ProductForm.base_fields}


def _save_prices(request: MemberRequest, form: PriceForm) -> int:
    changes = list(form.changes())
    with transaction.atomic():  # the whole list or nothing of it
        for entry in changes:
            goods.save_price(task=entry.task, size=entry.size, low=entry.low, high=entry.high, **who_and_when(request))
    return len(changes)


@access("owner")
@require_http_methods(["GET", "POST"])
def prices(request: MemberRequest) -> HttpResponse:
    """What each care task costs about, by size, in one form."""
    form = PriceForm(sent(request), table=goods.price_table(request.member.studio))
    if form.is_valid():
        count = attempt(form, partial(_save_prices, request, form))
        if count is not None:
            said = f"{count} price{'s' if count > 1 else ''} changed." if count else "Nothing was changed."
            messages.success(request, said)
            return redirect("studio:prices")
    context = {"form": form, "lines": list(form.lines()), "currency": request.member.studio.currency}
    return render(request, "studio/prices.html", context)
