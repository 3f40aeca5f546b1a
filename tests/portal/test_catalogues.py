"""The catalogues of the pages and mails: whole, compiled, with the same placeholders on both sides, and holding every
text that the code and the templates mark."""

from __future__ import annotations

import ast
import re
from collections.abc import Iterator
from pathlib import Path

import pytest
from django.conf import settings
from django.utils.translation.template import templatize

from lifecycle.management.catalogues import catalogues, read_po, to_mo

BASE = Path(settings.BASE_DIR)
PATHS = catalogues(BASE)
PLACEHOLDER = re.compile(r"%\(\w+\)[sd]|%%|%[sd]")
# Marks and how many texts belong to the key: gettext's own names (GNU gettext manual, "xgettext", --keyword).
MARKS = {
    "_": (1, False), "gettext": (1, False), "gettext_lazy": (1, False), "gettext_noop": (1, False),
    "ngettext": (2, False), "ngettext_lazy": (2, False), "pgettext": (1, True), "pgettext_lazy": (1, True),
    "npgettext": (2, True),
}  # fmt: skip
CALL = re.compile(r"\b(n?p?gettext|_)\(\s*((?:u?(?:'(?:[^'\\]|\\.)*'|\"(?:[^\"\\]|\\.)*\")\s*,?\s*)+)", re.DOTALL)


def key_of(mark: str, texts: list[str]) -> str | None:
    """The key in the catalogue of a marked text; None where it is no plain text."""
    forms, context = MARKS[mark]
    if len(texts) < forms + context:
        return None
    key = "\0".join(texts[context : context + forms])
    return f"{texts[0]}\x04{key}" if context else key


def marked_in_python(path: Path) -> Iterator[str]:
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id in MARKS:
            texts = []
            for one in node.args:
                if not (isinstance(one, ast.Constant) and isinstance(one.value, str)):
                    break
                texts.append(one.value)
            if (key := key_of(node.func.id, texts)) is not None:
                yield key


def marked_in_template(path: Path) -> Iterator[str]:
    for mark, args in CALL.findall(templatize(path.read_text(encoding="utf-8"), origin=str(path))):
        if (key := key_of(mark, list(ast.literal_eval(f"({args.rstrip().rstrip(',')},)")))) is not None:
            yield key


def marked() -> dict[str, str]:
    """Every marked text and a file that marks it."""
    found = {}
    for folder in ("lifecycle", "portal"):
        for path in sorted((BASE / folder).rglob("*.py")):
            found |= dict.fromkeys(marked_in_python(path), path.name)
        for path in sorted((BASE / folder / "templates").rglob("*.[ht][tx][mt]*")):
            found |= dict.fromkeys(marked_in_template(path), path.name)
    return found


def test_there_is_one_for_each_app():
    assert {path.parts[-5] for path in PATHS} == {"lifecycle", "portal"}


@pytest.mark.parametrize("path", PATHS, ids=lambda path: path.parts[-5])
class TestCatalogue:
    def test_it_is_whole(self, path):
        assert "fuzzy" not in path.read_text(encoding="utf-8")
        entries = read_po(path, untranslated=True)
        assert len(entries) > 800
        assert [key for key, text in entries.items() if key and not all(text.split("\0"))] == []

    def test_placeholders_are_the_same_on_both_sides(self, path):
        wrong = []
        for key, text in read_po(path).items():
            forms = key.split("\x04")[-1].split("\0")
            for number, said in enumerate(text.split("\0")):
                wanted = forms[min(number, len(forms) - 1)]
                if key and sorted(PLACEHOLDER.findall(said)) != sorted(PLACEHOLDER.findall(wanted)):
                    wrong.append((wanted, said))
        assert wrong == []

    def test_it_is_compiled(self, path):
        assert path.with_suffix(".mo").read_bytes() == to_mo(read_po(path)), "run manage.py compilewords"

    def test_no_end_of_a_sentence_is_lost(self, path):
        """A text that ends a sentence does so in German too; one that begins or ends with a space keeps it."""
        ends = (".", "?", ":", " ")
        wrong = [
            (key, text)
            for key, text in read_po(path).items()
            if len(key) > 2 and "\0" not in key and "\x04" not in key
            and ((key[-1] in ends) != (text[-1] in ends) or key.startswith(" ") != text.startswith(" "))
        ]  # fmt: skip
        assert wrong == []


def test_a_text_in_both_catalogues_says_the_same():
    first, second = (read_po(path) for path in PATHS)
    assert [key for key in first if key and key in second and first[key] != second[key]] == []


def test_every_marked_text_stands_in_a_catalogue():
    known = {key for path in PATHS for key in read_po(path)}
    found = marked()
    assert len(found) > 1500
    missing = {key: where for key, where in found.items() if key not in known}
    assert missing == {}, "run makemessages as DEVELOPERS.md says, translate, then manage.py compilewords"


def test_no_text_stands_there_in_vain():
    """What nobody marks any more goes with the next makemessages --no-obsolete."""
    found = set(marked())
    assert [key for path in PATHS for key in read_po(path) if key and key not in found] == []


def test_the_search_would_see_a_text(tmp_path):
    page = tmp_path / "page.html"
    page.write_text(
        "{% load i18n %}{% translate 'Gone' %}{{ day|date:_(\"j F\") }}"
        "{% blocktranslate count n=n %}{{ n }} wash{% plural %}{{ n }} washes{% endblocktranslate %}"
    )
    assert set(marked_in_template(page)) == {"Gone", "j F", "%(n)s wash\0%(n)s washes"}
    module = tmp_path / "page.py"
    module.write_text('_("a" "b")\npgettext("on the", "roof")\nngettext("x", "y", 2)\n_(name)\n')
    assert set(marked_in_python(module)) == {"ab", "on the\x04roof", "x\0y"}
