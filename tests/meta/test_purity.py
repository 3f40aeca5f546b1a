"""Science and rules reach no framework, not even through a parent's `__init__`, which the import linter misses."""

from __future__ import annotations

import configparser
import subprocess
import sys
import tomllib

from tests.meta.checkout import ROOT, files

FORBIDDEN = ("django", "celery", "redis", "requests", "urllib3", "httpx", "anymail", "environ", "lifecycle.models")
ALSO_PURE = ("lifecycle.care.rules", "lifecycle.reminders.rules")
PROGRAM = """
import importlib, sys
forbidden = set(sys.argv[1].split(","))
for name in sys.argv[2:]:
    importlib.import_module(name)
    reached = forbidden & set(sys.modules)
    if reached:
        sys.exit(f"{name} reaches {sorted(reached)}")
print(len(sys.argv) - 2)
"""


def pure_modules() -> list[str]:
    """Every module of lifecycle.wear and of the reading of lists, and the two rule modules."""
    wear = [path for path in files() if path.suffix == ".py" and path.parts[:2] == ("lifecycle", "wear")]
    names = [".".join(path.with_suffix("").parts).removesuffix(".__init__") for path in wear]
    lists = [path for path in files() if path.suffix == ".py" and path.parts[:3] == ("lifecycle", "care", "imports")]
    names += [".".join(path.with_suffix("").parts).removesuffix(".__init__") for path in lists]
    return [*names, *ALSO_PURE]


def load(*names: str) -> subprocess.CompletedProcess[str]:
    """Import the modules one after the other in a fresh interpreter."""
    command = [sys.executable, "-c", PROGRAM, ",".join(FORBIDDEN), *names]
    return subprocess.run(command, cwd=ROOT, capture_output=True, text=True, check=False)


def test_science_and_rules_load_without_any_framework():
    names = pure_modules()
    assert len(names) > 10
    done = load(*names)
    assert done.returncode == 0, done.stderr
    assert int(done.stdout) == len(names)


def test_the_check_bites():
    """A module that does reach Django is found out."""
    done = load("lifecycle.apps")
    assert done.returncode == 1
    assert "lifecycle.apps reaches ['django']" in done.stderr


def test_the_science_suite_loads_no_framework_and_is_as_strict_as_the_rest():
    """tests/wear has options of its own, so that it starts without Django; warnings are errors there too."""
    own = configparser.ConfigParser()
    own.read(ROOT / "tests" / "wear" / "pytest.ini")
    whole = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["tool"]["pytest"]["ini_options"]
    options = own["pytest"]["addopts"].split()
    assert set(whole["addopts"].split()) <= set(options)
    assert options[options.index("no:django") - 1 :][:2] == ["-p", "no:django"]
    assert own["pytest"]["filterwarnings"].split() == whole["filterwarnings"]
