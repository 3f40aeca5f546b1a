"""Ask the portal of this machine for its health: exit 0 when it is well, else 1 with what it says.

`python deploy/probe.py [http://127.0.0.1:8000]`; reads SHEENWARD_SITE_ADDRESS, whose host the portal insists on.
"""

# ruff: noqa: S310, T201 - the address is the operator's own, and it speaks to a person

from __future__ import annotations

import os
import sys
import urllib.error
import urllib.request
from urllib.parse import urlsplit


def main() -> int:
    """Return the exit code."""
    base = sys.argv[1] if len(sys.argv) > 1 else "http://127.0.0.1:8000"
    host = urlsplit(os.environ.get("SHEENWARD_SITE_ADDRESS", "")).hostname or "127.0.0.1"
    try:
        with urllib.request.urlopen(
            urllib.request.Request(f"{base}/healthz", headers={"Host": host}), timeout=8
        ) as page:
            print(page.read().decode())
    except urllib.error.HTTPError as error:
        print(f"{error.code}: {error.read(500).decode(errors='replace')}")
        return 1
    except OSError as error:
        print(f"{base} does not answer: {error}")
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
