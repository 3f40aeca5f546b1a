"""The portal's settings in test mode, so that a bare `pytest` works too."""

import os
from urllib.parse import urlsplit

os.environ.setdefault("SHEENWARD_MODE", "test")

from portal.settings import *  # noqa: F403
from portal.settings import CACHES, REDIS_URL, STATIC_ROOT, STORAGES

STATIC_ROOT.mkdir(parents=True, exist_ok=True)  # whitenoise warns of an absent folder
# Passwords of test people need no slow hash.
PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
# Every browser of a test builds its middleware; none of them need look through all static files first.
WHITENOISE_AUTOREFRESH = True
# Uploaded files live as long as the test process.
STORAGES = STORAGES | {"default": {"BACKEND": "django.core.files.storage.InMemoryStorage"}}
# Each process of a test run has a cache of its own, as it has a database: clearing one leaves the others alone.
if REDIS_URL and (worker := os.environ.get("PYTEST_XDIST_WORKER", "").removeprefix("gw")):
    CACHES["default"]["LOCATION"] = urlsplit(REDIS_URL)._replace(path=f"/{int(worker) % 15 + 1}").geturl()
