"""Which storage holds photos and documents, from the environment; says what to install where a storage is missing."""

from __future__ import annotations

from collections.abc import Mapping
from importlib.util import find_spec
from pathlib import Path
from typing import Any, Final

from django.core.exceptions import ImproperlyConfigured

PREFIX: Final = "SHEENWARD_FILES_"
LOCAL: Final = "django.core.files.storage.FileSystemStorage"
# The package behind a storage's first name, where the two differ.
PACKAGES: Final = {"storages": "django-storages[s3]"}


def files_storage(backend: str, environ: Mapping[str, str], folder: Path) -> dict[str, Any]:
    """The entry of STORAGES.

    Args:
        backend: "local", or the dotted path of a Django storage.
        environ: variables with the prefix become its options: SHEENWARD_FILES_BUCKET_NAME is bucket_name.
        folder: where local files lie.

    Raises:
        ImproperlyConfigured: the storage's package is not installed, or the path is none.
    """
    if backend == "local":
        modes = {"file_permissions_mode": 0o600, "directory_permissions_mode": 0o700}
        return {"BACKEND": LOCAL, "OPTIONS": {"location": folder, **modes}}
    first = backend.partition(".")[0]
    if "." not in backend:
        raise ImproperlyConfigured(
            f"SHEENWARD_FILES is {backend!r}; set it to local or to the dotted path of a Django storage, for example "
            "storages.backends.s3.S3Storage"
        )
    if find_spec(first) is None:
        raise ImproperlyConfigured(
            f"SHEENWARD_FILES is {backend!r}, but the package {first} is not installed. Install it beside Sheenward: "
            f'.venv/bin/python -m pip install "{PACKAGES.get(first, first)}", or set SHEENWARD_FILES=local.'
        )
    options = {
        name.removeprefix(PREFIX).lower(): _value(text)
        for name, text in environ.items()
        if name.startswith(PREFIX) and text
    }
    return {"BACKEND": backend, "OPTIONS": options}


def _value(text: str) -> str | int | bool:
    """A variable as a storage wants it: true, false and whole numbers as such."""
    if text.lower() in ("true", "false"):
        return text.lower() == "true"
    return int(text) if text.isdecimal() and text == str(int(text)) and len(text) < 10 else text
