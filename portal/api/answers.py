"""Which answers an operation may give, for the document."""

from __future__ import annotations

from typing import Any

from . import shapes


def reads(shape: Any, *, of_one: bool = False) -> dict[int, Any]:
    """The answers of a read; `of_one`: it may not be there."""
    codes = (400, 401, 403, *((404,) if of_one else ()), 422, 429)
    return {200: shape} | dict.fromkeys(codes, shapes.Problem)


def deeds(shape: Any = shapes.Made) -> dict[int, Any]:
    """The answers of a deed."""
    return {201: shape} | dict.fromkeys((400, 401, 403, 404, 409, 413, 422, 429), shapes.Problem)
