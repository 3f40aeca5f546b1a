"""Figures of the climate sources: `figures.csv`, read by the one loader of marked figures."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from lifecycle.wear.marks import Figure, parameter

FIGURES = Path(__file__).with_name("figures.csv")


@cache
def figure(key: str) -> Figure:
    """The figure with its range, unit, mark and source.

    Raises:
        KeyError: no such key.
    """
    return parameter(key, path=FIGURES)


def climate_value(key: str) -> float:
    """Short for `figure(key).value`."""
    return figure(key).value
