"""Catalogues of languages: from a .po file as people keep it to the .mo file that gettext reads, in plain Python.

The .mo files are committed, so that an installation needs no gettext tools; `manage.py compilewords` writes them and a
test holds the two together. Format: GNU gettext manual, "The Format of GNU MO Files".
"""

from __future__ import annotations

import ast
import struct
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Final

MAGIC: Final = 0x950412DE
WORDS: Final = ("msgctxt", "msgid_plural", "msgid", "msgstr")


class CatalogueError(ValueError):
    """A .po file cannot be read; says the file, the line and what to mend."""


def _blocks(path: Path) -> Iterator[list[tuple[int, str]]]:
    block: list[tuple[int, str]] = []
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), start=1):
        if line.strip():
            block.append((number, line.strip()))
        elif block:
            yield block
            block = []
    if block:
        yield block


def _fields(block: list[tuple[int, str]], path: Path) -> dict[str, str]:
    """The texts of one entry by keyword (msgid, msgstr, msgstr[0] …)."""
    found: dict[str, str] = {}
    name = ""
    for number, line in block:
        text = line
        if line.startswith("#"):
            continue
        if not line.startswith('"'):
            name, _, text = line.partition(" ")
            if name.partition("[")[0] not in WORDS or name in found:
                raise CatalogueError(f"{path}, line {number}: {name!r} is out of place; put an empty line before it.")
            found[name] = ""
        try:
            found[name] += str(ast.literal_eval(text))
        except (SyntaxError, ValueError, KeyError) as error:
            raise CatalogueError(f'{path}, line {number}: not a text; write it in "double quotes".') from error
    return found


def read_po(path: Path, *, untranslated: bool = False) -> Mapping[str, str]:
    """The entries of a .po file as the .mo file holds them; fuzzy and obsolete ones are left out.

    Args:
        untranslated: keep entries without a translation too.

    Raises:
        CatalogueError: the file is damaged.
    """
    entries: dict[str, str] = {}
    for block in _blocks(path):
        if any(line.startswith("#,") and "fuzzy" in line for _, line in block):
            continue
        fields = _fields(block, path)
        if "msgid" not in fields:
            continue
        key = fields["msgid"]
        if "msgctxt" in fields:
            key = f"{fields['msgctxt']}\x04{key}"
        texts = [text for name, text in fields.items() if name.startswith("msgstr")]
        if "msgid_plural" in fields:
            key = f"{key}\0{fields['msgid_plural']}"
        if key in entries:
            raise CatalogueError(f"{path}, line {block[0][0]}: {fields['msgid']!r} stands here twice; keep one.")
        if untranslated or (texts and all(texts)):
            entries[key] = "\0".join(texts)
    return entries


def to_mo(entries: Mapping[str, str]) -> bytes:
    """The bytes of a .mo file: a header, two tables of lengths and places, then the texts, sorted by msgid."""
    pairs = sorted((key.encode(), text.encode()) for key, text in entries.items())
    ids = b"".join(key + b"\0" for key, _ in pairs)
    start = 7 * 4 + 16 * len(pairs)
    tables: list[int] = []
    at = start
    for texts in ([key for key, _ in pairs], [text for _, text in pairs]):
        for text in texts:
            tables += [len(text), at]
            at += len(text) + 1
    head = struct.pack("<7I", MAGIC, 0, len(pairs), 7 * 4, 7 * 4 + 8 * len(pairs), 0, start)
    return head + struct.pack(f"<{len(tables)}I", *tables) + ids + b"".join(text + b"\0" for _, text in pairs)


def catalogues(root: Path) -> tuple[Path, ...]:
    """The .po files of this installation's own code, below `root`."""
    return tuple(sorted(path for app in ("lifecycle", "portal") for path in root.glob(f"{app}/locale/*/*/*.po")))
