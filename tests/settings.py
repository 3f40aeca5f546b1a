"""The portal's settings in test mode, so that a bare `pytest` works too."""

import os

os.environ.setdefault("SHEENWARD_MODE", "test")

from portal.settings import *  # noqa: E402, F403
