"""Uploads that mean harm, or are only broken: well over a hundred, each refused in words or made into a plain picture.

File layouts as in `lifecycle/care/image_files.py`; the figures of the caps are ours. What a decoder must survive is
common practice for upload handling (OWASP file upload cheat sheet, from memory): type by content, caps before
decoding, encoding anew, no metadata.
"""

from __future__ import annotations

import random
import struct
import time
import zipfile
import zlib
from io import BytesIO

import pytest
from PIL import Image, ImageCms

from lifecycle.care.image_files import header_of, kind_of
from lifecycle.care.images import KEPT_SIDE, SMALL_SIDE, Cleaned, clean
from lifecycle.errors import DomainError
from tests.pictures import picture, plain

KINDS = ("JPEG", "PNG", "WEBP")
MENDS = ("Choose", "Send", "Take", "Crop", "Open", "On the phone")


def zip_of(name: str = "a.txt") -> bytes:
    out = BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr(name, "hello")
    return out.getvalue()


def noise(kind: str) -> bytes:
    """A picture with enough data that a cut anywhere is felt."""
    out = BytesIO()
    Image.frombytes("RGB", (40, 30), random.Random(7).randbytes(3600)).save(out, format=kind)
    return out.getvalue()


def chunk(name: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))


def png(width: int, height: int, *, rows: bytes = b"\x00\x00") -> bytes:
    """A PNG that only says that it is so large."""
    head = struct.pack(">IIBBBBB", width, height, 8, 0, 0, 0, 0)
    body = chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(rows)) + chunk(b"IEND", b"")
    return b"\x89PNG\r\n\x1a\n" + body


def jpeg_sized(width: int, height: int) -> bytes:
    data = bytearray(picture())
    at = next(i for i in range(2, len(data)) if data[i] == 0xFF and data[i + 1] == 0xC0)
    data[at + 5 : at + 9] = struct.pack(">HH", height, width)
    return bytes(data)


def webp_sized(width: int, height: int) -> bytes:
    sides = b"".join((side - 1).to_bytes(3, "little") for side in (width, height))
    body = b"VP8X" + struct.pack("<IB3x", 10, 0) + sides
    return b"RIFF" + struct.pack("<I", len(body) + 4) + b"WEBP" + body


def png_bit_flips() -> list[bytes]:
    """One bit wrong in the pixel data of a PNG: its checksum tells (PNG, third edition, 5.5)."""
    data = noise("PNG")
    start = data.index(b"IDAT") + 4
    length = struct.unpack(">I", data[start - 8 : start - 4])[0]
    found = []
    for where in random.Random(11).sample(range(start, start + length), 20):
        flipped = bytearray(data)
        flipped[where] ^= 1 << (where % 8)
        found.append(bytes(flipped))
    return found


def wrong_kinds() -> dict[str, tuple[bytes, str]]:
    """Files that are no photo, whatever their name says."""
    jpeg = picture()
    return {
        "gif": (b"GIF89a" + b"\x01\x00\x01\x00" + bytes(20), "a GIF"), "bmp": (picture("BMP"), "a BMP"),
        "tiff": (picture("TIFF"), "a TIFF"), "icon": (picture("ICO"), "an icon"), "pdf": (picture("PDF"), "a PDF"),
        "avif": (b"\x00\x00\x00\x1cftypavif" + bytes(40), "an AVIF"),
        "video": (b"\x00\x00\x00\x18ftypisom" + bytes(40), "a video"), "avi": (b"RIFF\x10\x00\x00\x00AVI ", "video"),
        "matroska": (b"\x1aE\xdf\xa3" + bytes(30), "a video"), "zip": (zip_of(), "a ZIP"),
        "office": (zip_of("word/document.xml"), "office document"), "gzip": (b"\x1f\x8b\x08" + bytes(30), "archive"),
        "rar": (b"Rar!\x1a\x07\x00", "a RAR"), "7z": (b"7z\xbc\xaf\x27\x1c" + bytes(20), "a 7z"),
        "exe": (b"MZ\x90\x00" + bytes(60), "a program"), "elf": (b"\x7fELF\x02\x01" + bytes(60), "a program"),
        "script": (b"#!/bin/sh\nrm -rf x\n", "a script"), "svg": (b"<svg xmlns='x'><script>1</script></svg>", "SVG"),
        "svg declared": (b"<?xml version='1.0'?>\n<svg onload='x'/>", "SVG"),
        "html": (b"<!doctype html><script>alert(1)</script>", "web page"),
        "html marked": (b"\xef\xbb\xbf \n<html><body>", "web page"), "text": (b"just words\n" * 9, "a text"),
        "postscript": (b"%!PS-Adobe-3.0\n", "PostScript"), "psd": (b"8BPS\x00\x01" + bytes(30), "layered picture"),
        "jpeg 2000": (picture("JPEG2000"), "JPEG 2000"), "jpeg xl": (b"\xff\x0a" + bytes(30), "JPEG XL"),
        "netpbm": (picture("PPM"), "no picture that we know"),
        "random": (random.Random(5).randbytes(900), "no picture that we know"),
        "zeros": (bytes(500), "no picture that we know"), "one byte": (b"\xff", "no picture that we know"),
        "empty": (b"", "the file is empty"), "magic only": (b"\xff\xd8\xff", "damaged"),
        "png magic only": (b"\x89PNG\r\n\x1a\n", "damaged"),
        "webp magic only": (b"RIFF\x00\x00\x00\x00WEBP", "damaged"),
        "zip before jpeg": (zip_of() + jpeg, "a ZIP"), "html before jpeg": (b"<html>" + jpeg, "web page"),
        "jpeg, space before": (b" " + jpeg, "no picture that we know"),
    }  # fmt: skip


