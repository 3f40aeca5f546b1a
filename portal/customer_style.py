"""The style of the customers' pages, as it stands inside each of them.

A keeper opens these pages twice a year on a phone, so nothing is kept from the last time, and a style sheet of its own
would cost a round trip more before anything is seen: with 300 ms there and back the first paint came half a second
later. The content security policy stays strict: it names the SHA-256 of this one text (CSP level 3, hash sources) and
no other.
"""

from __future__ import annotations

import re
from base64 import b64encode
from hashlib import sha256
from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).resolve().parent / "static" / "css"
SHEETS: Final = ("sheenward.css", "drawings.css", "customer.css")


def shortened(css: str) -> str:
    """The same rules without comments and needless white space."""
    bare = re.sub(r"\s+", " ", re.sub(r"/\*.*?\*/", " ", css, flags=re.DOTALL))
    return re.sub(r" ?([{};,]) ?", r"\1", bare).strip()


STYLE: Final = "".join(shortened((FOLDER / name).read_text(encoding="utf-8")) for name in SHEETS)
SOURCE: Final = f"'sha256-{b64encode(sha256(STYLE.encode()).digest()).decode()}'"
