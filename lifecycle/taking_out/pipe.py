"""A zip that is handed on while it is written: it never goes back, so nothing of it is held."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import IO, Final, cast
from zipfile import ZIP_STORED, ZipFile, ZipInfo

MODE: Final = 0o600 << 16  # for whoever unpacks it: nobody else reads it


class _Sink:
    """Where the zip's bytes land until they are taken. It can neither tell nor seek, which `ZipFile` respects."""

    def __init__(self) -> None:
        self.pieces: list[bytes] = []

    def write(self, data: bytes) -> int:
        self.pieces.append(bytes(data))
        return len(data)

    def flush(self) -> None:
        """Nothing waits anywhere else."""


class ZipPipe:
    """Write members one after the other and take what has come out so far."""

    def __init__(self, *, at: datetime) -> None:
        self._sink = _Sink()
        self._zip = ZipFile(cast(IO[bytes], self._sink), "w", allowZip64=True)
        moment = at.astimezone(UTC)
        self._stamp = (max(moment.year, 1980), moment.month, moment.day, moment.hour, moment.minute, moment.second)

    def member(self, name: str, compress: int = ZIP_STORED) -> IO[bytes]:
        """Begin a file of the zip; it is whole when it is closed."""
        info = ZipInfo(name, self._stamp)
        info.compress_type, info.external_attr = compress, MODE
        member: IO[bytes] = self._zip.open(info, "w", force_zip64=True)
        return member

    def taken(self) -> bytes:
        """What has come out since the last time."""
        data = b"".join(self._sink.pieces)
        self._sink.pieces.clear()
        return data

    def closed(self) -> bytes:
        """Write the list of members and take the rest."""
        self._zip.close()
        return self.taken()
