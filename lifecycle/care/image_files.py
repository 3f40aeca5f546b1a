"""What an uploaded file is, read from its own bytes: kind, size in pixels, and whether a second file rides along.

Everything here looks at headers only; nothing is decoded. Layouts: JPEG ITU-T T.81 (markers), PNG (W3C, third edition,
chunks), WebP (RFC 9649), ISO base media brands (ISO/IEC 23008-12 for HEIC). From memory where not named.
"""

from __future__ import annotations

import struct
import zlib
from dataclasses import dataclass
from typing import Final

PNG_START: Final = b"\x89PNG\r\n\x1a\n"
HEIC_BRANDS: Final = frozenset({b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"mif1", b"msf1"})
# Start of the file -> what a person calls it. The pictures that are taken stand in `kind_of`.
OTHERS: Final = (
    (b"GIF8", "a GIF picture"),
    (b"BM", "a BMP picture"),
    (b"II*\x00", "a TIFF or raw camera picture"),
    (b"MM\x00*", "a TIFF or raw camera picture"),
    (b"8BPS", "a layered picture of an image editor"),
    (b"\x00\x00\x01\x00", "an icon"),
    (b"\x00\x00\x00\x0cjP  ", "a JPEG 2000 picture"),
    (b"\xff\x0a", "a JPEG XL picture"),
    (b"%PDF", "a PDF document"),
    (b"PK\x03\x04", "a ZIP archive or office document"),
    (b"PK\x05\x06", "a ZIP archive"),
    (b"\x1f\x8b", "a compressed archive"),
    (b"Rar!", "a RAR archive"),
    (b"7z\xbc\xaf", "a 7z archive"),
    (b"MZ", "a program"),
    (b"\x7fELF", "a program"),
    (b"#!", "a script"),
    (b"RIFF", "a sound or video file"),
    (b"\x1aE\xdf\xa3", "a video"),
    (b"ID3", "a sound file"),
    (b"OggS", "a sound file"),
    (b"%!PS", "a PostScript document"),
)
# What must not follow a picture in its file. Motion clips and second pictures of phones may: they are dropped.
TAILS: Final = (
    (b"PK\x03\x04", "a ZIP archive"),
    (b"PK\x05\x06", "a ZIP archive"),
    (b"Rar!\x1a", "a RAR archive"),
    (b"7z\xbc\xaf\x27\x1c", "a 7z archive"),
    (b"%pdf-", "a PDF document"),
    (b"\x7felf", "a program"),
    (b"this program cannot be run", "a program"),
    (b"<html", "a web page"),
    (b"<svg", "a drawing with script"),
    (b"<body", "a web page"),
    (b"#!/", "a script"),
)
# Long enough not to turn up in picture data by chance; searched in the whole file, comments and notes included.
ANYWHERE: Final = ((b"<script", "a web page with script"), (b"<?php", "a script"), (b"<!doctype", "a web page"))
NO_SIZE: Final = frozenset({0xC4, 0xC8, 0xCC})  # among SOF numbers: tables and a reserved one


class DamagedError(ValueError):
    """The headers do not hold together."""


@dataclass(frozen=True, slots=True)
class Header:
    """`end`: the byte after the picture, the file's length where the file does not say."""

    width: int
    height: int
    end: int


def kind_of(data: bytes) -> str:
    """JPEG, PNG or WEBP by the first bytes; "" for everything else."""
    if data[:3] == b"\xff\xd8\xff":
        return "JPEG"
    if data[:8] == PNG_START:
        return "PNG"
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return "WEBP"
    return ""


def is_heic(data: bytes) -> bool:
    """Whether this is the format that many phones shoot in by default."""
    return data[4:8] == b"ftyp" and data[8:12] in HEIC_BRANDS


def other_kind(data: bytes) -> str:
    """What a file that is no JPEG, PNG or WebP is, in words; "" where nobody can say."""
    if data[4:8] == b"ftyp":
        return "an AVIF picture" if data[8:12] in (b"avif", b"avis") else "a video"
    for start, words in OTHERS:
        if data.startswith(start):
            return words
    text = data[:1024].lstrip(b"\xef\xbb\xbf \t\r\n\x00").lower()
    if text.startswith(b"<"):
        return "a drawing (SVG)" if b"<svg" in text else "a web page or XML document"
    if data and all(32 <= byte < 127 or byte in (9, 10, 13) for byte in data[:512]):
        return "a text"
    return ""


