"""A vehicle with an inspection that can be sealed: two findings, five readings, a photo with its file."""

from __future__ import annotations

import hashlib
import io
from dataclasses import dataclass
from typing import Any

from django.core.files.base import ContentFile
from django.core.files.storage import default_storage
from PIL import Image

from lifecycle.care import sealing
from lifecycle.care.reports.signature import Signature
from lifecycle.models import Customer, Finding, Inspection, Member, Photo, Reading, Report, Studio, Surface, Vehicle
from tests import people
from tests.factories import NOW, TODAY, SiteFactory, StudioFactory, SurfaceFactory, VehicleFactory

DRAWN = Signature("drawn", "Tove Halvarsen", [[[10, 20], [40, 90], [80, 30], [120, 80], [160, 20], [200, 60]]])


def inspection_of(vehicle: Vehicle) -> Inspection:
    """An inspection of the studio with nothing found."""
    return Inspection.objects.create(studio=vehicle.studio, vehicle=vehicle, on=TODAY, clean_state="washed")


def seal(inspection: Inspection, *, by: Signature = DRAWN, member: Member | None = None) -> Report:
    """Its sealed report."""
    studio = inspection.studio
    member = member or people.technician(studio)
    seen = sealing.draft(studio=studio, inspection_id=inspection.pk, at=NOW).seen
    return sealing.seal_report(
        studio=studio, inspection_id=inspection.pk, member_id=member.pk, seen=seen, signature=by,
        actor=f"member:{member.pk}", at=NOW,
    )  # fmt: skip


@dataclass
class World:
    studio: Studio
    technician: Member
    keeper: Customer
    vehicle: Vehicle
    bonnet: Surface
    inspection: Inspection

    def seal(self, inspection: Inspection | None = None, *, by: Signature = DRAWN, **changes: Any) -> Report:
        inspection = inspection or self.inspection
        seen = sealing.draft(studio=self.studio, inspection_id=inspection.pk, at=NOW).seen
        return sealing.seal_report(
            **{
                "studio": self.studio, "inspection_id": inspection.pk, "member_id": self.technician.pk, "seen": seen,
                "signature": by, "actor": f"member:{self.technician.pk}", "at": NOW, **changes,
            }
        )  # fmt: skip

    def another(self, **fields: Any) -> Inspection:
        return Inspection.objects.create(
            **{"studio": self.studio, "vehicle": self.vehicle, "on": TODAY, "clean_state": "washed", "kind": "check",
               "member": self.technician, **fields}
        )  # fmt: skip

    def photo(
        self, finding: Finding | None = None, *, colour: str = "teal", inspection: Inspection | None = None
    ) -> Photo:
        data = jpeg(colour)
        name = default_storage.save("reports-test/photo.jpg", ContentFile(data))
        return Photo.objects.create(
            studio=self.studio, vehicle=self.vehicle, inspection=inspection or self.inspection, finding=finding,
            surface=self.bonnet, file=name, thumbnail=name, width=320, height=240, added_at=NOW,
            sha256=hashlib.sha256(data).hexdigest(), caption="Left edge, under the lamp",
        )  # fmt: skip


def jpeg(colour: str, size: tuple[int, int] = (320, 240)) -> bytes:
    file = io.BytesIO()
    Image.new("RGB", size, colour).save(file, "JPEG")
    return file.getvalue()


def make_world(studio: Studio | None = None) -> World:
    studio = studio or StudioFactory()
    keeper = people.customer(studio, name="Tove Halvarsen")
    vehicle = VehicleFactory(
        site=SiteFactory(studio=studio), keeper=keeper, description="black large SUV", body="suv", plate="SKA 101"
    )
    bonnet = SurfaceFactory(vehicle=vehicle, code="bonnet")
    door = SurfaceFactory(vehicle=vehicle, code="doors_left", orientation="side")
    technician = people.technician(studio)
    inspection = Inspection.objects.create(
        studio=studio, vehicle=vehicle, kind="pre_detail", on=TODAY, clean_state="decontaminated",
        light="inspection lamp, 4000 K", member=technician, note="Dry, panels at 15 degrees.",
    )  # fmt: skip
    scratch = Finding.objects.create(
        studio=studio, inspection=inspection, surface=bonnet, kind="scratch", severity=3, size_mm=42.5,
        note="Through the colour at its end", on_outline=True, x=0.25, y=0.4,
    )  # fmt: skip
    Finding.objects.create(
        studio=studio, inspection=inspection, surface=door, kind="chip", severity=2, pre_existing=False, x=0.5, y=0.8
    )
    for value in (118.0, 121.5, 117.25, 120.0, 119.5):
        Reading.objects.create(
            studio=studio, inspection=inspection, surface=bonnet, kind="thickness_um", value=value, method="magnetic",
            spot=1,
        )  # fmt: skip
    world = World(studio, technician, keeper, vehicle, bonnet, inspection)
    world.photo(scratch)
    return world
