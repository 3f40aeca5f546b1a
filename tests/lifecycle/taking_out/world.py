"""A studio with a row in every table, withdrawn and awkward ones among them, and what is done with its zip."""

from __future__ import annotations

import hashlib
import io
import json
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, date, datetime, time
from decimal import Decimal
from pathlib import Path
from typing import Any
from uuid import uuid4

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from django.db import transaction

from lifecycle import models as m
from lifecycle.care.care_record.sharing import share
from lifecycle.care.corrections import keep_plan
from lifecycle.care.documents import add_document
from lifecycle.care.feeds import make
from lifecycle.care.handover import offer
from lifecycle.care.importing import receive_file
from lifecycle.care.packages import ItemEntry, save_package
from lifecycle.care.photos import add_photo
from lifecycle.condition import assess_one
from lifecycle.models.offer import OfferTold
from lifecycle.outlook.prepared import prepare_studio
from lifecycle.taking_out.packing import take_studio
from lifecycle.taking_out.restoring import Restored, restore_studio
from tests import people
from tests.factories import (
    NOW,
    TODAY,
    CareDueFactory,
    ConsentFactory,
    GaugeFactory,
    HabitsFactory,
    LayerFactory,
    MessageFactory,
    ProductFactory,
    ReminderFactory,
    SiteFactory,
    StudioFactory,
    SurfaceFactory,
    VehicleFactory,
)
from tests.lifecycle.care.paint_world import film
from tests.lifecycle.care.report_world import seal
from tests.pictures import pdf, picture

AWKWARD = '=1+1;"Ærø"\r\n\t’ 東京 \u2028 🚗 _x0041_ \x01'
WHO = {"actor": "member:1", "at": NOW}


def studio_with_everything(slug: str = "north-harbour") -> m.Studio:
    """The studio; every table of the registry holds at least one row of it."""
    studio = StudioFactory(slug=slug, name="North Harbour", paused_at=datetime(2026, 3, 1, 8, 15, 30, 123456, UTC))
    keeper = people.customer(studio, name=AWKWARD, quiet_from=time(22), quiet_to=time(7, 30))
    vehicle = VehicleFactory(site=SiteFactory(studio=studio), keeper=keeper)
    _house(studio, vehicle)
    _customer(studio, keeper, vehicle)
    surface = _vehicle(studio, vehicle)
    _paint(studio, vehicle, surface, keeper)
    _looks(studio, vehicle, surface)
    assess_one(studio=studio, vehicle_id=vehicle.pk, at=NOW)
    _care(studio, vehicle, keeper)
    _mail(studio, keeper)
    prepare_studio(studio=studio, actor="cycle", at=NOW)
    _reckoned(studio, vehicle)
    _lists(studio, keeper)
    return studio


def _house(studio: m.Studio, vehicle: m.Vehicle) -> None:
    site, technician = vehicle.site, people.technician(studio)
    people.owner(studio)
    m.Bay.objects.create(studio=studio, site=site, name="Bay 1", warm_still=True)
    m.OpeningHours.objects.create(studio=studio, site=site, weekday=0, opens=time(8), closes=time(17, 30))
    m.Closure.objects.create(
        studio=studio, site=site, first=TODAY, last=TODAY, reason="stocktaking", made_at=NOW, lifted_at=NOW
    )
    m.Hands.objects.create(
        studio=studio, member=technician, site=site, weekdays=[0, 4], hours_a_day=7.5, skills=["film"]
    )
    m.FigureOverride.objects.create(
        studio=studio,
        key="clog.rate",
        value=0.1,
        low=0.1 - 1e-17,
        high=1 / 3,
        mark="judgement",
        source="own look",
        since=NOW,
    )


def _customer(studio: m.Studio, keeper: m.Customer, vehicle: m.Vehicle) -> None:
    ConsentFactory(customer=keeper)
    m.Suppression.objects.create(studio=studio, digest="ab" * 32, why="asked", at=NOW)
    m.Complaint.objects.create(studio=studio, customer=keeper, about="=a water mark", opened_at=NOW)
    make(customer_id=keeper.pk, **WHO)
    share(customer_ids=(keeper.pk,), vehicle_id=vehicle.pk, days=14, **WHO)
    offer(customer_ids=(keeper.pk,), vehicle_id=vehicle.pk, email="new@example.org", on=TODAY, **WHO)


