"""Small rooms, a tidy top level, and no word of the machine that the code was written on."""

from __future__ import annotations

import ast
import re
import subprocess

import pytest

from tests.meta.checkout import ROOT, files, python_files, text_of

MOST_LINES = 400
MOST_FUNCTION_LINES = 60
TOP_LEVEL = {"README.md", "DEVELOPERS.md", "pyproject.toml", "manage.py", ".gitignore", ".ci"} | {
    "portal",
    "lifecycle",
    "tests",
    "fixtures",
    "deploy",
}
# Spelled in halves, or this file would be its own first finding.
REGISTRIES = [
    "pypi" + ".org",
    "pythonhosted" + ".org",
    "npmjs" + ".org",
    "npmjs" + ".com",
    "crates" + ".io",
    "docker" + ".io",
    "docker" + ".com",
    "ghcr" + ".io",
    "quay" + ".io",
    "golang" + ".org",
]
MACHINE = re.compile(
    r"(?:^|[\s\"'=(:`])/(?:" + "root|home|Users|opt/pypi|opt/wheels|work/main|work/shared" + r")(?:/|\b)", re.M
)


def long_functions(text: str) -> dict[str, int]:
    """Name and length of each function over the limit."""
    if text.count("\n") <= MOST_FUNCTION_LINES:
        return {}
    return {
        node.name: node.end_lineno - node.lineno + 1
        for node in ast.walk(ast.parse(text))
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef)
        and node.end_lineno - node.lineno + 1 > MOST_FUNCTION_LINES
    }


def test_files_and_functions_are_small():
    texts = {path: text_of(path) for path in python_files()}
    assert len(texts) > 300
    wrong = [f"{path}: over {MOST_LINES} lines; which two rooms is it?"
             for path, text in texts.items() if text.count("\n") > MOST_LINES]  # fmt: skip
    wrong += [f"{path}: functions over {MOST_FUNCTION_LINES} lines: {long}"
              for path, text in texts.items() if (long := long_functions(text))]  # fmt: skip
    assert wrong == []


def test_a_long_function_is_found():
    assert long_functions("async def long():\n" + "    pass\n" * MOST_FUNCTION_LINES) == {"long": 61}
    assert long_functions("def fits():\n" + "    pass\n" * (MOST_FUNCTION_LINES - 1) + "x = 1\n" * 9) == {}


def test_the_top_level_holds_what_the_plan_names():
    assert {path.parts[0] for path in files()} - TOP_LEVEL == set()


@pytest.mark.skipif(not (ROOT / ".git").exists(), reason="no repository: this is an unpacked copy")
def test_no_link_is_tracked():
    """A tracked link, say to an environment, would take the place of what a checkout has under that name."""
    listed = subprocess.run(["git", "ls-files", "-s"], cwd=ROOT, check=True, capture_output=True, text=True).stdout
    assert [line for line in listed.splitlines() if line.startswith("120000")] == []


def test_no_file_names_a_registry_or_a_path_of_one_machine():
    wrong = []
    for path in files():
        text = text_of(path)
        if text is None:
            continue
        wrong += [f"{path}: {host}" for host in REGISTRIES if host in text]
        wrong += [f"{path}: {found.group().strip()}" for found in MACHINE.finditer(text)]
    assert wrong == []


def test_the_search_for_machine_paths_finds_them():
    home = "/" + "root/x"
    assert MACHINE.search(f"cd {home}")
    assert MACHINE.search(f'"{home}"')
    assert not MACHINE.search("https://care.example.org/home/")
    assert not MACHINE.search("/srv/sheenward/var")


def test_the_interpreter_is_pinned_alike_everywhere():
    """pyproject, the scripts and ruff agree on the Pythons that Sheenward runs on."""
    project = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    assert 'requires-python = ">=3.11,<3.14"' in project
    assert 'target-version = "py311"' in project
    assert "(3, 11) <= sys.version_info[:2] <= (3, 13)" in (ROOT / "deploy/common.sh").read_text(encoding="utf-8")
