"""What a customer is told before paint is taken off, and what they said to it: kept in the words that were shown."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Sequence
from datetime import datetime
from typing import Final

from django.db import transaction
from django.utils.formats import date_format, number_format
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext, override

from lifecycle import journal
from lifecycle.care.addresses import without_keepers
from lifecycle.care.find import one
from lifecycle.care.register import known
from lifecycle.care.reports.signature import FEWEST_POINTS, Strokes, read_strokes
from lifecycle.care.tongue.names import surface_name
from lifecycle.care.wording import capital
from lifecycle.errors import DomainError
from lifecycle.models import (
    ConsentBy,
    ConsentWay,
    CorrectionConsent,
    CorrectionPanel,
    CorrectionPlan,
    CorrectionSignature,
    Customer,
    Keeper,
    Studio,
)
from lifecycle.wear.correction_choice import NEEDS_CONSENT

STAGES_SAID: Final = {
    "finishing": gettext_lazy("finishing polish"),
    "one_step": gettext_lazy("correction in one step"),
    "cut_and_refine": gettext_lazy("correction in two steps, cut and refine"),
}


def _number(value: float) -> str:
    return number_format(round(value, 1), decimal_pos=1)


def _line(panel: CorrectionPanel) -> str:
    said = _("%(panel)s: %(stage)s") % {
        "panel": capital(surface_name(panel.surface.code)), "stage": STAGES_SAID[panel.stage],
    }  # fmt: skip
    if panel.passes > 1:
        said += ngettext(", %(n)s pass", ", %(n)s passes", panel.passes) % {"n": panel.passes}
    said += ". " + _("It takes %(low)s to %(high)s µm of clear coat for good.") % {
        "low": _number(panel.takes_low_um or 0.0), "high": _number(panel.takes_high_um or 0.0),
    }  # fmt: skip
    said += " " + _("About %(low)s to %(high)s %% of the fine scratches go; deep ones stay.") % {
        "low": round(100 * (panel.share_low or 0.0)), "high": round(100 * (panel.share_high or 0.0)),
    }  # fmt: skip
    if panel.left_after_high is not None:
        said += " " + _("After it this paint bears %(low)s to %(high)s more corrections in one step.") % {
            "low": panel.left_after_low, "high": panel.left_after_high,
        }  # fmt: skip
    return said


def wording_of(plan: CorrectionPlan, panels: Sequence[CorrectionPanel], *, language: str = "en") -> str:
    """What the customer is asked, one line a panel, in their language. It is kept for good, so neither a plate nor a
    keeper's name stands in it.

    Args:
        panels: the plan's, with their surfaces.
    """
    with override(language):
        lines = [
            _("Paint correction on %(vehicle)s, planned on %(day)s:") % {
                "vehicle": without_keepers(plan.vehicle.description, plan.vehicle_id),
                "day": date_format(plan.on, _("j F Y")),
            },
            *(_line(panel) for panel in panels if panel.goes),
            _("Coats above the clear coat on these panels end with it and must be put on again."),
            _("Clear coat that is taken off does not come back. The figures are estimates with their ranges."),
        ]  # fmt: skip
        if refused := [surface_name(panel.surface.code) for panel in panels if panel.stage and not panel.goes]:
            lines.insert(-2, _("Not polished, for the paint does not bear it: %(names)s.") % {
                "names": ", ".join(refused)})  # fmt: skip
    return "\n".join(lines)


def keeper_of(plan: CorrectionPlan) -> Customer | None:
    """Who keeps the vehicle of a plan now."""
    keeper = Keeper.objects.filter(vehicle_id=plan.vehicle_id, end=None).select_related("customer").first()
    return keeper.customer if keeper is not None else None


def _checked_strokes(how: str, strokes: str) -> Strokes:
    if how != ConsentWay.SIGNED:
        return []
    lines = read_strokes(strokes)
    if sum(len(line) for line in lines) < FEWEST_POINTS:
        raise DomainError(
            "strokes: sign in the box with finger, pen or mouse; or choose another way of saying it.", field="strokes"
        )
    return lines


def record_consent(
    *,
    studio: Studio,
    plan_id: int,
    given: bool,
    how: str,
    by: str = "keeper",
    wording: str = "",
    note: str = "",
    strokes: str = "",
    actor: str,
    at: datetime,
) -> CorrectionConsent:
    """Keep what the customer said to a plan. A later statement follows an earlier one; none is ever changed.

    Args:
        wording: what was shown, if it was shown in another language than the customer's; "" for `wording_of`.
        note: what was said, or which mail it was; needed unless it was signed. Keepers' names are left out of it.
        strokes: lines drawn on the screen as `reports.signature.read_strokes` takes them, needed where it was signed.

    Raises:
        DomainError: names the field.
    """
    known("how", how, tuple(ConsentWay.values))
    known("by", by, tuple(ConsentBy.values))
    plan = one(CorrectionPlan, studio, plan_id)
    lines = _checked_strokes(how, strokes)
    if how != ConsentWay.SIGNED and len(note.strip()) < 3:
        raise DomainError("note: write down what was said, or which mail it was in.", field="note")
    customer = keeper_of(plan)
    if customer is None:
        raise DomainError("by: no keeper is on record for this vehicle; record one first.", field="by")
    panels = list(plan.panels.select_related("surface"))
    with transaction.atomic():
        consent: CorrectionConsent = CorrectionConsent.objects.create(
            studio=studio, plan=plan, customer=customer, by=by, given=given, at=at, how=how,
            note=without_keepers(note.strip(), plan.vehicle_id)[:300],
            # Never changed afterwards, and the vehicle's description is free text: no keeper is named in it.
            wording=without_keepers(
                wording or wording_of(plan, panels, language=customer.language), plan.vehicle_id
            ),
            signature_sha256=hashlib.sha256(json.dumps(lines).encode()).hexdigest() if lines else "",
        )  # fmt: skip
        if lines:
            CorrectionSignature.objects.create(studio=studio, consent=consent, strokes=lines)
        journal.record(
            studio=studio, actor=actor, at=at, verb="correction agreed to" if given else "correction not agreed to",
            subject="correction plan", subject_id=plan.pk, vehicle_id=plan.vehicle_id, how=how, by=by,
            customer_id=customer.pk,
        )  # fmt: skip
    return consent


def erase_signatures(*, studio: Studio, customer_id: int) -> int:
    """Erase the strokes of a person's signatures. What was agreed to stays, with the strokes' checksum.

    Returns:
        How many were erased.
    """
    erased, _each = CorrectionSignature.objects.filter(studio=studio, consent__customer_id=customer_id).delete()
    return erased


def needs_consent(panels: Sequence[CorrectionPanel]) -> bool:
    """Whether anything of a plan goes deeper than a finishing polish."""
    return any(panel.goes and panel.stage in NEEDS_CONSENT for panel in panels)
