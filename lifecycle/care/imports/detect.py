"""How a file is to be read: found where the file itself tells, asked where it does not. Pure, no Django.

The answers (`how`) are kept by name: encoding, delimiter, sheet, header (the line of the headings, 0 for none), decimal
(comma or point) and dates (dmy or mdy).
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import islice
from typing import Final

from . import cells
from .columns import plain_heading
from .encodings import NAMES, Option, Question, encoding_of, text_of
from .fields import FIELDS
from .refusal import FileRefused
from .table import DELIMITER_WORDS, DELIMITERS, Line, lines_of, shown_cell
from .workbook import check_workbook, is_workbook, refuse_old, sheets_of

SEEN_ROWS: Final = 2_000  # what decimals and dates are judged by
HEAD_ROWS: Final = 40
SAMPLE_ROWS: Final = 5
ALIKE: Final = 0.9  # share of rows of one width that makes a delimiter plausible
LOOKS_LIKE_DATA: Final = re.compile(r"@|^[-+]?[\d.,/ :-]+$")
COMMA_SURE: Final = re.compile(r"\d,\d{1,2}$|\d,\d{4,}$|\d\.\d{3},\d|\.\d{3}\.")
POINT_SURE: Final = re.compile(r"\d\.\d{1,2}$|\d\.\d{4,}$|\d,\d{3}\.\d|,\d{3},")
EITHER: Final = re.compile(r"\d[.,]\d{3}$")


@dataclass(frozen=True, slots=True)
class Look:
    """What a file looks like when it is read as `how` says.

    Attributes:
        how: the answers, with those that the file tells by itself.  questions: what is still open; nothing can be read
            until a person has answered.
        headings: by column; sample: the first rows below them, for people.
    """

    how: dict[str, str]
    questions: tuple[Question, ...]
    headings: tuple[str, ...]
    sample: tuple[tuple[str, ...], ...]


def _delimiters(text: str) -> dict[str, list[Line]]:
    """The delimiters that part the first lines evenly, with these lines. Lines before the table, which none of them
    parts, do not count."""
    parted: dict[str, list[Line]] = {}
    for name in ("semicolon", "tab", "comma", "bar"):
        if DELIMITERS[name] in text[:400_000] and (rows := _first_lines(text, name, HEAD_ROWS)):
            parted[name] = rows
    titles = min((_leading_single(rows) for rows in parted.values()), default=0)
    return {name: rows for name, rows in parted.items() if _even(rows[titles:])}


def _leading_single(rows: Sequence[Line]) -> int:
    return next((n for n, row in enumerate(rows) if len(row.cells) > 1), len(rows))


def _even(rows: Sequence[Line]) -> bool:
    """Whether most rows have as many columns as the first one, and more than one."""
    width = len(rows[0].cells) if rows else 0
    return width > 1 and sum(1 for row in rows if len(row.cells) == width) >= ALIKE * len(rows)


def _delimiter(text: str, said: str) -> tuple[str, Question | None]:
    if said in DELIMITERS:
        return said, None
    found = _delimiters(text)
    if len(found) == 1:
        return next(iter(found)), None
    if not found:
        signs = [name for name in ("semicolon", "tab", "comma", "bar") if DELIMITERS[name] in text[:400_000]]
        if not signs:
            return "none", None
        found = {name: _first_lines(text, name, 3) for name in [*signs, "none"]}
    options = tuple(
        Option(name, DELIMITER_WORDS[name], tuple(" | ".join(shown_cell(c) for c in row.cells) for row in rows[:3]))
        for name, rows in found.items()
    )
    return options[0].value, Question("delimiter", "What parts the columns?", options)


def _first_lines(text: str, name: str, most: int) -> list[Line]:
    try:
        return list(islice(lines_of(b"", {"delimiter": name}, text=text), most))
    except FileRefused:
        return []


def _sheet(data: bytes, said: str) -> tuple[str, Question | None]:
    names = sheets_of(data)
    if said in names:
        return said, None
    held = {name: list(islice(lines_of(data, {"sheet": name}), 2)) for name in names}
    full = [name for name in names if held[name]]
    if not full:
        raise FileRefused("Nothing is written in this workbook. Save the list into it, then choose it again.")
    if len(full) == 1:
        return full[0], None
    options = tuple(
        Option(name, name[:60], tuple(" | ".join(shown_cell(c) for c in row.cells)[:100] for row in held[name]))
        for name in full
    )
    return full[0], Question("sheet", "Which sheet is the list?", options)


def _width(line: Line) -> int:
    return sum(1 for cell in line.cells if cell is not None and str(cell).strip())


def _known(line: Line, kind: str) -> int:
    words = {word for field in FIELDS[kind] for word in (*field.headings, plain_heading(field.title), field.name)}
    return sum(1 for cell in line.cells if isinstance(cell, str) and plain_heading(cell) in words)


def _like_headings(line: Line) -> bool:
    said = [cell for cell in line.cells if cell is not None and str(cell).strip()]
    texts = [cell.strip() for cell in said if isinstance(cell, str)]
    plain = all(len(text) <= 80 and not LOOKS_LIKE_DATA.search(text) for text in texts)
    return len(texts) == len(said) and plain and len(set(texts)) == len(texts)


def _header(rows: Sequence[Line], kind: str, said: str) -> tuple[int, Question | None]:
    """The line of the headings (0: there are none), and the question where that is open."""
    numbers = {str(row.number) for row in rows} | {"0"}
    if said in numbers:
        return int(said), None
    wide = [row for row in rows if _width(row) > 1] or list(rows)  # titles above a table stand in one cell
    usual = Counter(_width(row) for row in wide).most_common(1)[0][0]
    first = next((row for row in wide if _width(row) >= usual / 2), wide[0])
    if _like_headings(first) and _known(first, kind):
        return first.number, None
    words = " | ".join(shown_cell(cell) for cell in first.cells)[:160]
    options = (
        Option(str(first.number), f"Line {first.number} holds the headings", (words,)),
        Option("0", f"There are no headings: line {first.number} is a row of the list", (words,)),
    )
    return first.number, Question("header", "Which line holds the headings of the columns?", options)


def settled_headings(top: Line, header: int) -> tuple[str, ...]:
    """The headings by column, from their line; numbered where there are none."""
    said = [shown_cell(cell).strip() if header else "" for cell in top.cells]
    while header and said and not said[-1]:
        said.pop()
    return tuple(text or f"Column {n}" for n, text in enumerate(said, 1))


def _headings(rows: Sequence[Line], header: int) -> tuple[str, ...]:
    if header:
        return settled_headings(next(row for row in rows if row.number == header), header)
    return settled_headings(max(rows, key=lambda row: len(row.cells)), 0)


def look(data: bytes, *, kind: str, how: Mapping[str, str], columns: Mapping[int, str] | None = None) -> Look:
    """Look at a file.

    Args:
        how: what is known or was answered; an answer that does not fit is asked anew.
        columns: column number -> field, once a person has said; then days and decimals are looked at too.

    Raises:
        FileRefused: the file as a whole cannot be read; says why and how to mend it.
    """
    if not data.strip():
        raise FileRefused("The file is empty. Choose it again; it may not have been copied whole.")
    refuse_old(data)
    if is_workbook(data):
        check_workbook(data)
        sheet, asked = _sheet(data, how.get("sheet", ""))
        found, questions = {"sheet": sheet}, [asked]
        text = None
    else:
        found, questions, text = _text_file(data, how)
    rows = list(islice(lines_of(data, found, text=text), SEEN_ROWS))
    if not rows:
        raise FileRefused("Nothing is written in this file. Choose it again; it may not have been copied whole.")
    header, asked = _header(rows[:HEAD_ROWS], kind, how.get("header", ""))
    questions.append(asked)
    found["header"] = str(header)
    body = [row for row in rows if row.number > header]
    if not body and asked is not None:
        body = [row for row in rows if row.number >= header]
    if not body:
        raise FileRefused("There are headings and no row below them. Choose the list itself.")
    for name, value, question in _values(body, kind, how, columns or {}):
        found[name] = value
        questions.append(question)
    sample = tuple(tuple(shown_cell(cell) for cell in row.cells) for row in body[:SAMPLE_ROWS])
    named = {question.name for question in questions if question is not None}
    settled = {name: value for name, value in found.items() if value and name not in named}
    return Look(settled, tuple(q for q in questions if q is not None), _headings(rows, header), sample)


def _text_file(data: bytes, how: Mapping[str, str]) -> tuple[dict[str, str], list[Question | None], str]:
    likely, asked = encoding_of(data)
    said = how.get("encoding", "")
    if asked is not None and said in {option.value for option in asked.options}:
        likely, asked = said, None
    text = text_of(data, likely)
    delimiter, parted = _delimiter(text, how.get("delimiter", ""))
    return {"encoding": likely, "delimiter": delimiter}, [asked, parted], text


def _texts(body: Sequence[Line], numbers: Sequence[int]) -> list[str]:
    found = []
    for row in body:
        for number in numbers:
            cell = row.cells[number - 1] if number <= len(row.cells) else None
            if isinstance(cell, str) and cell.strip():
                found.append(cell.strip())
    return found


def _values(
    body: Sequence[Line], kind: str, how: Mapping[str, str], columns: Mapping[int, str]
) -> Iterator[tuple[str, str, Question | None]]:
    """(name, value, question) for days and decimals, where the columns hold any that can be read two ways."""
    forms = {field.name: field.form for field in FIELDS[kind]}
    days = _texts(body, [n for n, name in columns.items() if forms.get(name) == "day"])
    written = [text for text in days if cells.WRITTEN.fullmatch(text)]
    if written:
        order = how.get("dates", "") if how.get("dates") in cells.ORDERS else told_by_values(written, "dates")
        yield "dates", order, None if order else _day_question(written)
    numbers = _texts(body, [n for n, name in columns.items() if forms.get(name) == "number"])
    parted = [text for text in numbers if re.search(r"\d[.,]\d", text)]
    if parted:
        sign = how.get("decimal", "") if how.get("decimal") in cells.DECIMALS else told_by_values(parted, "decimal")
        yield "decimal", sign, None if sign else _decimal_question(parted)


def told_by_values(body: Sequence[str], name: str) -> str:
    """The order of days or the decimal sign that the values leave no doubt about, else ""."""
    if name == "dates":
        pairs = [(int(found[1]), int(found[2])) for text in body if (found := cells.WRITTEN.fullmatch(text))]
        day_first, month_first = any(a > 12 for a, _ in pairs), any(b > 12 for _, b in pairs)
        return "dmy" if day_first and not month_first else "mdy" if month_first and not day_first else ""
    bare = [cells.MONEY.sub("", text).strip() for text in body]
    comma = any(COMMA_SURE.search(text) for text in bare)
    point = any(POINT_SURE.search(text) for text in bare)
    return "comma" if comma and not point else "point" if point and not comma else ""


def _day_question(written: Sequence[str]) -> Question:
    both = [text for text in written if _read_both(text)] or list(written)
    some = list(dict.fromkeys(both))[:3]
    options = tuple(
        Option(order, words, tuple(f"{text}: {_spoken(text, order)}" for text in some))
        for order, words in cells.ORDERS.items()
    )
    return Question("dates", "In which order are the days written?", options)


def _read_both(text: str) -> bool:
    found = cells.WRITTEN.fullmatch(text)
    return found is not None and int(found[1]) <= 12 and int(found[2]) <= 12 and found[1] != found[2]


def _spoken(text: str, order: str) -> str:
    try:
        found = cells.day(text, order=order)
    except cells.CellError as error:
        return str(error)
    return f"{found.day} {found:%B %Y}" if found is not None else ""


def _decimal_question(parted: Sequence[str]) -> Question:
    both = [text for text in parted if EITHER.search(text)] or list(parted)
    some = list(dict.fromkeys(both))[:3]
    options = tuple(
        Option(sign, f"{words} parts the decimals", tuple(f"{text}: {_figure(text, sign)}" for text in some))
        for sign, words in cells.DECIMALS.items()
    )
    return Question("decimal", "What stands before the decimals?", options)


def _figure(text: str, sign: str) -> str:
    try:
        found = cells.number(text, decimal=sign)
    except cells.CellError as error:
        return str(error)
    return f"{found:f}" if found is not None else ""


def words_of(how: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
    """(what, as what) for people."""
    names = {
        "encoding": ("Letters", NAMES), "delimiter": ("Columns parted by", DELIMITER_WORDS),
        "dates": ("Days written", cells.ORDERS), "decimal": ("Before the decimals", cells.DECIMALS),
    }  # fmt: skip
    found = [(title, words[how[name]]) for name, (title, words) in names.items() if how.get(name) in words]
    if how.get("sheet"):
        found.insert(0, ("Sheet", how["sheet"]))
    if how.get("header"):
        found.append(("Headings", f"line {how['header']}" if how["header"] != "0" else "none"))
    return tuple(found)
