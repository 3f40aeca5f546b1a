"""The pages on which a correction is planned, agreed to and carried out."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from lifecycle.care.corrections import keep_plan
from lifecycle.models import Correction, CorrectionConsent, CorrectionPlan, Finding, Inspection, Layer
from tests import people
from tests.factories import LayerFactory, VehicleFactory
from tests.lifecycle.care.paint_world import THIN, film, panel
from tests.portal.doors import as_member
from tests.portal.studio_world import text, today

pytestmark = pytest.mark.django_db
STROKES = json.dumps([[[x, 2 * x] for x in range(10, 60, 5)]])


@pytest.fixture
def painted(site):
    """Bonnet thin, roof thick, boot not measured; findings of the newest inspection on bonnet and roof."""
    vehicle = VehicleFactory(site=site, description="black large SUV", plate="TST 777")
    bonnet, roof = panel(vehicle, "bonnet", THIN), panel(vehicle, "roof")
    film(roof, on=today() - timedelta(days=20))
    LayerFactory(surface=roof)
    panel(vehicle, "boot")
    seen = Inspection.objects.create(
        studio=site.studio, vehicle=vehicle, kind="pre_detail", on=today() - timedelta(days=2), clean_state="washed"
    )
    for surface, kind in ((bonnet, "swirls"), (roof, "swirls"), (roof, "scratch")):
        Finding.objects.create(studio=site.studio, inspection=seen, surface=surface, kind=kind, severity=3)
    return vehicle, bonnet, roof


def url(name, vehicle, *more):
    return reverse(f"studio:{name}", args=[vehicle.pk, *more])


def chosen(*rows, **fields):
    """A sent planning form: (surface, stage, passes)."""
    data = {"note": ""}
    for surface in rows[0].surfaces.all():
        data |= {f"stage-{surface.pk}": "", f"passes-{surface.pk}": "1"}
    for surface, stage, passes in rows[1:]:
        data |= {f"stage-{surface.pk}": stage, f"passes-{surface.pk}": str(passes)}
    return data | fields


def test_the_planning_page_shows_paint_findings_curve_and_every_refusal(painted, owner):
    vehicle, _bonnet, roof = painted
    answer = owner.get(url("correction_plan", vehicle))
    page, html = text(answer), answer.content.decode()
    assert "The last 5 % costs most" in page
    assert "Nobody has measured the paint here" in page  # the boot
    assert "Swirl marks, severity 3 of 5" in page
    assert "Isolated deep scratch, severity 3 of 5 Polishing does not take this away." in page
    assert "cut and refine takes" in html  # the picture in words
    assert "cut and refine takes" in html.split('id="r')[2]
    assert html.count('class="drawing removal"') == 2, "the boot has no curve"
    assert "correction in one step (not offered)" in page  # on the thin bonnet
    assert f'href="{url("panel", vehicle, roof.pk)}"' in html
    assert "Read the product" in page  # cautions, sheet first


def test_what_is_chosen_is_reckoned_before_it_is_kept_and_nothing_typed_is_lost(painted, owner):
    vehicle, bonnet, roof = painted
    data = chosen(vehicle, (bonnet, "one_step", 1), (roof, "one_step", 2), note="the owner's wish")
    page = text(owner.post(url("correction_plan", vehicle), data | {"reckon": "1"}))
    assert "Refused. Not offered: The thinnest spot" in page
    assert "Goes. It takes 2 to 4 µm in 2 passes" in page  # published: 1 to 2 µm a light polish
    assert not CorrectionPlan.objects.exists()
    answer = owner.post(url("correction_plan", vehicle), chosen(vehicle, (bonnet, "one_step", 1), keep="1"))
    assert "Bonnet: Not offered" in text(answer)
    assert not CorrectionPlan.objects.exists()
    answer = owner.post(url("correction_plan", vehicle), data | {"keep": "1"}, follow=True)
    page = text(answer)
    assert "The plan is kept." in page
    assert "refused: correction in one step" in page
    assert "the owner&#x27;s wish" in page
    assert "Anything deeper than a finishing polish waits for it." in page
    too_many = owner.post(url("correction_plan", vehicle), chosen(vehicle, (roof, "one_step", 44), keep="1"))
    assert "less than or equal to 10" in text(too_many)
    assert 'value="44"' in too_many.content.decode()


def test_from_consent_to_the_ledger(painted, owner):
    vehicle, _bonnet, roof = painted
    owner.post(url("correction_plan", vehicle), chosen(vehicle, (roof, "one_step", 1), keep="1"))
    plan = CorrectionPlan.objects.get()
    done, ask = url("plan_done", vehicle, plan.pk), url("plan_consent", vehicle, plan.pk)
    row = plan.panels.get(surface=roof)
    newest = Inspection.objects.filter(readings__surface=roof).first()
    data = {"on": today().isoformat(), "before": newest.pk, "after": "", f"done-{row.pk}": "on",
            f"stage-{row.pk}": "one_step", f"passes-{row.pk}": "1"}  # fmt: skip
    assert "nobody has agreed to this plan" in text(owner.post(done, data))
    assert "Roof: correction in one step" in text(owner.get(ask))
    assert "sign in the box" in text(owner.post(ask, {"given": "yes", "by": "keeper", "how": "signed"})).lower()
    assert "write down what was said" in text(owner.post(ask, {"given": "yes", "by": "keeper", "how": "mail"})).lower()
    answer = owner.post(
        ask, {"given": "yes", "by": "sent", "how": "signed", "strokes": STROKES}, follow=True
    )  # fmt: skip
    assert "On record: the customer agrees." in text(answer)
    assert '<path d="M10 20L15 30' in answer.content.decode()
    assert CorrectionConsent.objects.get().by == "sent"
    assert "Tick the panels that were worked on." in text(
        owner.post(done, {name: value for name, value in data.items() if name != f"done-{row.pk}"})
    )
    answer = owner.post(done, data, follow=True)
    assert "Correction recorded on 1 surface." in text(answer)
    assert Correction.objects.get().planned == row
    assert Layer.objects.get(surface=roof).ended == today()
    assert "Everything that goes is on record." in text(owner.get(done))
    ledger = text(owner.get(url("panel", vehicle, roof.pk)))
    assert "Correction in one step" in ledger
    assert "1 to 2 µm, estimate" in ledger


def test_old_film_readings_say_their_age_and_refuse_nothing(site, owner):
    """Common practice, no source: film is read again within 24 months."""
    vehicle = VehicleFactory(site=site)
    old, young = panel(vehicle, "bonnet"), panel(vehicle, "roof")
    film(old, on=today() - timedelta(days=800))
    film(young, on=today() - timedelta(days=20))
    said = text(owner.get(url("correction_plan", vehicle)))
    assert said.count("Read more than 24 months ago: read the film again") == 1
    bonnet, roof = said.split("Whole film")[1:3]
    assert "Read more than 24 months ago" in bonnet
    assert "read on" in roof
    assert (
        owner.post(url("correction_plan", vehicle), chosen(vehicle, (old, "one_step", 1), keep="1")).status_code == 302
    )


def test_the_desk_sees_a_plan_and_asks_but_plans_nothing(painted, studio):
    vehicle, _bonnet, roof = painted
    plan = keep_plan(
        studio=studio, vehicle_id=vehicle.pk, chosen={roof.pk: ("one_step", 1)}, actor="member:1", at=timezone.now()
    )
    desk = as_member(people.desk(studio))
    assert desk.get(url("kept_plan", vehicle, plan.pk)).status_code == 200
    assert "Record what was done" not in text(desk.get(url("kept_plan", vehicle, plan.pk)))
    assert desk.get(url("plan_consent", vehicle, plan.pk)).status_code == 200
    other = VehicleFactory(site=vehicle.site)
    assert desk.get(url("kept_plan", other, plan.pk)).status_code == 404, "a plan stands under its own vehicle"


def test_one_page_takes_as_many_queries_for_thirty_panels_as_for_one(site, owner):
    counts = {}
    for many in (1, 30):
        vehicle = VehicleFactory(site=site, plate=f"TST Q{many}")
        rows = [panel(vehicle, f"panel_{n}", THIN) for n in range(many)]
        seen = Inspection.objects.create(studio=site.studio, vehicle=vehicle, on=today(), clean_state="washed")
        for row in rows:
            Finding.objects.create(studio=site.studio, inspection=seen, surface=row, kind="swirls")
        for _ in range(1 if many == 1 else 3):
            plan = keep_plan(
                studio=site.studio, vehicle_id=vehicle.pk, chosen={row.pk: ("finishing", 1) for row in rows},
                actor="member:1", at=timezone.now(),
            )  # fmt: skip
        for name, more in (("correction_plan", ()), ("kept_plan", (plan.pk,)), ("plan_done", (plan.pk,))):
            owner.get(url(name, vehicle, *more))
            with CaptureQueriesContext(connection) as queries:
                assert owner.get(url(name, vehicle, *more)).status_code == 200
            counts.setdefault(name, []).append(len(queries))
    assert all(one == thirty for one, thirty in counts.values()), counts
