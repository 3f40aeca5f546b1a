"""English left over in a German text: by its little words, which German does not write, and by raw codes."""

from __future__ import annotations

import re
from collections.abc import Iterable

# Words that every English sentence needs and that are no German words ("am", "an", "in", "so", "war" are).
LITTLE = (
    "the", "of", "and", "is", "are", "with", "for", "by", "from", "to", "it", "its", "this", "that", "which", "whole",
    "car", "no", "not", "your", "you", "has", "have", "be", "been", "if", "or", "on", "at", "as", "than", "before",
    "after", "between", "yet", "there", "near", "about", "wash", "coat", "layer", "visit", "clogged", "unknown",
    "reported", "asked", "defaulted", "settled", "tired", "gone", "fresh", "seen",
)  # fmt: skip
ENGLISH = re.compile(rf"\b(?:{'|'.join(LITTLE)})\b", re.IGNORECASE)
# A code of the record or of a rule: "bird_dropping", "window_open".
CODE = re.compile(r"\b[a-z]+(?:_[a-z0-9]+)+\b")
# Addresses are no prose.
APART = re.compile(r"https?://\S+|\S+@\S+")


def english_in(text: str, typed: Iterable[str] = ()) -> list[str]:
    """Little English words and raw codes in a text, but for what people typed and names."""
    for name in sorted(filter(None, typed), key=len, reverse=True):
        text = text.replace(name, " ")
    text = APART.sub(" ", text)
    return [*ENGLISH.findall(text), *CODE.findall(text)]