def hostile() -> dict[str, tuple[bytes, str]]:
    """Name -> bytes and what the refusal must say. All of them are refused."""
    jpeg, found = picture(), wrong_kinds()
    for brand in (b"heic", b"heix", b"hevc", b"mif1", b"msf1"):
        found[f"heic {brand.decode()}"] = (b"\x00\x00\x00\x18ftyp" + brand + bytes(40), "most compatible format")
    sizes = {"square": (50_000, 50_000), "most": (65_000, 65_000), "just over": (10_000, 5_001)}
    for name, size in sizes.items():
        found[f"jpeg {name}"] = (jpeg_sized(*size), "million pixels")
        found[f"png {name}"] = (png(*size), "million pixels")
        found[f"webp {name}"] = (webp_sized(*size), "million pixels")
    found |= {
        "png of the most that a header can say": (png(2**31 - 1, 2**31 - 1), "million pixels"),
        "a strip": (png(1, 1_000_000), "longer than"), "a lying strip": (png(1_000_000, 1), "longer than"),
        "no width": (png(0, 10), "no width"), "no height": (jpeg_sized(10, 0), "no width or no height"),
        "a bomb of zeros": (png(6000, 6000, rows=bytes(1000)), "cut off"),
        "too many bytes": (jpeg + bytes(15_000_001), "MB is more than the 15 MB"),
    }  # fmt: skip
    tails = {
        "zip": zip_of(), "padded zip": bytes(999) + zip_of(), "html": b"\n<html><body onload=x>", "svg": b"<svg>",
        "script": b"<SCRIPT>alert(1)</SCRIPT>", "php": b"<?php system($_GET[0]);", "pdf": b"%PDF-1.7\n",
        "exe": b"MZ" + bytes(20), "elf": b"\x7fELF\x02", "shell": b"\n#!/bin/sh\n", "rar": b"Rar!\x1a\x07\x00",
    }  # fmt: skip
    for kind in KINDS:
        for name, tail in tails.items():
            found[f"{kind} then {name}"] = (picture(kind) + tail, "a second file hides")
    comment = b"\xff\xfe" + struct.pack(">H", 2 + 30) + b"<script>alert(document)</script"[:30]
    found["script in a comment"] = (jpeg[:2] + comment + jpeg[2:], "a second file hides")
    found["php in a png note"] = (
        picture("PNG")[:33] + chunk(b"tEXt", b"a\x00<?php 1;") + picture("PNG")[33:],
        "a second file hides",
    )
    for kind in KINDS:
        whole = noise(kind)
        for share in (0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9):
            found[f"{kind} cut at {share:.0%}"] = (whole[: int(len(whole) * share)], "")
    for number, data in enumerate(png_bit_flips()):
        found[f"png with bit flip {number}"] = (data, "checksum")
    swapped = {"JPEG": b"\xff\xd8\xff\xe0", "PNG": b"\x89PNG\r\n\x1a\n", "WEBP": b"RIFF\x00\x01\x00\x00WEBP"}
    for claimed, start in swapped.items():
        for kind in KINDS:
            if kind != claimed:
                found[f"{kind} under the first bytes of {claimed}"] = (start + picture(kind), "")
    return found


HOSTILE = hostile()


