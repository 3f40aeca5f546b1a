"""Film values from the text that a gauge writes: comma, semicolon or tab, decimal comma, units in a row, a column or
beside the value. Pure, no Django.

Nothing is guessed silently: what each column was taken for is returned, can be overruled, and a value that cannot be
read is named with its line, column and how to mend it. The text is foreign; it is never trusted, only quoted.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from lifecycle.care.typed import number, shown, to_um

DELIMITERS: Final = {"semicolon": ";", "tab": "\t", "comma": ",", "none": "\x1f"}
ROLES: Final = ("panel", "spot", "value", "unit", "skip")
MOST_CHARS: Final = 400_000
MOST_LINES: Final = 2_000
MOST_COLUMNS: Final = 60
MOST_LINE: Final = 4_000
UNIT_WORDS: Final = {
    "um": "um", "µm": "um", "μm": "um", "micron": "um", "microns": "um", "micrometer": "um", "micrometre": "um",
    "my": "um", "mil": "mil", "mils": "mil", "thou": "mil",
}  # fmt: skip
# Words of a heading, in lower case; the first role with a fitting word holds.
HEADINGS: Final = (
    (
        "skip",
        re.compile(r"date|time|serial|batch|job|operator|probe|mode|type|substrate|base|note|comment|limit|status"),
    ),
    ("panel", re.compile(r"panel|surface|part|location|area|name|label|component|place")),
    ("unit", re.compile(r"^units?$")),
    ("value", re.compile(r"thick|value|dft|film|coating|result|measure|µm|μm|\bum\b|\bmils?\b|micron")),
    ("spot", re.compile(r"spot|point|position|^no\.?$|^nr\.?$|^n$|^#$|index|number|reading|count|^id$")),
)
NUMBER: Final = re.compile(r"[-−]?\d+(?:[.,]\d+)*")
WITH_UNIT: Final = re.compile(r"\s*([-−]?[\d.,]+)\s*([^\d\s.,;\-][^\d]*)\s*")
NUMBERED: Final = re.compile(r"\D{0,12}?\d{1,2}\D{0,6}")
SPOT: Final = re.compile(r"\D{0,12}?(\d{1,3})")


class GaugeCsvError(ValueError):
    """The whole text cannot be read; says why and how to mend it."""


@dataclass(frozen=True, slots=True)
class CsvColumn:
    """A column (from 1), its heading, and what it was taken for (see ROLES)."""

    number: int
    title: str
    role: str


@dataclass(frozen=True, slots=True)
class CsvValue:
    """One value. `value` is in `unit` (um, mil) as `typed`; `spot` is None where the text does not tell."""

    line: int
    panel: str
    spot: int | None
    typed: str
    value: float
    unit: str

    @property
    def um(self) -> float:
        """The value in µm."""
        return to_um(self.value, self.unit)


@dataclass(frozen=True, slots=True)
class CsvTrouble:
    """A value that could not be read: line (from 1), column heading, the text, what is wrong and how to mend it."""

    line: int
    column: str
    text: str
    says: str


@dataclass(frozen=True, slots=True)
class CsvRead:
    """What a text would be read as. `left_out`: lines before the table and headings, by number."""

    delimiter: str
    columns: tuple[CsvColumn, ...]
    values: tuple[CsvValue, ...]
    troubles: tuple[CsvTrouble, ...]
    left_out: tuple[int, ...]

    @property
    def panels(self) -> tuple[str, ...]:
        """The panel names in the order in which they first stand; "" where the text names none."""
        return tuple(dict.fromkeys(value.panel for value in self.values))

    def spots_of(self, panel: str) -> dict[int, list[CsvValue]]:
        """The values of a panel by spot; a value without a spot is the next spot of its own."""
        found: dict[int, list[CsvValue]] = {}
        for value in self.values:
            if value.panel == panel:
                found.setdefault(value.spot if value.spot is not None else len(found) + 1, []).append(value)
        return dict(sorted(found.items()))


@dataclass(frozen=True, slots=True)
class _Line:
    number: int
    cells: tuple[str, ...]


def _lines(text: str) -> list[tuple[int, str]]:
    if len(text) > MOST_CHARS:
        raise GaugeCsvError(f"The text has {len(text)} characters; {MOST_CHARS} at most. Export fewer readings.")
    if "\x00" in text:
        raise GaugeCsvError("This is no text but some other kind of file. Export the readings as CSV from the gauge.")
    # Only real line ends: a form feed or a Unicode separator inside a name starts no new line.
    rows = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n").split("\n")
    found = [(place, row) for place, row in enumerate(rows, 1) if row.strip(' \t;,"')]
    if not found:
        raise GaugeCsvError("There is no value in it. Paste the readings, one line each.")
    if len(found) > MOST_LINES:
        raise GaugeCsvError(f"{len(found)} lines are too many; {MOST_LINES} at most. Export one vehicle at a time.")
    long = next((place for place, row in found if len(row) > MOST_LINE), None)
    if long is not None:
        raise GaugeCsvError(f"Line {long} is longer than {MOST_LINE} characters: that is no table of readings.")
    return found


def guess_delimiter(rows: Sequence[str]) -> str:
    """The name of the delimiter: the one that parts most lines alike. A lone decimal comma parts nothing."""
    best, most = "none", 0.0
    for name in ("tab", "semicolon", "comma"):
        sign = DELIMITERS[name]
        counts = Counter(row.count(sign) for row in rows)
        times, lines = max(((n, c) for n, c in counts.items() if n), key=lambda pair: pair[1], default=(0, 0))
        if name == "comma" and all(re.fullmatch(r"\s*\d{1,4},\d{1,2}\s*", row) for row in rows if "," in row):
            continue
        if times and lines > most:
            best, most = name, lines
    return best


def _cells(row: str, delimiter: str, line: int) -> tuple[str, ...]:
    try:
        cells = next(csv.reader([row], delimiter=DELIMITERS[delimiter], skipinitialspace=True))
    except (csv.Error, StopIteration) as error:
        raise GaugeCsvError(f"Line {line} cannot be parted into columns: {error}.") from error
    if len(cells) > MOST_COLUMNS:
        raise GaugeCsvError(f"Line {line} has {len(cells)} columns; {MOST_COLUMNS} at most.")
    return tuple(cell.strip() for cell in cells)


def unit_of(text: str) -> str:
    """um or mil where a text is, or holds in brackets, a unit; else ""."""
    plain = text.strip().strip("()[].").lower()
    if plain in UNIT_WORDS:
        return UNIT_WORDS[plain]
    words = re.findall(r"[a-zµμ]+", text.lower())
    return next((UNIT_WORDS[word] for word in words if word in UNIT_WORDS), "") if "\n" not in text else ""


def _numeric(cell: str) -> bool:
    parts = cell.split()
    if parts and all(NUMBER.fullmatch(part) for part in parts):
        return True
    beside = WITH_UNIT.fullmatch(cell)
    return bool(beside and unit_of(beside[2]))


def _table(lines: Sequence[_Line]) -> tuple[list[_Line], list[_Line]]:
    """(lines before the data, data): the data start at the first line with a number and the usual count of columns."""
    with_numbers = [line for line in lines if any(_numeric(cell) for cell in line.cells)]
    if not with_numbers:
        raise GaugeCsvError("No line holds a number. Paste the readings with their values.")
    usual = Counter(len(line.cells) for line in with_numbers).most_common(1)[0][0]
    first = next(place for place, line in enumerate(lines) if line in with_numbers and len(line.cells) == usual)
    return list(lines[:first]), list(lines[first:])


def _kind_of(cells: Sequence[str]) -> str:
    """What a column without a heading looks like: number, unit, empty or text."""
    told = [cell for cell in cells if cell]
    if not told:
        return "empty"
    if sum(_numeric(cell) for cell in told) * 2 >= len(told):
        return "number"
    return "unit" if all(cell.strip("()[].").lower() in UNIT_WORDS for cell in told) else "text"


def _looks_like_spots(cells: Sequence[str]) -> bool:
    told = [cell for cell in cells if cell]
    return (
        bool(told)
        and all(cell.isdecimal() and 1 <= int(cell) <= 99 for cell in told if len(cell) < 4)
        and all(len(cell) < 4 for cell in told)
    )


def guess_roles(titles: Sequence[str], data: Sequence[_Line]) -> list[str]:
    """What each column is, by its heading, else by what stands in it."""
    width = max(len(titles), *(len(line.cells) for line in data))
    columns = [[line.cells[n] if n < len(line.cells) else "" for line in data] for n in range(width)]
    kinds = [_kind_of(column) for column in columns]
    numbered = [n for n, title in enumerate(titles) if NUMBERED.fullmatch(title) and kinds[n] == "number"]
    roles = []
    for n in range(width):
        if len(numbered) > 1 and n in numbered:  # "Spot 1", "Spot 2" …: a column each
            roles.append("value")
            continue
        title = titles[n].lower() if n < len(titles) else ""
        role = next((role for role, words in HEADINGS if title and words.search(title)), "")
        if role == "value" and kinds[n] != "number":
            role = ""
        if role == "spot" and kinds[n] != "number" and not all(SPOT.fullmatch(cell) for cell in columns[n] if cell):
            role = ""
        roles.append(role)
    if "value" not in roles:
        _guess_values(roles, kinds, columns, titles)
    for n, kind in enumerate(kinds):
        if not roles[n]:
            first_text = kind == "text" and "panel" not in roles and len(set(columns[n])) > 0
            roles[n] = "unit" if kind == "unit" and "unit" not in roles else "panel" if first_text else "skip"
    for role in ("panel", "spot", "unit"):  # one of each; the first holds
        places = [n for n, one in enumerate(roles) if one == role]
        for n in places[1:]:
            roles[n] = "skip"
    return roles


def _guess_values(
    roles: list[str], kinds: Sequence[str], columns: Sequence[Sequence[str]], titles: Sequence[str]
) -> None:
    """No heading names the values: every column of numbers is one, but a first one of small whole numbers counts
    spots where others follow."""
    free = [n for n, kind in enumerate(kinds) if kind == "number" and not roles[n]]
    if len(free) > 1 and "spot" not in roles and not any(titles) and _looks_like_spots(columns[free[0]]):
        roles[free[0]] = "spot"
        free = free[1:]
    if not free and "spot" in roles:  # "reading" or "no." over the only column of numbers
        free = [roles.index("spot")]
    for n in free:
        roles[n] = "value"


class _Reader:
    """Reads the data lines once the columns are known."""

    def __init__(self, columns: Sequence[CsvColumn], unit: str) -> None:
        self.columns, self.unit = columns, unit
        self.values: list[CsvValue] = []
        self.troubles: list[CsvTrouble] = []
        self.panel = ""
        self.wide = [column.number for column in columns if column.role == "value"]
        self.units = {column.number: unit_of(column.title) for column in columns}

    def _cell(self, line: _Line, role: str) -> str:
        place = next((column.number for column in self.columns if column.role == role), None)
        return line.cells[place - 1] if place is not None and place <= len(line.cells) else ""

    def read(self, line: _Line) -> None:
        told = self._cell(line, "panel")
        # A gauge that names the panel once leaves the lines below it empty.
        self.panel = told[:60] or self.panel
        spot, wrong = self._spot(line)
        unit_text = self._cell(line, "unit")
        unit = unit_of(unit_text)
        if unit_text and not unit:
            self._trouble(line, "unit", unit_text, "is no unit that is known here; write µm or mil.")
            return
        if wrong:
            return
        for number_ in self.wide:
            text = line.cells[number_ - 1] if number_ <= len(line.cells) else ""
            if text:
                own = spot if spot is not None or len(self.wide) == 1 else self._wide_spot(number_)
                self._value(line, number_, text, own, unit or self.units[number_] or self.unit)
        if not any(len(line.cells) >= place and line.cells[place - 1] for place in self.wide) and self._cell(
            line, "spot"
        ):
            self._trouble(line, "value", "", "no value stands here; add it or take the line out.")

    def _wide_spot(self, column: int) -> int:
        """With one column a spot, the number in its heading, else its place among them."""
        title = next(one.title for one in self.columns if one.number == column)
        found = SPOT.fullmatch(title)
        return int(found[1]) if found and int(found[1]) > 0 else self.wide.index(column) + 1

    def _spot(self, line: _Line) -> tuple[int | None, bool]:
        text = self._cell(line, "spot")
        if not text:
            return None, False
        found = SPOT.fullmatch(text)
        if found is None or not 1 <= int(found[1]) <= 999:
            self._trouble(line, "spot", text, "is no spot number; write 1, 2, 3 …, or skip the column.")
            return None, True
        return int(found[1]), False

    def _value(self, line: _Line, column: int, text: str, spot: int | None, unit: str) -> None:
        beside = WITH_UNIT.fullmatch(text)
        if beside and unit_of(beside[2]):
            text, unit = beside[1], unit_of(beside[2])
        for part in text.split():
            try:
                value = number(part)
            except ValueError as error:
                title = next(one.title or f"column {column}" for one in self.columns if one.number == column)
                says = str(error).removeprefix(shown(part)).strip()
                self.troubles.append(CsvTrouble(line.number, title, part[:60], says))
                return
            self.values.append(CsvValue(line.number, self.panel, spot, part, value, unit))

    def _trouble(self, line: _Line, role: str, text: str, says: str) -> None:
        column = next((one for one in self.columns if one.role == role), None)
        title = (column.title or f"column {column.number}") if column else role
        self.troubles.append(CsvTrouble(line.number, title, text[:60], says))


def _headings(before: Sequence[_Line], width: int) -> tuple[list[str], str]:
    """(headings, unit of a unit row): the last line before the data with words in it, and a line of units below it."""
    titles, unit = [""] * width, ""
    rest = list(before)
    if rest and all(
        unit_of(cell) == UNIT_WORDS.get(cell.strip("()[].").lower(), "-") for cell in rest[-1].cells if cell
    ):
        unit = next(unit_of(cell) for cell in rest[-1].cells if cell)
        rest.pop()
    if rest and (len(rest[-1].cells) > 1 or width == 1):
        titles = [rest[-1].cells[n] if n < len(rest[-1].cells) else "" for n in range(width)]
    return [title[:60] for title in titles], unit


def read_csv(text: str, *, delimiter: str = "", roles: Mapping[int, str] | None = None, unit: str = "um") -> CsvRead:
    """Read the text of a gauge.

    Args:
        delimiter: a name of DELIMITERS; "" guesses.  roles: column number -> one of ROLES, overruling the guess.
        unit: um or mil where the text itself tells none.

    Raises:
        GaugeCsvError: the text as a whole is no table of readings.
    """
    raw = _lines(text)
    name = delimiter if delimiter in DELIMITERS else guess_delimiter([row for _, row in raw])
    lines = [_Line(place, _cells(row, name, place)) for place, row in raw]
    before, data = _table(lines)
    width = max(len(line.cells) for line in data)
    titles, row_unit = _headings(before, width)
    guessed = guess_roles(titles, data)
    wanted = {n: role for n, role in (roles or {}).items() if role in ROLES}
    columns = tuple(
        CsvColumn(n, titles[n - 1] if n <= len(titles) else "", wanted.get(n, guessed[n - 1]))
        for n in range(1, width + 1)
    )
    if not any(column.role == "value" for column in columns):
        raise GaugeCsvError("No column holds the values. Say which one does.")
    reader = _Reader(columns, row_unit or unit)
    for line in data:
        reader.read(line)
    return CsvRead(name, columns, tuple(reader.values), tuple(reader.troubles), tuple(line.number for line in before))


def match_panels(names: Sequence[str], codes: Sequence[str]) -> dict[str, str]:
    """The surface code that each panel name means, where exactly one fits; else "" (somebody has to say)."""

    def words(text: str) -> frozenset[str]:
        return frozenset(re.findall(r"[a-z0-9]+", text.lower())) - {"the", "panel"}

    by_words = {code: words(code) for code in codes}
    found = {}
    for name in names:
        said = words(name)
        same = [code for code, own in by_words.items() if own == said]
        near = [code for code, own in by_words.items() if said and (own <= said or said <= own)]
        found[name] = same[0] if same else near[0] if len(near) == 1 else ""
    return found
