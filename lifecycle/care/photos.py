"""Photos of a vehicle: verbs that keep and remove them, reads for pages, the stored files for those who may see them.

The files lie in Django's default storage (a folder, or whatever the settings name) under names that nobody can guess.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any, Final
from uuid import UUID, uuid4

from django.conf import settings
from django.core.files.base import ContentFile, File
from django.db import IntegrityError, transaction
from django.utils.formats import date_format
from django.utils.translation import gettext as _

from lifecycle import journal
from lifecycle.care.find import one
from lifecycle.care.images import MOST_BYTES, MOST_PIXELS, Cleaned, clean, too_large
from lifecycle.care.register import known
from lifecycle.care.sealing import refuse_sealed, sealed_among
from lifecycle.care.tongue.names import surface_name
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Finding, Inspection, Keeper, Photo, Studio, Surface, Vehicle

SIZES: Final = ("full", "small")
MOST_CAPTION: Final = 200


@dataclass(frozen=True, slots=True)
class PhotoView:
    """One photo for a page. `on`: the studio's day on which it was added; `words`: what to say where it is not seen;
    `sealed`: it belongs to a sealed report and stays."""

    id: int
    uid: UUID
    vehicle_id: int
    inspection_id: int | None
    finding_id: int | None
    surface_id: int | None
    surface: str
    finding: str
    caption: str
    by: str
    on: date
    width: int
    height: int
    sha256: str
    sealed: bool

    @property
    def words(self) -> str:
        about = ", ".join(part for part in (self.surface, self.finding) if part) or _("the vehicle")
        return self.caption or _("Photo of %(what)s, %(day)s") % {
            "what": about,
            "day": date_format(self.on, _("j F Y")),
        }


@dataclass(frozen=True, slots=True)
class PhotoFile:
    """A stored picture: `etag` changes with its content; `open` gives its bytes as a stream."""

    etag: str
    name: str
    stored: Any

    def open(self) -> File[bytes]:
        """The stream; the caller closes it.

        Raises:
            NotFoundHere: the storage has lost the file.
        """
        try:
            stream: File[bytes] = self.stored.storage.open(self.stored.name, "rb")
        except FileNotFoundError as error:
            raise NotFoundHere(f"The storage has no file {self.stored.name}.") from error
        return stream


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a photo belongs."""

    vehicle: Vehicle
    inspection: Inspection | None
    finding: Finding | None
    surface: Surface | None


def add_photo(
    *,
    studio: Studio,
    vehicle_id: int,
    upload: bytes | File[bytes],
    name: str = "",
    inspection_id: int | None = None,
    finding_id: int | None = None,
    surface_id: int | None = None,
    caption: str = "",
    by: str = "studio",
    key: UUID | None = None,
    actor: str,
    at: datetime,
) -> Photo:
    """Clean an upload and put it on record for a vehicle; nothing of it stays where that fails.

    Args:
        upload: the bytes, or an open file with `size` and `name`.  name: of the file, where `upload` has none.
        finding_id: implies its inspection and, unless given, its surface.
        by: "studio" or "customer".
        key: made by the device. The same key again returns the photo that it already made, also in a race.

    Raises:
        DomainError: field "photo" for the file itself (`lifecycle.care.images.clean`), "caption", "by", or the place
            where it should belong; or the inspection's report is sealed.
        NotFoundHere: vehicle, inspection, finding or surface of another studio.
    """
    known("by", by, ("studio", "customer"))
    said = _words(caption)
    place = _place(studio, vehicle_id, inspection_id, finding_id, surface_id)
    before = _made_by(studio, key, vehicle_id)
    if before is not None:
        return before
    cleaned = _cleaned(upload, name)
    uid = uuid4()
    photo: Photo = Photo(
        studio=studio, uid=uid, vehicle=place.vehicle, inspection=place.inspection, finding=place.finding,
        surface=place.surface, width=cleaned.width, height=cleaned.height, sha256=cleaned.sha256, caption=said, by=by,
        added_at=at, key=key,
    )  # fmt: skip
    try:
        _store(photo, cleaned)
        with transaction.atomic():
            _free(photo)
            photo.save()
            journal.record(
                studio=studio, actor=actor, at=at, verb="photo added", subject="photo", subject_id=photo.pk,
                vehicle_id=vehicle_id, inspection=photo.inspection_id, sha256=photo.sha256, by=by,
            )  # fmt: skip
    except IntegrityError:
        _discard(photo)
        first = _made_by(studio, key, vehicle_id)  # the device sent it twice at the same moment
        if first is None:
            raise
        return first
    except BaseException:
        _discard(photo)
        raise
    return photo


