"""The canonical form of a sealed report, and its digests.

Form 1 is JSON after RFC 8785 (JSON Canonicalization Scheme) without fractional numbers: members sorted by the UTF-16
code units of their names, no white space, shortest escapes, UTF-8. Integers lie within ±(2^53 - 1) (RFC 7493, 2.2);
every measured value is a string with a fixed number of decimals, so that no platform's way of writing floats matters.
Texts stand as they were typed, without Unicode normalisation (RFC 8785, 3.1).

    digest     = SHA-256 (canonical form, line feed, digest of the studio's report before), in hex
    commitment = SHA-256 (salt, line feed, canonical form of name, plate and strokes), in hex

A canonical form holds no raw line feed, so neither can be read in two ways.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from decimal import Decimal
from typing import Any, Final

FORM: Final = 1
LARGEST: Final = 2**53 - 1


def canonical(value: Any) -> str:
    """The canonical form of a value made of None, bool, int, str, list, tuple and mappings with str keys.

    Raises:
        TypeError: anything else, floats among them.
        ValueError: an integer beyond ±(2^53 - 1), or a text that is not valid Unicode.
    """
    text = json.dumps(_sorted(value), ensure_ascii=False, separators=(",", ":"), allow_nan=False)
    try:
        text.encode()
    except UnicodeEncodeError as error:
        raise ValueError("a text holds half a character (a lone surrogate); it cannot be sealed.") from error
    return text


def _sorted(value: Any) -> Any:
    if value is None or isinstance(value, bool | str):
        return value
    if isinstance(value, int):
        if abs(value) > LARGEST:
            raise ValueError(f"{value} is beyond ±(2^53 - 1); seal it as a text.")
        return int(value)
    if isinstance(value, list | tuple):
        return [_sorted(one) for one in value]
    if isinstance(value, Mapping):
        if not all(isinstance(name, str) for name in value):
            raise TypeError("names of members must be texts.")
        return {name: _sorted(value[name]) for name in sorted(value, key=_utf16)}
    raise TypeError(f"{type(value).__name__} has no canonical form here; seal numbers with decimals as fixed texts.")


def _utf16(name: str) -> bytes:
    return name.encode("utf-16-be", "surrogatepass")


def fixed(value: float | None, decimals: int) -> str | None:
    """A measured value as text with a fixed number of decimals, half to even; None stays None.

    Raises:
        ValueError: not a finite number.
    """
    if value is None:
        return None
    exact = Decimal(repr(float(value)))
    if not exact.is_finite():
        raise ValueError(f"{value} is no finite number; it cannot be sealed.")
    text = f"{exact:.{decimals}f}"
    return text[1:] if text.startswith("-") and not text.strip("-0.") else text


def digest(content: str, previous: str) -> str:
    """SHA-256 in hex over a canonical form and the digest before it ("" for the first of a studio)."""
    return hashlib.sha256(f"{content}\n{previous}".encode()).hexdigest()


def commitment(*, salt: str, name: str, plate: str, strokes: Any) -> str:
    """The salted SHA-256 by which a report seals the person's data without holding them."""
    said = canonical({"name": name, "plate": plate, "strokes": strokes})
    return hashlib.sha256(f"{salt}\n{said}".encode()).hexdigest()
