"""Recall by batch: where the layers of one batch are, as a page and as a file."""

from __future__ import annotations

import csv
from typing import Final

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.text import slugify
from django.views.decorators.http import require_GET

from lifecycle.care import recall as reads
from portal.access.people import MemberRequest
from portal.access.registry import ROLES_OF, access

COLUMNS: Final = ("state", "plate", "vehicle", "surface", "product", "kind", "batch", "put_on", "by", "ended",
                  "ended_why", "keeper", "email", "phone")  # fmt: skip
FORMULA: Final = ("=", "+", "-", "@", "\t", "\r", "\n")


def _plain(text: object) -> str:
    """A cell that no spreadsheet takes for a formula: an apostrophe stands before what could be one."""
    said = "" if text is None else str(text)
    return f"'{said}" if said.lstrip(" ").startswith(FORMULA) or said.startswith(FORMULA) else said


def _file(found: reads.Recall) -> HttpResponse:
    answer = HttpResponse(content_type="text/csv; charset=utf-8")
    name = slugify(found.batch) or "batch"
    answer["Content-Disposition"] = f'attachment; filename="recall-{name}.csv"'
    answer.write("\ufeff")  # so that a spreadsheet reads it as UTF-8
    rows = csv.writer(answer)
    rows.writerow(COLUMNS)
    for state, group in (("live", found.live), ("ended", found.ended)):
        for row in group:
            cells = (state, row.plate, row.vehicle, row.surface, row.product, row.kind, row.batch, row.applied,
                     row.applicator, row.ended, row.ended_why, row.keeper, row.email, row.phone)  # fmt: skip
            rows.writerow([_plain(cell) for cell in cells])
    return answer


@access("member")
@require_GET
def recall(request: MemberRequest) -> HttpResponse:
    """Find every layer of a batch; how keepers are reached is for those who see customers."""
    contacts = request.member.role in ROLES_OF["desk"]
    found = reads.recall(request.member.studio, request.GET.get("batch", ""), contacts=contacts)
    if found.batch and request.GET.get("format") == "csv":
        return _file(found)
    return render(request, "studio/recall.html", {"found": found})
