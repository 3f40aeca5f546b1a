"""Which characters the bytes of a text file mean. Pure, no Django.

UTF-8 and marked UTF-16 are certain. Everything older is not: the candidates that read the bytes differently are shown
beside each other, and a person says which one is right.
"""

from __future__ import annotations

import codecs
import re
import unicodedata
from dataclasses import dataclass
from typing import Final

from .refusal import FileRefused

# Single-byte encodings that exports of office programs come in.
CANDIDATES: Final = {
    "cp1252": "Western European, Windows",
    "iso8859_15": "Western European, ISO 8859-15",
    "cp1250": "Central European, Windows",
    "cp1251": "Cyrillic, Windows",
    "mac_roman": "Western European, old Macintosh",
    "cp850": "Western European, DOS",
}
MARKS: Final = ((codecs.BOM_UTF8, "utf-8-sig"), (codecs.BOM_UTF16_LE, "utf-16"), (codecs.BOM_UTF16_BE, "utf-16"))
NAMES: Final = {"utf-8": "UTF-8", "utf-8-sig": "UTF-8", "utf-16": "UTF-16", **CANDIDATES}
PIECES: Final = re.compile(rb"[;,\t|\"\r\n]+")
HIGH: Final = re.compile(rb"[\x80-\xff]")
SAMPLES: Final = 4


@dataclass(frozen=True, slots=True)
class Option:
    """One way to read it, with samples read that way."""

    value: str
    label: str
    samples: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Question:
    """What the file itself does not tell. `name` is a key of the answers."""

    name: str
    says: str
    options: tuple[Option, ...]


def _readable(text: str) -> bool:
    return all(unicodedata.category(char) not in ("Cc", "Cn", "Co", "Cs") for char in text)


def _mixed(data: bytes) -> tuple[int, int] | None:
    """(a line that is UTF-8, a line that is not), where the file has both."""
    good = bad = 0
    for number, line in enumerate(data.split(b"\n"), 1):
        if not HIGH.search(line):
            continue
        try:
            line.decode("utf-8")
            good = good or number
        except UnicodeDecodeError:
            bad = bad or number
        if good and bad:
            return good, bad
    return None


def _pieces(data: bytes) -> list[bytes]:
    found: list[bytes] = []
    for piece in PIECES.split(data[:2_000_000]):
        if HIGH.search(piece) and piece.strip() not in found:
            found.append(piece.strip()[:60])
        if len(found) == SAMPLES:
            break
    return found


def _most_likely(data: bytes) -> str:
    from charset_normalizer import from_bytes

    high = [line for line in data[:2_000_000].split(b"\n") if HIGH.search(line)]
    best = from_bytes(b"\n".join(high)[:20_000]).best()
    return best.encoding if best is not None else ""


def _options(data: bytes) -> list[Option]:
    """Candidates that read every byte as a character, those that read alike as one; the likeliest first."""
    high = bytes(sorted({byte for byte in data if byte >= 0x80}))
    first = _most_likely(data)
    order = sorted(CANDIDATES, key=lambda name: name != first)
    seen: dict[str, Option] = {}
    pieces = _pieces(data)
    for name in order:
        try:
            read = high.decode(name)
        except UnicodeDecodeError:
            continue
        if _readable(read) and read not in seen:
            seen[read] = Option(name, CANDIDATES[name], tuple(piece.decode(name) for piece in pieces))
    return list(seen.values())


def encoding_of(data: bytes) -> tuple[str, Question | None]:
    """The encoding where the bytes leave no doubt (else the likeliest), and the question where they do.

    Raises:
        FileRefused: no text, two encodings in one file, or none that reads it.
    """
    for mark, name in MARKS:
        if data.startswith(mark):
            return name, None
    place = data.find(b"\x00")
    if place >= 0:
        line = data.count(b"\n", 0, place) + 1
        raise FileRefused(
            f"Line {line} holds a zero byte, so this is no plain text. Save the list as CSV (UTF-8) or as XLSX."
        )
    try:
        data.decode("utf-8")
        return "utf-8", None
    except UnicodeDecodeError:
        pass
    both = _mixed(data)
    if both is not None:
        raise FileRefused(
            f"Two encodings are mixed: line {both[0]} is UTF-8, line {both[1]} is not. Save the whole list once more "
            "as CSV (UTF-8) from the program it comes from."
        )
    options = _options(data)
    if not options:
        raise FileRefused("The characters of this file cannot be read. Save the list as CSV (UTF-8) or as XLSX.")
    if len(options) == 1:
        return options[0].value, None
    return options[0].value, Question("encoding", "Which line shows the letters as they should be?", tuple(options))


def text_of(data: bytes, encoding: str) -> str:
    """The text of a file.

    Raises:
        FileRefused: its bytes are not of that encoding.
    """
    if encoding not in NAMES:
        raise FileRefused("The encoding is not known.")
    try:
        text = data.decode(encoding)
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise FileRefused(f"Line {line} is not {NAMES[encoding]}. Save the list as CSV (UTF-8).") from error
    place = text.find("\x00")
    if place >= 0:
        raise FileRefused(
            f"Line {text.count(chr(10), 0, place) + 1} holds a zero character. Take it out, or save anew."
        )
    return text
