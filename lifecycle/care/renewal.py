"""Which task puts a new layer of which kind on."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

from lifecycle.care.facts import CERAMIC
from lifecycle.care.part_rules import TASK_OF

RENEWED_BY: Final[Mapping[str, str]] = TASK_OF | dict.fromkeys(CERAMIC, "recoat")
# The same layer by another way: done off the car.
OTHER_WAY: Final[Mapping[str, str]] = {"wheel_retreat": "wheel_retreat_off"}
