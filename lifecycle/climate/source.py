"""What every climate source looks like to the rest of the program."""

from __future__ import annotations

from typing import Protocol

from lifecycle.wear.types import ClimateYear, Place


class ClimateSource(Protocol):
    """A place in, twelve months out. `name` is what people read beside the figures; `online`: asks the net."""

    name: str
    online: bool

    def climate(self, place: Place) -> ClimateYear:
        """The climate at `place`.

        Raises:
            lifecycle.climate.source.ClimateError: the source cannot answer; the message says why and what to do.
        """
        ...


class ClimateError(ValueError):
    """A climate cannot be had; the message says what is wrong, where, and how to mend it."""
