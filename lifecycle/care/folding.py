"""Letters without case and accents, the same in Python, SQLite and PostgreSQL, so that a search finds the same rows."""

from __future__ import annotations

import unicodedata
from typing import Any, Final

from django.db.backends.signals import connection_created
from django.db.models import CharField, Func
from django.db.models.expressions import Combinable

# Letters that are no letter with an accent; each stands for several.
PAIRS: Final = (("ß", "ss"), ("ẞ", "ss"), ("æ", "ae"), ("Æ", "ae"), ("œ", "oe"), ("Œ", "oe"), ("þ", "th"), ("Þ", "th"))
_STROKED: Final = {"ø": "o", "Ø": "o", "đ": "d", "Đ": "d", "ð": "d", "Ð": "d", "ł": "l", "Ł": "l", "ı": "i", "ħ": "h",
                   "Ħ": "h", "ŧ": "t", "Ŧ": "t"}  # fmt: skip


def _plain_letters() -> dict[str, str]:
    """Latin letters with accents (Latin-1, Extended-A, Extended-B and Extended Additional) by their bare letter, and
    the capitals from A to Z."""
    found = {chr(code): chr(code).lower() for code in range(ord("A"), ord("Z") + 1)} | _STROKED
    for code in (*range(0xC0, 0x250), *range(0x1E00, 0x1F00)):
        bare = unicodedata.normalize("NFD", chr(code))[0]
        if bare != chr(code) and bare.isascii() and bare.isalpha():
            found[chr(code)] = bare.lower()
    return found


LETTERS: Final = _plain_letters()
_FROM: Final = "".join(LETTERS)
_TO: Final = "".join(LETTERS.values())
_TABLE: Final = str.maketrans(LETTERS)
FUNCTION: Final = "sheenward_fold"


def fold(text: str) -> str:
    """The text without case and accents: "Ålesund Grün ß" is "alesund grun ss". Other scripts stay as they are."""
    plain = unicodedata.normalize("NFC", text)
    for letter, letters in PAIRS:
        plain = plain.replace(letter, letters)
    return plain.translate(_TABLE)


class Fold(Func):
    """`fold` of a column, in the database."""

    function = FUNCTION
    arity = 1
    output_field = CharField()

    def __init__(self, expression: str | Combinable) -> None:
        super().__init__(expression)

    def as_postgresql(self, compiler: Any, connection: Any, **context: Any) -> Any:
        """`translate` for single letters, `replace` for those that become two."""
        sql, params = compiler.compile(self.source_expressions[0])
        sql = f"normalize({sql}, NFC)"
        params = list(params)
        for letter, letters in PAIRS:
            sql = f"replace({sql}, %s, %s)"
            params += [letter, letters]
        return f"translate({sql}, %s, %s)", [*params, _FROM, _TO]


def _teach(sender: Any, connection: Any, **signal: Any) -> None:
    """Give a new SQLite connection the function."""
    if connection.vendor == "sqlite":
        connection.connection.create_function(
            FUNCTION, 1, lambda text: None if text is None else fold(str(text)), deterministic=True
        )


def teach_sqlite() -> None:
    """Every SQLite connection from now on knows `Fold`."""
    connection_created.connect(_teach, dispatch_uid=FUNCTION)