def test_a_hundred_hostile_uploads_are_refused_in_words():
    """Each says which file, what is wrong and how to mend it; none takes long."""
    assert len(HOSTILE) >= 100
    started = time.process_time()  # of this process: a busy machine adds nothing
    for name, (data, says) in HOSTILE.items():
        with pytest.raises(DomainError) as refused:
            pytest.fail(f"{name} was taken: {clean(data, name=f'C:/camera/{name}.jpg')}"[:200])
        lead, _, what = refused.value.message.partition(f"photo: {name}.jpg: ")
        assert (refused.value.field, lead) == ("photo", ""), name
        assert says in what, (name, what)
        assert any(f". {mend}" in what for mend in MENDS), (name, what)
    assert time.process_time() - started < 60


def outcome(data: bytes) -> Cleaned | DomainError:
    """What becomes of an upload."""
    try:
        return clean(data, name="x.jpg")
    except DomainError as error:
        return error


def segments(jpeg: bytes) -> set[int]:
    """The markers of a JPEG before its first scan."""
    at, found = 2, set()
    while jpeg[at + 1] != 0xDA:
        found.add(jpeg[at + 1])
        at += 2 + struct.unpack_from(">H", jpeg, at + 2)[0]
    return found


def test_random_damage_is_refused_or_leaves_a_whole_plain_picture():
    """A flipped bit in the coded pixels of a JPEG or WebP cannot always be told from a picture; then it is one."""
    dice, refused, cleaned = random.Random(23), 0, 0
    for kind in KINDS:
        for _ in range(60):
            data = bytearray(noise(kind))
            for _ in range(dice.choice((1, 3, 12))):
                data[dice.randrange(len(data))] ^= 1 << dice.randrange(8)
            made = outcome(bytes(data))
            if isinstance(made, DomainError):
                assert made.field == "photo"
                refused += 1
                continue
            cleaned += 1
            assert segments(made.jpeg) <= {0xC0, 0xC2, 0xC4, 0xDB, 0xE0}
            with Image.open(BytesIO(made.jpeg)) as image:
                image.load()
                assert image.size == (made.width, made.height)
    assert refused > 50
    assert cleaned > 10


@pytest.mark.parametrize("kind", KINDS)
def test_position_camera_comments_and_profile_are_gone(kind):
    exif = Image.Exif()
    exif[0x010F] = "MAKER-7781"
    exif.get_ifd(0x8825).update({1: "N", 2: (58.0, 9.0, 41.0), 3: "E", 4: (6.0, 1.0, 2.0)})
    profile = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    extra = {"comment": b"SECRET-WORDS"} if kind == "JPEG" else {}
    if kind != "PNG":
        extra["xmp"] = b"<x:xmpmeta xmlns:x='adobe:ns:meta/'>SECRET-WORDS</x:xmpmeta>"
    data = picture(kind, exif=exif, icc_profile=profile, **extra)
    with Image.open(BytesIO(data)) as before:
        assert before.getexif().get_ifd(0x8825), "the picture does carry a position"
    made = clean(data)
    for stored in (made.jpeg, made.thumbnail):
        with Image.open(BytesIO(stored)) as image:
            assert image.format == "JPEG"
            assert dict(image.getexif()) == {}
            assert {"icc_profile", "comment", "exif", "xmp"} & set(image.info) == set()
        assert b"MAKER-7781" not in stored
        assert b"SECRET-WORDS" not in stored
        assert segments(stored) <= {0xC0, 0xC2, 0xC4, 0xDB, 0xE0}


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("orientation", range(1, 9))
def test_the_picture_stands_upright(kind, orientation):
    """EXIF 2.3, 4.6.4.A (Orientation): what row 0 and column 0 of the stored picture are as seen. From memory."""
    stored = {
        1: None, 2: Image.Transpose.FLIP_LEFT_RIGHT, 3: Image.Transpose.ROTATE_180, 4: Image.Transpose.FLIP_TOP_BOTTOM,
        5: Image.Transpose.TRANSPOSE, 6: Image.Transpose.ROTATE_90, 7: Image.Transpose.TRANSVERSE,
        8: Image.Transpose.ROTATE_270,
    }[orientation]  # fmt: skip
    seen = Image.new("RGB", (64, 32), (20, 20, 20))
    seen.paste((220, 30, 30), (0, 0, 16, 16))  # red at the top left, as a person sees it
    out, exif = BytesIO(), Image.Exif()
    exif[0x0112] = orientation
    (seen if stored is None else seen.transpose(stored)).save(out, format=kind, exif=exif)
    made = clean(out.getvalue())
    assert (made.width, made.height) == (64, 32)
    with Image.open(BytesIO(made.jpeg)) as image:
        red = [image.getpixel(at)[0] > 120 for at in ((6, 6), (58, 6), (6, 26), (58, 26))]
    assert red == [True, False, False, False]