def _words(caption: str) -> str:
    said = " ".join(caption.split())
    if len(said) > MOST_CAPTION:
        raise DomainError(f"caption: write {MOST_CAPTION} characters at most.", field="caption")
    return said


def _place(
    studio: Studio, vehicle_id: int, inspection_id: int | None, finding_id: int | None, surface_id: int | None
) -> _Place:
    vehicle = one(Vehicle, studio, vehicle_id)
    finding = one(Finding, studio, finding_id) if finding_id is not None else None
    inspection = one(Inspection, studio, inspection_id) if inspection_id is not None else None
    if finding is not None:
        if inspection is not None and finding.inspection_id != inspection.pk:
            raise DomainError("finding: it belongs to another inspection.", field="finding")
        inspection = finding.inspection
    if inspection is not None and inspection.vehicle_id != vehicle.pk:
        raise DomainError("inspection: it belongs to another vehicle.", field="inspection")
    surface = one(Surface, studio, surface_id) if surface_id is not None else None
    if surface is not None and surface.vehicle_id != vehicle.pk:
        raise DomainError("surface: it belongs to another vehicle.", field="surface")
    return _Place(vehicle, inspection, finding, surface or (finding.surface if finding is not None else None))


def _free(photo: Photo) -> None:
    """Refuse where the photo's inspection is sealed; hold the inspection's row, so that it is not sealed meanwhile."""
    if photo.inspection_id is not None:
        refuse_sealed(one(Inspection, photo.studio, photo.inspection_id, lock=True))


def _made_by(studio: Studio, key: UUID | None, vehicle_id: int) -> Photo | None:
    if key is None:
        return None
    photo: Photo | None = Photo.objects.of(studio).filter(key=key).first()
    if photo is not None and photo.vehicle_id != vehicle_id:
        raise DomainError("key: it already made a photo of another vehicle; make a new one.", field="key")
    return photo


def _cleaned(upload: bytes | File[bytes], name: str) -> Cleaned:
    most_bytes = int(getattr(settings, "PHOTO_MOST_BYTES", MOST_BYTES))
    most_pixels = int(getattr(settings, "PHOTO_MOST_PIXELS", MOST_PIXELS))
    if isinstance(upload, bytes):
        data = upload
    else:
        name = name or upload.name or ""
        if upload.size > most_bytes:  # not even read
            raise too_large(name, upload.size, most_bytes)
        upload.seek(0)
        data = upload.read(most_bytes + 1)
    return clean(data, name=name, most_bytes=most_bytes, most_pixels=most_pixels)


def _store(photo: Photo, cleaned: Cleaned) -> None:
    folder, stem = f"photos/{photo.uid.hex[:2]}", photo.uid.hex
    photo.file.save(f"{folder}/{stem}.jpg", ContentFile(cleaned.jpeg), save=False)
    photo.thumbnail.save(f"{folder}/{stem}-small.jpg", ContentFile(cleaned.thumbnail), save=False)


def _discard(photo: Photo) -> None:
    for stored in (photo.file, photo.thumbnail):
        if stored.name:
            stored.storage.delete(stored.name)


def change_caption(*, studio: Studio, photo_id: int, caption: str, actor: str, at: datetime) -> Photo:
    """Say anew what a photo shows.

    Raises:
        DomainError: too long, or the report is sealed.
        NotFoundHere: the photo is not of this studio.
    """
    said = _words(caption)
    with transaction.atomic():
        photo = one(Photo, studio, photo_id, lock=True)
        if photo.caption != said:
            _free(photo)
            photo.caption = said
            photo.save(update_fields=["caption"])
            journal.record(
                studio=studio, actor=actor, at=at, verb="photo caption changed", subject="photo", subject_id=photo.pk,
                vehicle_id=photo.vehicle_id,
            )  # fmt: skip
    return photo