def _vehicle(studio: m.Studio, vehicle: m.Vehicle) -> m.Surface:
    surface = SurfaceFactory(vehicle=vehicle, code="bonnet")
    HabitsFactory(vehicle=vehicle)
    wheels = SurfaceFactory(vehicle=vehicle, code="wheels", substrate="aluminium")
    m.Mounted.objects.create(studio=studio, surface=wheels, start=TODAY, withdrawn_at=NOW, withdrawn_why="typed twice")
    m.Storage.objects.create(studio=studio, vehicle=vehicle, start=date(2025, 11, 1), end=date(2026, 2, 1))
    m.CareEvent.objects.create(
        studio=studio, vehicle=vehicle, surface=surface, kind="wash", on=TODAY, before={"z": [1.5, None], "a": True},
        note="-5 °C", key=uuid4(),
    )  # fmt: skip
    rule = m.ContractRule.objects.create(
        studio=studio, vehicle=vehicle, title="Film", starts_on=TODAY, every_months=12, written_in="the contract"
    )
    m.ContractTerm.objects.create(studio=studio, vehicle=vehicle, title="Film", due=date(2027, 3, 2), rule=rule)
    product = ProductFactory(studio=studio)
    LayerFactory(surface=surface, product=product, kind=product.kind)
    package = save_package(studio=studio, name="Full", items=[ItemEntry(product.pk)], **WHO)
    assert package.pk
    add_document(studio=studio, product_id=product.pk, kind="sds", revised_on=TODAY, language="en", upload=pdf(), **WHO)
    return surface


def _paint(studio: m.Studio, vehicle: m.Vehicle, surface: m.Surface, keeper: m.Customer) -> None:
    painted = SurfaceFactory(vehicle=vehicle, code="roof")
    film(painted)
    plan = keep_plan(studio=studio, vehicle_id=vehicle.pk, chosen={painted.pk: ("finishing", 1)}, **WHO)
    consent = m.CorrectionConsent.objects.create(
        studio=studio, plan=plan, customer=keeper, by="keeper", given=True, at=NOW, how="signed",
        wording="Roof, finishing.", signature_sha256="cd" * 32,
    )  # fmt: skip
    m.CorrectionSignature.objects.create(studio=studio, consent=consent, strokes=[[[1, 2], [3.5, 4]]])
    m.Correction.objects.create(
        studio=studio, surface=painted, on=TODAY, stage="finishing", planned=plan.panels.first(),
        withdrawn_at=NOW, withdrawn_why="another vehicle",
    )  # fmt: skip


def _looks(studio: m.Studio, vehicle: m.Vehicle, surface: m.Surface) -> None:
    gauge = GaugeFactory(studio=studio)
    seen = m.Inspection.objects.create(
        studio=studio, vehicle=vehicle, on=TODAY, clean_state="washed", kind="walk_around",
        rough_low=Decimal("80.00"), rough_high=Decimal("120.50"), key=uuid4(),
    )  # fmt: skip
    m.Reading.objects.create(
        studio=studio, inspection=seen, surface=surface, kind="thickness_um", value=112.4, gauge=gauge, x=0.25, y=1
    )
    m.ReadingDoubt.objects.create(studio=studio, inspection=seen, surface=surface, kind="thin", says="rather thin")
    finding = m.Finding.objects.create(studio=studio, inspection=seen, kind="chip", surface=surface)
    add_photo(
        studio=studio, vehicle_id=vehicle.pk, inspection_id=seen.pk, finding_id=finding.pk, upload=picture(), **WHO
    )
    seal(seen)


def _care(studio: m.Studio, vehicle: m.Vehicle, keeper: m.Customer) -> None:
    due = CareDueFactory(vehicle=vehicle)
    m.Refusal.objects.create(studio=studio, vehicle=vehicle, task="one_step", why="over the budget", at=NOW)
    m.Price.objects.create(studio=studio, task=due.task, size="L", low=Decimal("90.10"), high=Decimal("200"))
    advice = m.Offer.objects.create(
        studio=studio, vehicle=vehicle, due=due, task=due.task, price_low=80, price_high=120, made_at=NOW
    )
    step = m.OfferStep.objects.create(studio=studio, offer=advice, kind="recommended", at=NOW)
    OfferTold.objects.create(studio=studio, step=step, customer=keeper)
    proposal = vehicle.proposals.create(
        studio=studio, site=vehicle.site, key="a", earliest=due.earliest, ideal=due.ideal, latest=due.latest,
        labour_h=1, tasks=[due.task], made_at=NOW,
    )  # fmt: skip
    proposal.dues.add(due)
    m.Visit.objects.create(
        studio=studio, site=vehicle.site, vehicle=vehicle, proposal=proposal, on=TODAY, starts=time(9, 30),
        tasks=[due.task], booked_at=NOW, paid=Decimal("99.90"),
    )  # fmt: skip
    ReminderFactory(due=due)


def _mail(studio: m.Studio, keeper: m.Customer) -> None:
    member = m.Member.objects.of(studio).filter(role="owner").first()
    message = MessageFactory(customer=keeper)
    m.Receipt.objects.create(
        studio=studio, provider="test", event_id=f"e{message.pk}", message=message, kind="delivered", occurred_at=NOW,
        received_at=NOW,
    )  # fmt: skip
    m.MailWording.objects.create(
        studio=studio, kind="service", language="de", part="hello", text="Guten Tag", by=member, at=NOW
    )
    m.WordsApproval.objects.create(studio=studio, words="ef" * 32, by=member, at=NOW)
    m.MailTrial.objects.create(studio=studio, member=member, kind="service", language="de", at=NOW, outcome="accepted")
    m.OwnerLetter.objects.create(
        studio=studio, member=member, month=date(2026, 2, 1), facts={"a": 1}, written_at=NOW, state_at=NOW
    )


