"""Every setting that is read from the environment stands in deploy/env.example, and nothing else does."""

from __future__ import annotations

import re

from tests.meta.checkout import ROOT, text_of

# Read by a library through a prefix or a URL, or by compose alone: they stand in no call of ours.
READERS = ("portal/settings.py", "lifecycle/climate/sources.py")
OTHERS = {"EMAIL_URL", "DATABASE_URL", "ANYMAIL_MAILGUN_API_KEY", "ANYMAIL_WEBHOOK_SECRET", "SHEENWARD_DB_PASSWORD"} | {
    f"SHEENWARD_FILES_{option}" for option in ("BUCKET_NAME", "ENDPOINT_URL", "ACCESS_KEY", "SECRET_KEY")
}


def test_the_example_names_every_setting():
    texts = "".join(text_of((ROOT / path).relative_to(ROOT)) for path in READERS)
    read = set(re.findall(r"""env(?:\.[a-z_]+)?\(\s*"([A-Z][A-Z_]+)\"""", texts))
    example = set(re.findall(r"^#?([A-Z][A-Z_]+)=", (ROOT / "deploy/env.example").read_text(encoding="utf-8"), re.M))
    assert "SHEENWARD_SECRET_KEY" in read
    assert read - example == set(), "read, but not in deploy/env.example"
    assert example - read - OTHERS == set(), "in deploy/env.example but read nowhere"
