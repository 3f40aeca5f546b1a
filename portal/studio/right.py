"""Are we right: forecasts against looks, reminders against none, learned lives against labels."""

from __future__ import annotations

from typing import Any

from django.http import HttpResponse
from django.shortcuts import render
from django.utils.http import urlencode
from django.views.decorators.http import require_GET

from lifecycle.outlook import right_reads
from lifecycle.outlook.checking import EARLY, LAST
from portal.access.people import MemberRequest
from portal.access.registry import access

from .common import bounded_int, other_pages, page_number
from .range_chart import LEFT, RIGHT, WIDTH

MOST = 2**62


def _lead(request: MemberRequest) -> str:
    return EARLY if request.GET.get("lead") == EARLY else LAST


def _bars(bins: tuple[right_reads.BinRow, ...]) -> list[dict[str, Any]]:
    """The bins as bars of their interval with the mean chance as a stroke, in units of the drawing."""
    scale = WIDTH - LEFT - RIGHT
    return [
        {
            "y": 26 + 24 * row.number, "x": round(LEFT + scale * row.seen.low, 1),
            "width": round(scale * (row.seen.high - row.seen.low), 1),
            "label": f"{row.low * 100:.0f}–{row.high * 100:.0f}",
            "seen": round(LEFT + scale * row.seen.value, 1) if row.seen.value is not None else None,
            "mean": round(LEFT + scale * row.mean, 1) if row.mean is not None else None,
        }
        for row in bins
    ]  # fmt: skip


@access("owner")
@require_GET
def right(request: MemberRequest) -> HttpResponse:
    """What was forecast, and what was seen."""
    view = right_reads.are_we_right(request.member.studio, lead=_lead(request))
    scale = WIDTH - LEFT - RIGHT
    context = {
        "view": view, "early": EARLY,
        "ticks": [(round(LEFT + scale * share / 4, 1), f"{25 * share} %") for share in range(5)],
        "calibrations": [(row, _bars(row.bins)) for row in view.calibrations],
    }  # fmt: skip
    return render(request, "studio/right.html", context)


@access("owner")
@require_GET
def right_rows(request: MemberRequest) -> HttpResponse:
    """The looks behind one figure."""
    asked = request.GET
    number = bounded_int(asked.get("bin", ""), low=0, high=len(right_reads.BINS) - 2, default=-1)
    wanted = right_reads.Wanted(
        lead=_lead(request), what=asked.get("what", "") if asked.get("what") in ("tired", "end") else "",
        group=asked.get("group", ""), key=bounded_int(asked.get("key", ""), low=0, high=MOST, default=0),
        number=number if number >= 0 else None, predicted={"yes": True, "no": False}.get(asked.get("predicted", "")),
        site=bounded_int(asked.get("site", ""), low=0, high=MOST, default=0) or None,
    )  # fmt: skip
    page = right_reads.check_lines(request.member.studio, wanted, number=page_number(request))
    context = {
        "page": page,
        "wanted": wanted,
        "more": other_pages(request),
        "back": f"?{urlencode({'lead': wanted.lead})}",
    }
    return render(request, "studio/right_rows.html", context)


@access("owner")
@require_GET
def right_reminders(request: MemberRequest) -> HttpResponse:
    """The windows behind the comparison with and without a reminder."""
    page = right_reads.trial_lines(
        request.member.studio, task=request.GET.get("task", "")[:40],
        reminded={"yes": True, "no": False}.get(request.GET.get("reminded", "")), number=page_number(request),
    )  # fmt: skip
    return render(request, "studio/right_reminders.html", {"page": page, "more": other_pages(request)})
