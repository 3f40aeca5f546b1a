"""Every setting that is read from the environment stands in deploy/env.example, and nothing else does."""

from __future__ import annotations

import re

from portal.mailhooks import SIGNING_KEYS
from tests.meta import test_settings
from tests.meta.checkout import ROOT, text_of

# Read by a library through a prefix or a URL, or by compose alone: they stand in no call of ours.
READERS = ("portal/settings.py", "lifecycle/climate/sources.py")
FILES = {f"SHEENWARD_FILES_{option}" for option in ("BUCKET_NAME", "ENDPOINT_URL", "ACCESS_KEY", "SECRET_KEY")}
SIGNING = {f"ANYMAIL_{key}" for keys in SIGNING_KEYS.values() for key in keys}
PROVIDERS = {key for keys in test_settings.PROVIDERS.values() for key in keys}
OTHERS = {"EMAIL_URL", "DATABASE_URL", "SHEENWARD_DB_PASSWORD"} | FILES | SIGNING | PROVIDERS


def test_the_example_names_every_setting():
    texts = "".join(text_of((ROOT / path).relative_to(ROOT)) for path in READERS)
    read = set(re.findall(r"""env(?:\.[a-z_]+)?\(\s*"([A-Z][A-Z_]+)\"""", texts))
    example = set(re.findall(r"^#?([A-Z][A-Z_]+)=", (ROOT / "deploy/env.example").read_text(encoding="utf-8"), re.M))
    assert "SHEENWARD_SECRET_KEY" in read
    assert SIGNING - example == set(), "checked, but not in deploy/env.example"
    assert PROVIDERS - example == set(), "tried, but not in deploy/env.example"
    assert read - example == set(), "read, but not in deploy/env.example"
    assert example - read - OTHERS == set(), "in deploy/env.example but read nowhere"
