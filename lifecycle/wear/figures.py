"""Figures of the clock, evidence, clogging, clear coat and etching: `tables/wear.csv`, read by the one loader."""

from __future__ import annotations

from functools import cache

from lifecycle.wear.marks import TABLES, Figure, parameter

WEAR = TABLES / "wear.csv"


@cache
def figure(key: str) -> Figure:
    """The figure with its range, mark and source.

    Raises:
        KeyError: no such key.
    """
    return parameter(key, path=WEAR)


def wear_value(key: str) -> float:
    """Short for `figure(key).value`."""
    return figure(key).value
