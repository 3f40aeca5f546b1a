"""Backup and restore of an SQLite installation, and the scripts' refusals. PostgreSQL: tests/services."""

from __future__ import annotations

import importlib.util
import io
import os
import sqlite3
import subprocess
import sys
import tarfile
from contextlib import closing

import pytest

from tests.meta.checkout import ROOT


def module():
    """deploy/archive.py, which is a script in no package."""
    spec = importlib.util.spec_from_file_location("archive", ROOT / "deploy/archive.py")
    archive = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(archive)
    return archive


def fill(path, *, vehicles: int) -> None:
    with closing(sqlite3.connect(path)) as connection, connection:
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("CREATE TABLE django_migrations (name TEXT)")
        connection.execute("CREATE TABLE vehicle (plate TEXT)")
        connection.executemany("INSERT INTO vehicle VALUES (?)", [(f"TST {n}",) for n in range(vehicles)])


def plates(path) -> int:
    with closing(sqlite3.connect(path)) as connection:
        return connection.execute("SELECT count(*) FROM vehicle").fetchone()[0]


@pytest.fixture
def database(tmp_path):
    path = tmp_path / "data base.sqlite3"
    fill(path, vehicles=5000)
    return path


@pytest.fixture
def archive(database, monkeypatch):
    archive = module()
    config = {"ENGINE": "django.db.backends.sqlite3", "NAME": str(database)}
    monkeypatch.setattr(archive, "database", lambda: config)
    return archive


def test_a_backup_taken_while_somebody_writes_holds_what_was_committed(archive, database, tmp_path):
    with closing(sqlite3.connect(database)) as writer:
        writer.execute("INSERT INTO vehicle VALUES ('committed')")
        writer.commit()
        writer.execute("INSERT INTO vehicle VALUES ('not yet')")
        copy = archive.backup(tmp_path / "backups")
        assert plates(copy) == 5001
    assert copy.stat().st_mode & 0o077 == 0
    assert sorted(path.name for path in copy.parent.iterdir()) == [copy.name]


def test_a_restore_brings_the_backup_back_and_keeps_what_was_there(archive, database, tmp_path):
    copy = archive.backup(tmp_path / "backups")
    with closing(sqlite3.connect(database)) as connection, connection:
        connection.execute("DELETE FROM vehicle WHERE rowid > 10")
    said = archive.restore(copy)
    assert plates(database) == 5000
    (kept,) = database.parent.glob("*.before-*")
    assert plates(kept) == 10
    assert str(kept) in said


def test_a_restore_waits_for_nobody_and_refuses_a_database_in_use(archive, database, tmp_path):
    copy = archive.backup(tmp_path / "backups")
    with closing(sqlite3.connect(database)) as other:
        other.execute("SELECT count(*) FROM vehicle").fetchone()
        with pytest.raises(SystemExit, match="is in use"):
            archive.restore(copy)
    assert plates(database) == 5000


@pytest.mark.parametrize("content", [b"", b"this is no database at all, only words" * 50])
def test_a_file_that_is_no_backup_changes_nothing(archive, database, tmp_path, content):
    wrong = tmp_path / "wrong.sqlite3"
    wrong.write_bytes(content)
    with pytest.raises(SystemExit, match=r"no database of this service|cannot be copied"):
        archive.restore(wrong)
    assert plates(database) == 5000
    assert not list(database.parent.glob("*.before-*"))


def test_a_damaged_backup_is_refused(archive, database, tmp_path):
    copy = archive.backup(tmp_path / "backups")
    data = bytearray(copy.read_bytes())
    middle = len(data) // 2 // 4096 * 4096
    data[middle : middle + 4096] = os.urandom(4096)
    copy.write_bytes(data)
    with pytest.raises(SystemExit, match=r"damaged|cannot be copied"):
        archive.restore(copy)
    assert plates(database) == 5000


