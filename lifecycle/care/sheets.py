"""From a product row to the data-sheet windows that the rules take."""

from __future__ import annotations

from dataclasses import fields

from lifecycle.care.stack_rules import NO_SHEET, Sheet
from lifecycle.models import Product


def sheet_of(product: Product | None) -> Sheet:
    """The data-sheet windows of a product; an empty sheet for none."""
    if product is None:
        return NO_SHEET
    told = {field.name: getattr(product, field.name) for field in fields(Sheet)}
    return Sheet(**{**told, "allowed_over": tuple(product.allowed_over)})


ISOCYANATES = "Contains isocyanates: sprayed only by trained people with supplied air; nobody sensitised comes near."
SOLVENTS = "Contains solvents: fresh air, no flame, spark or hot lamp; rags dry spread out, outdoors."


def caution_of(product: Product) -> str:
    """What stands beside a product when it is used: what it contains, then the studio's own words."""
    told = (ISOCYANATES if product.isocyanates else "", SOLVENTS if product.solvents else "", product.caution)
    return " ".join(text for text in told if text)
