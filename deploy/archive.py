"""Backup and restore of the database that the settings name: SQLite by its online copy, PostgreSQL by its own tools.

Started by `sh deploy/backup` and `sh deploy/restore`.
"""

# ruff: noqa: S603, T201 - it starts PostgreSQL's own tools and speaks to a person

from __future__ import annotations

import argparse
import os
import shutil
import sqlite3
import subprocess
import sys
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent


def database() -> dict[str, str]:
    """The database of the settings, read from the environment and var/env like every other process does."""
    sys.path.insert(0, str(ROOT))
    os.environ.setdefault("DJANGO_SETTINGS_MODULE", "portal.settings")
    from django.conf import settings

    return {key: str(value) for key, value in settings.DATABASES["default"].items()}


def tool(name: str) -> str:
    """The path of one of PostgreSQL's tools."""
    path = shutil.which(name)
    if path is None:
        raise SystemExit(f"{name} is missing; it comes with PostgreSQL's client package (postgresql-client).")
    return path


def postgres(name: str, config: dict[str, str], *arguments: str) -> None:
    """Run a tool of PostgreSQL on the database; the password travels by the environment, not the command line."""
    env = os.environ | {
        "PGHOST": config["HOST"],
        "PGPORT": config["PORT"] or "5432",
        "PGUSER": config["USER"],
        "PGPASSWORD": config["PASSWORD"],
    }
    if subprocess.run([tool(name), *arguments], env=env, check=False).returncode:
        raise SystemExit(f"{name} failed; its reason stands above. Nothing else was changed.")


def copy_sqlite(source: Path, target: Path) -> None:
    """Copy an SQLite database, while others write to it too, and check the copy before it gets its name.

    Raises:
        SystemExit: if the source is no intact SQLite database of this service.
    """
    if not source.is_file():
        raise SystemExit(f"There is no file {source}.")
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    part.touch(mode=0o600)
    read_only = f"{source.resolve().as_uri()}?mode=ro"
    try:
        with closing(sqlite3.connect(read_only, uri=True)) as old, closing(sqlite3.connect(part)) as new:
            old.backup(new)
            new.execute("PRAGMA journal_mode=DELETE")
            (verdict,) = new.execute("PRAGMA integrity_check").fetchone()
            ours = new.execute("SELECT 1 FROM sqlite_master WHERE name = 'django_migrations'").fetchone()
        if not ours:
            raise SystemExit(f"{source} is no database of this service: it has no record of its tables' version.")
        if verdict != "ok":
            raise SystemExit(f"{source} is damaged ({verdict}); nothing was written.")
        os.replace(part, target)
    except sqlite3.Error as error:
        raise SystemExit(f"{source} cannot be copied: {error}. Nothing was written.") from error
    finally:
        part.unlink(missing_ok=True)


def backup(folder: Path) -> Path:
    """Write a backup file into the folder and return its path."""
    config = database()
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    stamp = datetime.now(UTC).strftime("%Y%m%dT%H%M%S.%fZ")
    if config["ENGINE"].endswith("sqlite3"):
        target = folder / f"sheenward-{stamp}.sqlite3"
        copy_sqlite(Path(config["NAME"]), target)
    else:
        target = folder / f"sheenward-{stamp}.pgdump"
        part = target.with_name(target.name + ".part")
        try:
            postgres("pg_dump", config, "--format=custom", f"--file={part}", config["NAME"])
            part.chmod(0o600)
            os.replace(part, target)
        finally:
            part.unlink(missing_ok=True)
    return target


def in_use(path: Path) -> bool:
    """Whether another process holds the SQLite database open for writing, or has it in write-ahead mode and open."""
    if not path.exists():
        return False
    try:
        with closing(sqlite3.connect(path, timeout=0)) as connection:
            # Leaving write-ahead mode needs every other connection gone.
            return connection.execute("PRAGMA journal_mode=DELETE").fetchone()[0] != "delete"
    except sqlite3.OperationalError:
        return True


def restore(source: Path) -> str:
    """Put the backup in the place of the database; the former SQLite file is kept beside it. Returns what was done."""
    config = database()
    if not source.is_file():
        raise SystemExit(f"There is no file {source}.")
    if not config["ENGINE"].endswith("sqlite3"):
        options = ("--clean", "--if-exists", "--no-owner", "--single-transaction", "--exit-on-error")
        postgres("pg_restore", config, *options, f"--dbname={config['NAME']}", str(source))
        return f"Restored {source} into the database {config['NAME']} at {config['HOST']}."
    target = Path(config["NAME"])
    if in_use(target):
        raise SystemExit(f"{target} is in use. Stop the web server and `manage.py work` first, then run this again.")
    kept = target.with_name(f"{target.name}.before-{datetime.now(UTC):%Y%m%dT%H%M%S.%fZ}")
    incoming = target.with_name(target.name + ".incoming")
    copy_sqlite(source, incoming)
    if target.exists():
        os.replace(target, kept)
    os.replace(incoming, target)
    return f"Restored {source} into {target}." + (f" The former database is kept as {kept}." if kept.exists() else "")


def main() -> None:
    """Parse the command line and do the one thing asked for."""
    parser = argparse.ArgumentParser(prog="sh deploy/backup|restore")
    verbs = parser.add_subparsers(dest="verb", required=True)
    taking = verbs.add_parser("backup", prog="sh deploy/backup")
    taking.add_argument("folder", nargs="?", type=Path, default=ROOT / "var" / "backups")
    putting = verbs.add_parser("restore", prog="sh deploy/restore")
    putting.add_argument("file", type=Path)
    putting.add_argument("--yes", action="store_true", help="the database of now may be replaced")
    options = parser.parse_args()
    if options.verb == "backup":
        print(backup(options.folder))
        return
    if not options.yes:
        raise SystemExit("This replaces the database of now. Stop the web server and the workers, then add --yes.")
    print(restore(options.file))
    print("Now run `sh deploy/install`, so that an older backup gets the tables of this version, and start again.")


if __name__ == "__main__":
    main()
