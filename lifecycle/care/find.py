"""Find a row of one studio or answer that it is not here."""

from __future__ import annotations

from datetime import date
from typing import Any, TypeVar

from django.db import models

from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.models import Studio

EARLIEST, LATEST = date(1950, 1, 1), date(2100, 1, 1)

Row = TypeVar("Row", bound=models.Model)


def one(model: type[Row], studio: Studio, pk: Any, *, lock: bool = False) -> Row:
    """The row with this key in this studio.

    Raises:
        NotFoundHere: it does not exist here, whether or not another studio has it.
    """
    rows = model._default_manager.filter(studio=studio, pk=pk)
    if lock:
        rows = rows.select_for_update()
    row = rows.first()
    if row is None:
        raise NotFoundHere(f"There is no {model._meta.verbose_name} {pk} in this studio.")
    return row


def plausible_day(field: str, day: date | None) -> None:
    """Refuse a day that is surely a slip of the keyboard; nothing after it could be reckoned from it.

    Raises:
        DomainError: names the field and the bounds.
    """
    if day is not None and not EARLIEST <= day <= LATEST:
        raise DomainError(f"{field}: {day} is not between {EARLIEST} and {LATEST}.", field=field)
