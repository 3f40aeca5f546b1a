"""What belongs to the project: its files, without what the tools and the installation leave behind."""

from __future__ import annotations

import os
import subprocess
from functools import cache
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
LEFT_BEHIND = {"var", "node_modules", "__pycache__"}


@cache
def files() -> tuple[Path, ...]:
    """Every file of the project, relative to its top: asked of git, or walked where there is no repository."""
    if (ROOT / ".git").exists():
        command = ["git", "ls-files", "--cached", "--others", "--exclude-standard", "-z"]
        listed = subprocess.run(command, cwd=ROOT, check=True, capture_output=True, text=True).stdout.split("\0")
        return tuple(sorted(Path(name) for name in listed if name and (ROOT / name).is_file()))
    found = []
    for folder, folders, names in os.walk(ROOT):
        folders[:] = [name for name in folders if name not in LEFT_BEHIND and (name == ".ci" or name[0] != ".")]
        found += [(Path(folder) / name).relative_to(ROOT) for name in names]
    return tuple(sorted(found))


def python_files() -> tuple[Path, ...]:
    """The project's Python files but for migrations, which Django writes."""
    return tuple(path for path in files() if path.suffix == ".py" and "migrations" not in path.parts)


def text_of(path: Path) -> str | None:
    """The text of a file of the project, or None where it is no text."""
    try:
        return (ROOT / path).read_text(encoding="utf-8")
    except UnicodeDecodeError:
        return None
