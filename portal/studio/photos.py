"""Photos of a vehicle: the gallery, several at a time in, each refused one named beside its reason."""

from __future__ import annotations

from dataclasses import dataclass
from functools import partial
from hashlib import sha256
from typing import Any, Final
from uuid import UUID, uuid4, uuid5

from django import forms
from django.contrib import messages
from django.core.files.uploadedfile import UploadedFile
from django.http import Http404, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.views.decorators.http import require_GET, require_http_methods

from lifecycle.care import photos as care_photos
from lifecycle.care.images import spoken_name
from lifecycle.errors import DomainError, NotFoundHere
from portal.access.people import MemberRequest
from portal.access.registry import access
from portal.pictures import picture_answer

from .common import bounded_int, plain
from .register import kept_or_404, who_and_when

ACCEPTED: Final = "image/jpeg,image/png,image/webp"


class PhotosForm(forms.Form):
    """Where the photos of one upload belong and what they show. The files themselves are read from the request."""

    surface = forms.TypedChoiceField(label="Surface", required=False, coerce=int, empty_value=None)
    caption = forms.CharField(label="What they show", required=False, max_length=care_photos.MOST_CAPTION)
    batch = forms.UUIDField(widget=forms.HiddenInput)

    def __init__(self, *args: Any, surfaces: list[tuple[Any, str]], **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self.fields["surface"].choices = [("", "the whole vehicle"), *surfaces]


@dataclass(frozen=True, slots=True)
class Refused:
    """A file that was not kept, and why."""

    name: str
    why: str


@access("technician")
@require_http_methods(["GET", "POST"])
def photos(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    """The vehicle's photos; adds some, changes a caption, takes one off the record."""
    vehicle = kept_or_404(request, vehicle_id)
    surfaces = [(row.id, row.name) for row in vehicle.surfaces]
    start = {"batch": uuid4(), "surface": request.GET.get("surface", "")}
    form = PhotosForm(initial=start, surfaces=surfaces)
    refused: list[Refused] = []
    if request.method == "POST" and request.POST.get("record") in ("caption", "remove"):
        return _change(request, vehicle_id)
    if request.method == "POST":
        form = PhotosForm(request.POST, surfaces=surfaces)
        if not request.FILES.getlist("photos"):
            form.add_error(None, "Choose at least one photo.")
        elif form.is_valid():
            kept, refused = _add(request, vehicle_id, form.cleaned_data)
            if kept:
                messages.success(request, f"{kept} photo{'s are' if kept > 1 else ' is'} on record.")
            if not refused:
                return redirect("studio:photos", vehicle_id=vehicle_id)
    context = {
        "form": form,
        "refused": refused,
        "vehicle": vehicle,
        "photos": care_photos.photos_of(request.member.studio, vehicle_id),
        "accepted": ACCEPTED,
    }
    return render(request, "studio/photos.html", context)


def _add(request: MemberRequest, vehicle_id: int, data: dict[str, Any]) -> tuple[int, list[Refused]]:
    """Each file for itself: how many are on record now, and those that are not."""
    kept, refused = 0, []
    for upload in request.FILES.getlist("photos"):
        try:
            care_photos.add_photo(
                vehicle_id=vehicle_id,
                upload=upload,
                surface_id=data["surface"],
                caption=data["caption"],
                key=_key(data["batch"], upload),
                **who_and_when(request),
            )
            kept += 1
        except NotFoundHere as error:
            raise Http404 from error
        except DomainError as error:
            name = spoken_name(upload.name or "") or "The file"
            refused.append(Refused(name, error.message.removeprefix("photo: ").removeprefix(f"{name}: ")))
    return kept, refused


def _key(batch: UUID, upload: UploadedFile) -> UUID:
    """The same form sent twice makes each photo once."""
    digest = sha256()
    for chunk in upload.chunks():
        digest.update(chunk)
    return uuid5(batch, digest.hexdigest())


def _change(request: MemberRequest, vehicle_id: int) -> HttpResponse:
    photo_id = bounded_int(request.POST.get("photo", ""), low=0, high=2**62, default=0)
    verb: Any = partial(care_photos.remove_photo, photo_id=photo_id)
    said = "The photo is off the record."
    if request.POST.get("record") == "caption":
        verb = partial(care_photos.change_caption, photo_id=photo_id, caption=request.POST.get("caption", ""))
        said = "What the photo shows is on record."
    try:
        verb(**who_and_when(request))
        messages.success(request, said)
    except NotFoundHere as error:
        raise Http404 from error
    except DomainError as error:
        messages.error(request, plain(error))
    return redirect("studio:photos", vehicle_id=vehicle_id)


@access("member")
@require_GET
def photo(request: MemberRequest, uid: UUID, size: str) -> HttpResponseBase:
    """One stored picture, full or small."""
    try:
        return picture_answer(request, care_photos.photo_file(uid, size, studio=request.member.studio))
    except NotFoundHere as error:
        raise Http404 from error
