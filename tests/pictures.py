"""Small pictures and papers for tests, made on the spot."""

from __future__ import annotations

from io import BytesIO
from typing import Any

from PIL import Image


def plain(width: int = 48, height: int = 32, mode: str = "RGB") -> Image.Image:
    """The left half red, the right half blue, the top row white: orientation and colours can be told."""
    image = Image.new("RGB", (width, height), (200, 30, 30))
    image.paste((30, 30, 200), (width // 2, 0, width, height))
    return image.convert(mode)


def picture(kind: str = "JPEG", *, size: tuple[int, int] = (48, 32), mode: str = "RGB", **options: Any) -> bytes:
    """The bytes of a picture file."""
    out = BytesIO()
    plain(*size, mode).save(out, format=kind, **options)
    return out.getvalue()


def pdf(words: str = "sheet") -> bytes:
    """The bytes of the smallest whole PDF with one empty page (ISO 32000-1, annex H.2; from memory)."""
    objects = (
        b"<</Type/Catalog/Pages 2 0 R>>", b"<</Type/Pages/Kids[3 0 R]/Count 1>>",
        b"<</Type/Page/Parent 2 0 R/MediaBox[0 0 99 99]>>", b"<</Title(" + words.encode() + b")>>",
    )  # fmt: skip
    out, places = b"%PDF-1.7\n", []
    for number, body in enumerate(objects, start=1):
        places.append(len(out))
        out += b"%d 0 obj%b endobj\n" % (number, body)
    start = len(out)
    out += b"xref\n0 5\n0000000000 65535 f \n" + b"".join(b"%010d 00000 n \n" % place for place in places)
    return out + b"trailer<</Size 5/Root 1 0 R/Info 4 0 R>>\nstartxref\n%d\n%%%%EOF\n" % start