def _reckoned(studio: m.Studio, vehicle: m.Vehicle) -> None:
    """Rows that the nightly steps write when there is enough to reckon with."""
    due = m.CareDue.objects.of(studio).get(task="decontamination_wash")
    m.ReminderTrial.objects.create(
        studio=studio,
        vehicle=vehicle,
        site=vehicle.site,
        due=due,
        task=due.task,
        reminded=True,
        start=TODAY,
        came=False,
    )
    layer, seen = m.Layer.objects.of(studio).first(), m.Inspection.objects.of(studio).first()
    m.ForecastCheck.objects.create(
        studio=studio, vehicle=vehicle, site=vehicle.site, inspection=seen, layer=layer, what="tired", lead="last",
        forecast_on=date(2025, 1, 1), seen_on=TODAY, chance=0.3, seen=True,
    )  # fmt: skip
    m.LearnedLife.objects.create(
        studio=studio, product=m.Product.objects.of(studio).first(), site=vehicle.site, at=NOW, vehicles=3, ended=1,
        excluded=0, label=12, median_low=8, median_mid=11, median_high=15, life_low=7, life_mid=11, life_high=16,
        mark="learned here", says="mostly the label",
    )  # fmt: skip
    m.OutlookRow.objects.create(
        studio=studio, site=vehicle.site, vehicle=vehicle, split="likely", task="wash", source="due", made_on=TODAY,
        earliest=TODAY, ideal=TODAY, latest=TODAY, take_up=0.5, price_low=1, price_high=2, labour_h=1, why="due",
    )  # fmt: skip


def _lists(studio: m.Studio, keeper: m.Customer) -> None:
    file = receive_file(studio=studio, kind="customers", upload=b"name;email\nA;a@example.org\n", **WHO)
    m.ImportMapping.objects.create(
        studio=studio, kind="customers", digest="12" * 32, columns={"1": "name"}, used_at=NOW
    )
    m.ImportRow.objects.create(studio=studio, file=file, line=2, verdict="new", changes=[["name", "", "A"]])
    m.ImportMade.objects.create(
        studio=studio, file=file, line=2, model="Customer", object_id=keeper.pk, before=None, digest="34" * 32
    )
    m.ImportKey.objects.create(studio=studio, scheme="customer", number="0007", customer=keeper)
    hook = m.Hook.objects.create(studio=studio, url="https://example.org/told", kinds=["layer.recorded"], made_at=NOW)
    m.HookDelivery.objects.create(
        studio=studio, hook=hook, entry_id=1, kind="layer.recorded", payload="{}", made_at=NOW, state_at=NOW
    )


@contextmanager
def undone() -> Iterator[None]:
    """What happens inside is rolled back at the end: the database is as empty as before."""
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def taken(studio: m.Studio) -> bytes:
    """The studio's zip."""
    return b"".join(take_studio(studio=studio, actor="member:1", at=NOW).pieces)


def brought_back(data: bytes, folder: Path, **how: Any) -> Restored:
    """Restore it from a file."""
    path = folder / "studio.zip"
    path.write_bytes(data)
    return restore_studio(path=path, actor="command", at=NOW, **how)


def members(data: bytes) -> dict[str, bytes]:
    """What lies in a zip, by name."""
    with zipfile.ZipFile(io.BytesIO(data)) as found:
        return {name: found.read(name) for name in found.namelist()}


def manifest(data: bytes) -> dict[str, Any]:
    return json.loads(members(data)["manifest.json"])


def put_file(name: str, data: bytes) -> None:
    """Lay a file into the storage under exactly this name."""
    assert default_storage.save(name, ContentFile(data)) == name


def gone(data: bytes) -> bytes:
    """The zip, after the files it holds have left the storage."""
    for name in members(data):
        if name.startswith("files/"):
            default_storage.delete(name.removeprefix("files/"))
    return data


def stored(folder: str = "") -> set[str]:
    """Every file of the storage."""
    folders, names = default_storage.listdir(folder)
    inside = {name for one in folders for name in stored(f"{folder}/{one}".lstrip("/"))}
    return {f"{folder}/{name}".lstrip("/") for name in names} | inside


def zip_of(parts: dict[str, bytes]) -> bytes:
    """A zip of these members, packed as ours are."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as made:
        for name, body in parts.items():
            kind = zipfile.ZIP_STORED if name.startswith("files/") else zipfile.ZIP_DEFLATED
            made.writestr(zipfile.ZipInfo(name), body, kind)
    return out.getvalue()


def signed(parts: dict[str, bytes]) -> bytes:
    """A zip whose manifest agrees with whatever its tables hold: made by somebody who knows the form."""
    said = json.loads(parts["manifest.json"])
    for entry, name in [(row, f"tables/{row['name']}.jsonl") for row in said["tables"]] + [
        (said["files"], "files.jsonl")
    ]:
        body = parts[name]
        entry |= {"rows": body.count(b"\n"), "bytes": len(body), "sha256": hashlib.sha256(body).hexdigest()}
    return zip_of(parts | {"manifest.json": json.dumps(said).encode()})