def remove_photo(*, studio: Studio, photo_id: int, actor: str, at: datetime) -> None:
    """Take a photo off the record, its files with it once that is certain.

    Raises:
        DomainError: it stands in a sealed report.
        NotFoundHere: the photo is not of this studio.
    """
    with transaction.atomic():
        photo = one(Photo, studio, photo_id, lock=True)
        _free(photo)
        journal.record(
            studio=studio, actor=actor, at=at, verb="photo removed", subject="photo", subject_id=photo.pk,
            vehicle_id=photo.vehicle_id, inspection=photo.inspection_id, sha256=photo.sha256,
        )  # fmt: skip
        photo.delete()
        transaction.on_commit(lambda: _discard(photo))


def photos_of(
    studio: Studio,
    vehicle_id: int,
    *,
    inspection_id: int | None = None,
    finding_id: int | None = None,
    surface_id: int | None = None,
) -> tuple[PhotoView, ...]:
    """The photos of one vehicle, oldest first, or those of one inspection, finding or surface.

    Raises:
        NotFoundHere: the vehicle is not of this studio.
    """
    one(Vehicle, studio, vehicle_id)
    wanted = {"inspection_id": inspection_id, "finding_id": finding_id, "surface_id": surface_id}
    rows = Photo.objects.of(studio).filter(vehicle_id=vehicle_id)
    rows = rows.filter(**{name: value for name, value in wanted.items() if value is not None})
    return _views(studio, rows)


def photos_for_customer(customer_ids: Iterable[int], vehicle_id: int) -> tuple[PhotoView, ...]:
    """The photos of a vehicle that its present keeper may see: those added since the day on which they took it over."""
    keeper = _keeper(customer_ids, vehicle_id)
    if keeper is None:
        return ()
    seen = _views(keeper.studio, Photo.objects.filter(vehicle_id=vehicle_id))
    return tuple(photo for photo in seen if photo.on >= keeper.start)


def _views(studio: Studio, rows: Any) -> tuple[PhotoView, ...]:
    listed = list(rows.select_related("surface", "finding").order_by("added_at", "id"))
    sealed = sealed_among({row.inspection_id for row in listed if row.inspection_id is not None})
    return tuple(
        PhotoView(
            id=row.pk, uid=row.uid, vehicle_id=row.vehicle_id, inspection_id=row.inspection_id,
            finding_id=row.finding_id, surface_id=row.surface_id,
            surface=surface_name(row.surface.code) if row.surface is not None else "",
            finding=_(row.finding.get_kind_display()) if row.finding is not None else "",
            caption=row.caption, by=row.by, on=studio.day(row.added_at), width=row.width, height=row.height,
            sha256=row.sha256, sealed=row.inspection_id in sealed,
        )
        for row in listed
    )  # fmt: skip


def _keeper(customer_ids: Iterable[int], vehicle_id: int) -> Keeper | None:
    """Their keeping of this vehicle now."""
    found: Keeper | None = (
        Keeper.objects.filter(
            vehicle_id=vehicle_id, customer_id__in=list(customer_ids), end=None, vehicle__retired_on=None
        )
        .select_related("studio")
        .first()
    )
    return found


def photo_file(uid: UUID, size: str, *, studio: Studio | None = None, customer_ids: Iterable[int] = ()) -> PhotoFile:
    """The stored file of a photo, for a member of its studio or for the vehicle's keeper of now.

    Args:
        size: "full" or "small".
        studio: of the member who asks; else `customer_ids` of the customer who asks. A keeper sees what was added
            since the day on which they took the vehicle over.

    Raises:
        NotFoundHere: no such photo or size for whoever asks.
    """
    photo = Photo.objects.filter(uid=uid).select_related("studio").first() if size in SIZES else None
    if photo is not None and studio is not None and photo.studio_id != studio.pk:
        photo = None
    if photo is not None and studio is None:
        keeper = _keeper(customer_ids, photo.vehicle_id)
        if keeper is None or photo.studio.day(photo.added_at) < keeper.start:
            photo = None
    if photo is None:
        raise NotFoundHere("There is no such photo here.")
    small = size == "small"
    return PhotoFile(
        etag=f'"{photo.sha256[:40]}{"-small" if small else ""}"',
        name=f"photo-{photo.pk}{'-small' if small else ''}.jpg",
        stored=photo.thumbnail if small else photo.file,
    )
