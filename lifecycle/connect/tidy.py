"""The step that throws away what programs no longer need."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime

from lifecycle.connect import repeats


def tidy(*, at: datetime) -> Mapping[str, int]:
    """Delete kept answers that are older than a day.

    Returns:
        Counts: answers.
    """
    return {"answers": repeats.sweep(at=at)}
