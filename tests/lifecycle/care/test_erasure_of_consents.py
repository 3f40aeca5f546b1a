"""Erasure of a person who agreed to corrections: the statements stay, and say nothing of who it was."""

from __future__ import annotations

import json

import pytest

from lifecycle.care import correction_consent, corrections
from lifecycle.care.addresses import LEFT_OUT
from lifecycle.care.erasure import what_would_go
from lifecycle.models import CorrectionConsent, CorrectionSignature
from tests.factories import CustomerFactory
from tests.lifecycle.care.paint_world import THICK, car, panel
from tests.lifecycle.care.test_erasure import BY, EMAIL, NAME, PHONE, _erase, _naming, _texts

pytestmark = pytest.mark.django_db


def test_what_was_agreed_to_before_a_correction_stays_without_signature_name_or_plate():
    """The rows of plans and consents are never changed: an erasure passes them by and finds nothing of the person."""
    customer = CustomerFactory(name=NAME, email=EMAIL, phone=PHONE)
    vehicle = car(
        site__studio=customer.studio, keeper=customer, plate="SOV 123", description=f"black SUV of {NAME}"
    )  # fmt: skip
    roof = panel(vehicle, "roof", THICK)
    plan = corrections.keep_plan(
        studio=customer.studio, vehicle_id=vehicle.pk, chosen={roof.pk: ("one_step", 1)}, note=f"{NAME} asks", **BY
    )
    said = {"studio": customer.studio, "plan_id": plan.pk, "given": True, **BY}
    strokes = json.dumps([[[n * 9, 100 + n % 3 * 30] for n in range(40)]])
    correction_consent.record_consent(how="signed", strokes=strokes, **said)
    correction_consent.record_consent(how="mail", note=f"mail of {EMAIL}", wording=f"{NAME} is asked", **said)
    assert what_would_go(studio=customer.studio, customer_id=customer.pk).signatures == 1
    _erase(customer)
    assert not CorrectionSignature.objects.exists()
    assert _naming(NAME, EMAIL, PHONE) == []
    assert [where for where, text in _texts() if "sov 123" in text.lower()] == []
    signed, mailed = CorrectionConsent.objects.order_by("pk")
    assert "black SUV" in signed.wording
    assert len(signed.signature_sha256) == 64
    assert mailed.note == f"mail of {LEFT_OUT}"
    plan.refresh_from_db()
    assert plan.note == f"{LEFT_OUT} asks"