def header_of(data: bytes) -> Header:
    """Size in pixels and end of a JPEG, PNG or WebP, without decoding.

    Raises:
        DamagedError: the headers are cut off or contradict each other.
    """
    read = {"JPEG": _jpeg, "PNG": _png, "WEBP": _webp}[kind_of(data)]
    try:
        return read(data)
    except (struct.error, IndexError) as error:
        raise DamagedError("it ends inside its headers") from error


def second_file(data: bytes, end: int) -> str:
    """What else hides in a picture's file, in words; "" where nothing does. `end`: the byte after the picture."""
    folded = data.lower()
    for mark, words in ANYWHERE:
        if mark in folded:
            return words
    return follows(data[end:])


def follows(tail: bytes) -> str:
    """What the bytes behind the end of a document are, in words; "" where nobody can say."""
    folded = tail.lower()
    for mark, words in (*TAILS, *ANYWHERE):
        if mark in tail or mark in folded:
            return words
    return "a program" if tail.lstrip()[:2] == b"MZ" else ""


def _jpeg(data: bytes) -> Header:
    at, size = 2, (0, 0)
    while at < len(data) - 1:
        if data[at] != 0xFF:
            raise DamagedError("its parts do not follow each other")
        marker = data[at + 1]
        if marker == 0xFF:  # fill byte
            at += 1
            continue
        if marker == 0xD9:
            return Header(*_seen(size), at + 2)
        if marker == 0x01 or 0xD0 <= marker <= 0xD8:
            at += 2
            continue
        (length,) = struct.unpack_from(">H", data, at + 2)
        if length < 2:
            raise DamagedError("one of its parts has no length")
        if 0xC0 <= marker <= 0xCF and marker not in NO_SIZE and size == (0, 0):
            height, width = struct.unpack_from(">HH", data, at + 5)
            size = (width, height)
        at += 2 + length
        if marker == 0xDA:
            at = _after_scan(data, at)
    return Header(*_seen(size), len(data))


def _after_scan(data: bytes, at: int) -> int:
    """The next marker that is no restart and no stuffed byte; the end of the data where there is none."""
    while True:
        at = data.find(b"\xff", at)
        if at < 0 or at + 1 >= len(data):
            return len(data)
        if data[at + 1] == 0xFF:
            at += 1
        elif data[at + 1] == 0 or 0xD0 <= data[at + 1] <= 0xD7:
            at += 2
        else:
            return at


def _seen(size: tuple[int, int]) -> tuple[int, int]:
    if size == (0, 0):
        raise DamagedError("it does not say how large it is")
    return size


def _png(data: bytes) -> Header:
    if data[12:16] != b"IHDR":
        raise DamagedError("it does not say how large it is")
    width, height = struct.unpack_from(">II", data, 16)
    at = 8
    while at + 8 <= len(data):
        (length,) = struct.unpack_from(">I", data, at)
        name = data[at + 4 : at + 8]
        at += 12 + length
        # The decoder does not look at the checksums of what the picture needs (capital first letter); a damaged note
        # is dropped with the others.
        if name[0] & 0x20 == 0 and at <= len(data) and _wrong_sum(data, at - length - 8, at - 4):
            raise DamagedError("a checksum in it does not fit")
        if name == b"IEND":
            return Header(width, height, min(at, len(data)))
    return Header(width, height, len(data))


def _wrong_sum(data: bytes, start: int, end: int) -> bool:
    (said,) = struct.unpack_from(">I", data, end)
    return bool(zlib.crc32(memoryview(data)[start:end]) != said)


def _webp(data: bytes) -> Header:
    (length,) = struct.unpack_from("<I", data, 4)
    name, end = data[12:16], min(8 + length + length % 2, len(data))
    if name == b"VP8X":
        low_w, high_w, low_h, high_h = struct.unpack_from("<HBHB", data, 24)
        return Header(1 + low_w + (high_w << 16), 1 + low_h + (high_h << 16), end)
    if name == b"VP8L":
        (bits,) = struct.unpack_from("<I", data, 21)
        return Header(1 + (bits & 0x3FFF), 1 + (bits >> 14 & 0x3FFF), end)
    if name == b"VP8 ":
        width, height = struct.unpack_from("<HH", data, 26)
        return Header(width & 0x3FFF, height & 0x3FFF, end)
    raise DamagedError("it does not say how large it is")
