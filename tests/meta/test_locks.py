"""The locked requirement files: agreed with pyproject and with each other, hashed, and free of addresses."""

from __future__ import annotations

import re
import tomllib

import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name

from tests.meta.checkout import ROOT

LOCKS = ("requirements", "requirements-test")
PIN = re.compile(r"^([a-z0-9._-]+)(?:\[[a-z,]+\])?==([^ ;]+)((?: ; [^\\]+)?) \\$")


def locked(name: str) -> dict[str, str]:
    """Package -> version of one lock file; a line of another shape fails."""
    pins = {}
    for line in (ROOT / "deploy" / f"{name}.txt").read_text(encoding="utf-8").splitlines():
        if line.startswith(("    --hash=sha256:", "    # ", "    #   ")):
            continue
        match = PIN.match(line)
        assert match, f"{name}.txt has a line that is no pin: {line!r}"
        pins[canonicalize_name(match[1])] = match[2]
    return pins


def wanted(*extras: str) -> list[Requirement]:
    """What pyproject asks for."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    lines = project["dependencies"] + [line for extra in extras for line in project["optional-dependencies"][extra]]
    return [Requirement(line) for line in lines]


@pytest.mark.parametrize(("name", "extras"), [("requirements", ()), ("requirements-test", ("test",))])
def test_the_lock_holds_what_pyproject_asks_for(name, extras):
    pins = locked(name)
    for requirement in wanted(*extras):
        version = pins.get(canonicalize_name(requirement.name))
        assert version, f"{requirement} is in pyproject but not in {name}.txt; run: sh deploy/lock"
        assert requirement.specifier.contains(version), (
            f"{name}.txt has {version} for {requirement}; run: sh deploy/lock"
        )


def test_the_tests_run_on_the_versions_that_are_deployed():
    """`deploy/test` stamps both sets as installed after it has installed the tests' one."""
    deployed, tested = locked("requirements"), locked("requirements-test")
    assert {name: tested.get(name) for name in deployed} == deployed


@pytest.mark.parametrize("name", LOCKS)
def test_every_pin_has_a_hash_and_no_line_names_an_address(name):
    text = (ROOT / "deploy" / f"{name}.txt").read_text(encoding="utf-8")
    blocks = re.split(r"\n(?=[a-z0-9])", text)
    assert [block.split()[0] for block in blocks if "--hash=sha256:" not in block] == []
    assert re.findall(r"https?://|file:|--(?:extra-)?index-url|--find-links|-i ", text) == []
