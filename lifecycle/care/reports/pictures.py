"""Photos of a sealed report for print: only a file that still is the one that was sealed."""

from __future__ import annotations

import hashlib
import io
from collections.abc import Sequence
from typing import Final

from PIL import Image, UnidentifiedImageError

from lifecycle.care.reports.view import PhotoLine
from lifecycle.models import Photo

EDGE_PX: Final = 900
QUALITY: Final = 82


def small_jpegs(photos: Sequence[PhotoLine]) -> dict[int, bytes]:
    """By number in the report: the picture at most `EDGE_PX` wide and high as JPEG. What is missing, unreadable or
    not the file that was sealed is left out."""
    rows = {row.pk: row for row in Photo.objects.filter(pk__in=[photo.id for photo in photos])}
    found: dict[int, bytes] = {}
    for photo in photos:
        row = rows.get(photo.id)
        small = _small(row, photo.sha256) if row is not None else None
        if small is not None:
            found[photo.n] = small
    return found


def _small(row: Photo, sha256: str) -> bytes | None:
    try:
        with row.file.open("rb") as file:
            data = file.read()
        if hashlib.sha256(data).hexdigest() != sha256:
            return None
        with Image.open(io.BytesIO(data)) as picture:
            picture.thumbnail((EDGE_PX, EDGE_PX))
            out = io.BytesIO()
            picture.convert("RGB").save(out, "JPEG", quality=QUALITY)
            return out.getvalue()
    except (OSError, ValueError, UnidentifiedImageError, Image.DecompressionBombError):
        return None