@pytest.mark.parametrize(
    ("kind", "mode"),
    [("JPEG", "L"), ("JPEG", "CMYK"), ("PNG", "1"), ("PNG", "L"), ("PNG", "LA"), ("PNG", "P"), ("PNG", "RGBA"),
     ("PNG", "I;16"), ("WEBP", "RGBA")],
)  # fmt: skip
def test_every_mode_becomes_plain_colour(kind, mode):
    image = plain(mode="L" if mode == "I;16" else mode)
    if mode == "I;16":
        image = image.convert("I").point(lambda value: value * 257).convert("I;16")
    out = BytesIO()
    image.save(out, format=kind)
    made = clean(out.getvalue())
    with Image.open(BytesIO(made.jpeg)) as result:
        assert (result.mode, result.size) == ("RGB", (48, 32))
        left, right = result.getpixel((5, 16)), result.getpixel((42, 16))
    if mode in ("CMYK", "P", "RGBA"):
        assert left[0] > 150 > left[2]
        assert right[2] > 150 > right[0]
    elif mode != "1":
        assert abs(left[0] - 81) < 8, "Rec. 601 luma of (200, 30, 30): 0.299 * 200 + 0.587 * 30 + 0.114 * 30 = 80.8"


def test_transparent_parts_are_white_and_an_animation_is_its_first_frame():
    clear = BytesIO()
    Image.new("RGBA", (20, 20), (255, 0, 0, 0)).save(clear, format="PNG")
    with Image.open(BytesIO(clean(clear.getvalue()).jpeg)) as image:
        assert min(image.getpixel((10, 10))) > 245
    for kind in ("WEBP", "PNG"):
        moving = BytesIO()
        frames = [Image.new("RGB", (24, 24), colour) for colour in ((200, 20, 20), (20, 200, 20), (20, 20, 200))]
        frames[0].save(moving, format=kind, save_all=True, append_images=frames[1:], duration=80)
        with Image.open(BytesIO(clean(moving.getvalue()).jpeg)) as image:
            assert image.getpixel((12, 12))[0] > 150, kind


def test_large_pictures_are_scaled_and_small_ones_are_not_enlarged():
    made = clean(picture(size=(5200, 2600)))
    assert (made.width, made.height) == (KEPT_SIDE, KEPT_SIDE // 2)
    with Image.open(BytesIO(made.thumbnail)) as small:
        assert small.size == (SMALL_SIDE, SMALL_SIDE // 2)
    tiny = clean(picture(size=(3, 2)))
    assert (tiny.width, tiny.height) == (3, 2)
    strip = clean(picture("PNG", size=(9000, 1)))
    assert (strip.width, strip.height) == (KEPT_SIDE, 1)


def test_a_colour_profile_is_applied_and_a_broken_one_is_ignored():
    """In a profile whose red and blue primaries are swapped (ICC.1:2022, 9.2: rXYZ, bXYZ) a stored red is a blue."""
    usual = ImageCms.ImageCmsProfile(ImageCms.createProfile("sRGB")).tobytes()
    swapped = usual.replace(b"rXYZ", b"----", 1).replace(b"bXYZ", b"rXYZ", 1).replace(b"----", b"bXYZ", 1)
    for kind in KINDS:
        with Image.open(BytesIO(clean(picture(kind, icc_profile=swapped)).jpeg)) as image:
            left, right = image.getpixel((5, 16)), image.getpixel((42, 16))
        assert left[2] > 150 > left[0], kind
        assert right[0] > 150 > right[2], kind
    lab = ImageCms.ImageCmsProfile(ImageCms.createProfile("LAB")).tobytes()
    for useless in (b"no profile at all" * 20, lab):
        assert clean(picture(icc_profile=useless)).jpeg == clean(picture()).jpeg


def test_what_phones_append_is_dropped_with_the_rest():
    """A motion clip or a second, smaller picture behind the first (multi-picture format) is usual; it is not kept."""
    clip = b"\x00\x00\x00\x18ftypmp42" + random.Random(3).randbytes(400)
    for tail in (clip, picture(size=(16, 16)), bytes(64)):
        data = picture() + tail
        assert header_of(data).end == len(data) - len(tail)
        assert clean(data).jpeg == clean(picture()).jpeg


def test_the_header_says_what_the_decoder_says():
    for kind in KINDS:
        for options in ({}, {"lossless": True}, {"progressive": True}):
            data = picture(kind, size=(37, 21), **options)
            header = header_of(data)
            assert (kind_of(data), header.width, header.height, header.end) == (kind, 37, 21, len(data)), options
