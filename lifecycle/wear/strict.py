"""A strict reader for JSON: every field is asked for by name, nothing else may stand there, every error names its
path."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from datetime import date
from typing import Any

EARLIEST, LATEST = date(1950, 1, 1), date(2100, 12, 31)
LONGEST_TEXT = 200
LONGEST_LIST = 2000
MISSING = object()


class ScenarioError(ValueError):
    """A field is wrong: `path` says which (like `habits[0].parking`, "" for the whole file), `message` what and how to
    mend it."""

    def __init__(self, path: str, message: str) -> None:
        self.path, self.message = path, " ".join(message.split())
        super().__init__(f"{path}: {self.message}" if path else self.message)


def shown(value: object) -> str:
    """A wrong value, short enough for one line."""
    text = repr(value)
    return text if len(text) <= 60 else f"{text[:57]}..."


class Fields:
    """One JSON object. Ask for every field, then call `done()`.

    Optional fields that are missing get their default and are named in `assumed` as "path: default".
    """

    def __init__(self, value: object, path: str, assumed: list[str]) -> None:
        if not isinstance(value, dict):
            raise ScenarioError(path, f"is {shown(value)}; write an object in braces.")
        self.value: dict[str, Any] = value
        self.path = path
        self.assumed = assumed
        self.asked: list[str] = []

    def at(self, name: str) -> str:
        """Path of a field."""
        return f"{self.path}.{name}" if self.path else name

    def given(self, name: str) -> bool:
        """Whether a field stands in the file and is not null."""
        self.asked.append(name)
        return self.value.get(name) is not None

    def assume(self, name: str, default: object) -> None:
        """Name a field that nobody gave."""
        self.assumed.append(f"{self.at(name)}: {default}")

    def _take(self, name: str, default: object, *, quiet: bool = False) -> Any:
        self.asked.append(name)
        value = self.value.get(name, MISSING)
        if value is not MISSING and value is not None:
            return value
        if default is MISSING:
            verb = "is missing" if value is MISSING else "is null"
            raise ScenarioError(self.at(name), f"{verb}; it is needed.")
        if not quiet:
            self.assume(name, "not given" if default is None else default)
        return MISSING

    def done(self) -> None:
        """Refuse what nobody asked for.

        Raises:
            ScenarioError: an unknown field, by its path.
        """
        for name in self.value:
            if name not in self.asked:
                known = ", ".join(sorted(set(self.asked)))
                path = self.at(name if len(name) <= LONGEST_TEXT else f"{name[:40]}...")
                raise ScenarioError(path, f"is no field of this file; known here: {known}.")

    def text(self, name: str, *, default: Any = MISSING, quiet: bool = False) -> Any:
        """A text that is not empty."""
        value = self._take(name, default, quiet=quiet)
        if value is MISSING:
            return default
        if not isinstance(value, str) or not value.strip():
            raise ScenarioError(self.at(name), f"is {shown(value)}; write a text in quotes.")
        if len(value) > LONGEST_TEXT or not value.isprintable():
            raise ScenarioError(self.at(name), f"is {shown(value)}; write at most {LONGEST_TEXT} printable characters.")
        return value

    def choice(self, name: str, allowed: Sequence[str], *, default: Any = MISSING) -> str:
        """One of the allowed words."""
        value = self._take(name, default)
        if value is MISSING:
            return str(default)
        if not isinstance(value, str) or value not in allowed:
            raise ScenarioError(self.at(name), f"is {shown(value)}; use one of {', '.join(allowed)}.")
        return value

    def number(
        self, name: str, *, low: float, high: float, default: Any = MISSING, quiet: bool = False, unit: str = ""
    ) -> Any:
        """A finite number from `low` to `high`."""
        value = self._take(name, default, quiet=quiet)
        return default if value is MISSING else number_at(self.at(name), value, low=low, high=high, unit=unit)

    def whole(self, name: str, *, low: int, high: int, default: Any = MISSING, quiet: bool = False) -> Any:
        """A whole number from `low` to `high`."""
        value = self._take(name, default, quiet=quiet)
        if value is MISSING:
            return default
        number = number_at(self.at(name), value, low=low, high=high)
        if number != int(number):
            raise ScenarioError(self.at(name), f"is {shown(value)}; write a whole number from {low} to {high}.")
        return int(number)

    def flag(self, name: str) -> bool | None:
        """true or false; None where missing (not named as assumed)."""
        value = self._take(name, None, quiet=True)
        if value is MISSING:
            return None
        if not isinstance(value, bool):
            raise ScenarioError(self.at(name), f"is {shown(value)}; write true or false.")
        return value

    def day(self, name: str, *, default: Any = MISSING, quiet: bool = True) -> Any:
        """A date written as YYYY-MM-DD."""
        value = self._take(name, default, quiet=quiet)
        if value is MISSING:
            return default
        try:
            if not isinstance(value, str) or len(value) != len("2026-03-01"):
                raise ValueError
            day = date.fromisoformat(value)
        except ValueError:
            raise ScenarioError(self.at(name), f"is {shown(value)}; write a date that exists, as YYYY-MM-DD.") from None
        if not EARLIEST <= day <= LATEST:
            raise ScenarioError(self.at(name), f"is {value}; write a day from {EARLIEST} to {LATEST}.")
        return day

    def objects(self, name: str, *, default: Any = MISSING) -> list[Fields]:
        """A list of objects. A missing one with a default is empty and named as assumed."""
        value = self._take(name, default)
        if value is MISSING:
            return []
        if not isinstance(value, list):
            raise ScenarioError(self.at(name), f"is {shown(value)}; write a list in square brackets.")
        if len(value) > LONGEST_LIST:
            raise ScenarioError(self.at(name), f"has {len(value)} entries; write at most {LONGEST_LIST}.")
        return [Fields(item, f"{self.at(name)}[{index}]", self.assumed) for index, item in enumerate(value)]

    def numbers(self, name: str, *, low: float, high: float) -> tuple[float, ...]:
        """A list of numbers, not empty."""
        value = self._take(name, MISSING)
        if not isinstance(value, list) or not 0 < len(value) <= LONGEST_LIST:
            raise ScenarioError(self.at(name), f"is {shown(value)}; write a list of numbers in square brackets.")
        path = self.at(name)
        return tuple(number_at(f"{path}[{index}]", item, low=low, high=high) for index, item in enumerate(value))

    def inner(self, name: str) -> Fields:
        """An object that must be there."""
        return Fields(self._take(name, MISSING), self.at(name), self.assumed)


def number_at(path: str, value: object, *, low: float, high: float, unit: str = "") -> float:
    """A finite number in its bounds.

    Raises:
        ScenarioError: not a number (true and false are none), not finite, out of bounds.
    """
    span = f"a number from {low:g} to {high:g}{f' {unit}' if unit else ''}"
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise ScenarioError(path, f"is {shown(value)}; write {span}.")
    try:
        number = float(value)
    except OverflowError:
        raise ScenarioError(path, f"is beyond every bound; write {span}.") from None
    if not math.isfinite(number) or not low <= number <= high:
        raise ScenarioError(path, f"is {shown(value)}; write {span}.")
    return number


def _no_duplicates(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found: dict[str, object] = {}
    for name, value in pairs:
        if name in found:
            raise ScenarioError(name[:LONGEST_TEXT], "stands twice in one object; keep one.")
        found[name] = value
    return found


def _no_constant(name: str) -> object:
    raise ScenarioError("", f"The file holds {name}; write finite numbers only.")


def load_json(text: str) -> object:
    """JSON without duplicate keys and without NaN or Infinity.

    Raises:
        ScenarioError: not such JSON, with line and column.
    """
    try:
        return json.loads(text, object_pairs_hook=_no_duplicates, parse_constant=_no_constant)
    except ScenarioError:
        raise
    except json.JSONDecodeError as error:
        raise ScenarioError(
            "", f"The file is no JSON: {error.msg} at line {error.lineno}, column {error.colno}."
        ) from None
    except RecursionError:
        raise ScenarioError("", "The file is nested too deeply; a scenario has five levels.") from None
    except ValueError as error:
        raise ScenarioError("", f"The file holds a number that cannot be read: {error}.") from None
