"""Backup and restore: of the database that the settings name, SQLite by its online copy, PostgreSQL by its own tools;
and of the uploaded files where they lie in a local folder, in a second file beside the first, NAME.files.tar.

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
import tarfile
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


def files_folder() -> Path | None:
    """Where uploaded files lie; None where the settings name a storage elsewhere."""
    database()  # finds the settings
    from django.conf import settings

    entry = settings.STORAGES["default"]
    if not entry["BACKEND"].endswith(".FileSystemStorage"):
        return None
    return Path(entry.get("OPTIONS", {}).get("location") or settings.MEDIA_ROOT)


def files_beside(copy: Path) -> Path:
    """The file that holds the uploaded files of a backup."""
    return copy.with_name(copy.name + ".files.tar")


def pack(folder: Path, target: Path) -> bool:
    """Put every file of the folder into a tar file; False where there is none. What is removed meanwhile is left out.

    Pictures and PDFs are compressed already, so the tar file is not.
    """
    found = sorted(path for path in folder.rglob("*") if path.is_file() and not path.is_symlink())
    if not found:
        return False
    part = target.with_name(target.name + ".part")
    part.unlink(missing_ok=True)
    part.touch(mode=0o600)
    try:
        with tarfile.open(part, "w") as tar:
            for path in found:
                try:
                    tar.add(path, arcname=path.relative_to(folder).as_posix(), recursive=False)
                except FileNotFoundError:
                    continue
        os.replace(part, target)
    finally:
        part.unlink(missing_ok=True)
    return True


def unpack(source: Path, folder: Path) -> None:
    """Unpack a tar file of `pack` into a new folder; nothing of it can land elsewhere.

    Raises:
        SystemExit: the file is damaged or no such file.
    """
    shutil.rmtree(folder, ignore_errors=True)
    folder.mkdir(mode=0o700, parents=True)
    try:
        with tarfile.open(source, "r:") as tar:
            tar.extractall(folder, filter="data")
    except (tarfile.TarError, OSError) as error:
        shutil.rmtree(folder, ignore_errors=True)
        raise SystemExit(f"{source} cannot be unpacked: {error}. Nothing was changed.") from error


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
    """Write a backup into the folder and return the path of the database's file. Local files follow in another.

    The files come second: a photo's file is there before its row, so every row of the copy has its file.
    """
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
    local = files_folder()
    if local is not None:
        pack(local, files_beside(target))
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
    """Put the backup in the place of what is there; the former SQLite file and files are kept beside. Returns what was
    done.

    The files are unpacked first, beside the present ones, so that a damaged one is found before anything is changed.
    """
    if not source.is_file():
        raise SystemExit(f"There is no file {source}.")
    packed, folder = files_beside(source), files_folder()
    if not packed.is_file():
        return restore_database(source)
    if folder is None:
        said = restore_database(source)
        return f"{said} The settings name a storage elsewhere for files: put those of {packed} there yourself."
    incoming = folder.with_name(folder.name + ".incoming")
    unpack(packed, incoming)
    try:
        said = restore_database(source)
    except BaseException:
        shutil.rmtree(incoming, ignore_errors=True)
        raise
    kept = folder.with_name(f"{folder.name}.before-{datetime.now(UTC):%Y%m%dT%H%M%S.%fZ}")
    if folder.exists():
        os.replace(folder, kept)
    os.replace(incoming, folder)
    return f"{said} Restored the files into {folder}." + (
        f" The former files are kept in {kept}." if kept.exists() else ""
    )


def restore_database(source: Path) -> str:
    """Put the backup in the place of the database; the former SQLite file is kept beside it. Returns what was done."""
    config = database()
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
        copy = backup(options.folder)
        print(copy)
        if files_beside(copy).is_file():
            print(files_beside(copy))
        return
    if not options.yes:
        raise SystemExit("This replaces the database of now. Stop the web server and the workers, then add --yes.")
    print(restore(options.file))
    print("Now run `sh deploy/install`, so that an older backup gets the tables of this version, and start again.")


if __name__ == "__main__":
    main()
