"""The monthly letter as one page of A4, made by typst. Texts go in as data and are never read as markup."""

from __future__ import annotations

import json
import shutil
import tempfile
from datetime import UTC, datetime, time
from pathlib import Path
from typing import Final

from lifecycle.monthly.letter import Letter, codec

SOURCE: Final = Path(__file__).with_name("letter.typ")
# Tagged for readers of screens; without it where a text holds a character that no font on this machine has.
STANDARDS: Final = ("ua-1", "1.7")


def make_pdf(letter: Letter) -> bytes:
    """The PDF of a letter; the same letter gives the same bytes."""
    import typst  # only whoever makes a letter pays for it

    with tempfile.TemporaryDirectory(prefix="sheenward-letter-") as name:
        folder = Path(name)
        shutil.copyfile(SOURCE, folder / SOURCE.name)
        (folder / "data.json").write_text(json.dumps(codec().dump_python(letter, mode="json"), ensure_ascii=False))
        stamp = int(datetime.combine(letter.month, time(), UTC).timestamp())
        for standard in STANDARDS:
            try:
                made: bytes = typst.compile(
                    str(folder / SOURCE.name), root=str(folder), format="pdf", pdf_standards=[standard], timestamp=stamp
                )
            except typst.TypstError:
                if standard == STANDARDS[-1]:
                    raise
            else:
                return made
    raise AssertionError("unreachable: the last standard returns or raises")
