"""The portal's settings in test mode, so that a bare `pytest` works too."""

import os

os.environ.setdefault("SHEENWARD_MODE", "test")

from portal.settings import *  # noqa: E402, F403

STATIC_ROOT.mkdir(parents=True, exist_ok=True)  # noqa: F405  (whitenoise warns of an absent folder)
