"""How often one network address may ask for what costs work. The count may lose one under load; it is no lock."""

from __future__ import annotations

import time

from django.core.cache import cache
from django.http import HttpRequest

from portal.access.door import caller_of


def too_often(request: HttpRequest, what: str, *, per_minute: int) -> bool:
    """Count one more request for `what` from this address in the present minute."""
    key = f"{what}:{caller_of(request)}:{int(time.time() // 60)}"
    cache.add(key, 0, 120)
    try:
        return int(cache.incr(key)) > per_minute
    except ValueError:  # thrown out of the cache meanwhile
        return False