@pytest.fixture
def uploads(archive, tmp_path, monkeypatch):
    """A folder of uploaded files, as the settings would name it."""
    folder = tmp_path / "var" / "files"
    for name in ("photos/ab/one.jpg", "photos/cd/two.jpg", "documents/ef/sheet.pdf"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(name.encode() * 50)
    monkeypatch.setattr(archive, "files_folder", lambda: folder)
    return folder


def stored(folder) -> dict[str, bytes]:
    return {path.relative_to(folder).as_posix(): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_local_files_come_along_and_the_former_ones_are_kept(archive, database, uploads, tmp_path):
    before = stored(uploads)
    copy = archive.backup(tmp_path / "backups")
    packed = archive.files_beside(copy)
    assert sorted(path.name for path in copy.parent.iterdir()) == sorted((copy.name, packed.name))
    assert packed.stat().st_mode & 0o077 == 0
    (uploads / "photos/ab/one.jpg").unlink()
    (uploads / "photos/new.jpg").write_bytes(b"later")
    said = archive.restore(copy)
    assert stored(uploads) == before
    (kept,) = uploads.parent.glob("files.before-*")
    assert set(stored(kept)) == {"photos/cd/two.jpg", "documents/ef/sheet.pdf", "photos/new.jpg"}
    assert str(kept) in said
    assert not list(uploads.parent.glob("*.incoming"))


def test_damaged_files_or_a_database_in_use_change_nothing(archive, database, uploads, tmp_path):
    copy = archive.backup(tmp_path / "backups")
    packed = archive.files_beside(copy)
    whole, before = packed.read_bytes(), stored(uploads)
    packed.write_bytes(b"no tar file " * 90)
    with pytest.raises(SystemExit, match="cannot be unpacked"):
        archive.restore(copy)
    packed.write_bytes(whole)
    with closing(sqlite3.connect(database)) as other:
        other.execute("SELECT count(*) FROM vehicle").fetchone()
        with pytest.raises(SystemExit, match="is in use"):
            archive.restore(copy)
    assert stored(uploads) == before
    assert sorted(path.name for path in uploads.parent.iterdir()) == ["files"]
    assert not list(database.parent.glob("*.before-*"))


def test_a_crafted_file_lands_nowhere_else(archive, uploads, tmp_path):
    """Names that climb out of the folder are refused (PEP 706, the data filter)."""
    copy = archive.backup(tmp_path / "backups")
    with tarfile.open(archive.files_beside(copy), "w") as tar:
        entry = tarfile.TarInfo("../../climbed.txt")
        entry.size = 3
        tar.addfile(entry, io.BytesIO(b"out"))
    with pytest.raises(SystemExit, match="cannot be unpacked"):
        archive.restore(copy)
    assert not list(tmp_path.rglob("climbed.txt"))


def test_files_kept_elsewhere_and_backups_without_files(archive, database, uploads, tmp_path, monkeypatch):
    copy = archive.backup(tmp_path / "backups")
    monkeypatch.setattr(archive, "files_folder", lambda: None)
    assert archive.restore(copy).endswith(f"put those of {archive.files_beside(copy)} there yourself.")
    bare = archive.backup(tmp_path / "bare")
    assert not archive.files_beside(bare).exists()
    monkeypatch.setattr(archive, "files_folder", lambda: uploads)
    before = stored(uploads)
    archive.restore(bare)
    assert stored(uploads) == before, "a backup without files leaves them as they are"


def test_the_command_line_takes_the_database_of_the_settings_and_asks_for_a_yes(database, tmp_path):
    photo = tmp_path / "var" / "files" / "photos" / "one.jpg"
    photo.parent.mkdir(parents=True)
    photo.write_bytes(b"picture")
    env = os.environ | {
        "SHEENWARD_MODE": "test", "DATABASE_URL": f"sqlite:///{database}", "SHEENWARD_VAR": str(tmp_path / "var"),
        "DJANGO_SETTINGS_MODULE": "portal.settings",
    }  # fmt: skip

    def run(*arguments: str) -> subprocess.CompletedProcess[str]:
        command = [sys.executable, str(ROOT / "deploy/archive.py"), *arguments]
        return subprocess.run(command, env=env, capture_output=True, text=True, check=False, cwd=tmp_path)

    taken = run("backup", str(tmp_path / "backups"))
    assert taken.returncode == 0, taken.stderr
    copy, files = taken.stdout.split()
    assert plates(copy) == 5000
    assert files == f"{copy}.files.tar"
    photo.unlink()
    refused = run("restore", copy)
    assert refused.returncode == 1
    assert "add --yes" in refused.stderr
    done = run("restore", copy, "--yes")
    assert done.returncode == 0, done.stderr
    assert f"Restored {copy}" in done.stdout
    assert photo.read_bytes() == b"picture"
