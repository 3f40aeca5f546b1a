"""A complete scenario file for tests, and how to bend it at one path."""

from __future__ import annotations

import copy
import json
import re
from typing import Any

FULL: dict[str, Any] = {
    "as_of": "2026-03-01",
    "place": {"lat": 49.49, "lon": 8.47, "height_m": 97, "sea_distance_m": 400000, "climate_file": None},
    "vehicle": {
        "body": "suv",
        "size": "L",
        "colour": "black",
        "paint": "clear_coat",
        "powertrain": "combustion",
        "contract_inspections": [{"due": "2026-09-01", "tolerance_days": 30}],
    },
    "habits": [
        {
            "from": "2024-09-01",
            "to": None,
            "parking": "street",
            "km_per_year": 15000,
            "wash_method": "bristle_tunnel",
            "washes_per_year": 12,
            "wash_ph": "neutral",
            "road_salt": "none",
            "trees_birds": 1,
            "source": "asked",
        }
    ],
    "storage": [{"from": "2025-12-01", "to": "2026-01-15"}],
    "surfaces": [
        {
            "code": "bonnet",
            "orientation": "flat",
            "substrate": "steel",
            "finish": "factory",
            "thickness_um": {"values": [112, 115, 109, 113, 111], "method": "magnetic", "gauge_sd_um": 1.0},
            "removals": [{"on": "2023-05-01", "stage": "one_step"}],
            "layers": [
                {"kind": "ceramic_mid", "applied": "2024-09-01", "coats": 2},
                {"kind": "booster", "applied": "2025-09-01", "coats": 1},
            ],
        }
    ],
    "readings": [
        {
            "on": "2025-09-01",
            "surface": "bonnet",
            "clean_state": "decontaminated",
            "contact_angle_deg": 101,
            "drops": 5,
        },
        {"on": "2026-02-01", "surface": "bonnet", "clean_state": "washed", "beading_score": 3},
    ],
    "events": [{"on": "2025-07-03", "kind": "bird_dropping", "surface": "bonnet", "dwell_h": 30, "air_c": 34}],
}
GONE = object()


def bent(path: str, value: object) -> str:
    """The file with one field set to `value`, or taken out for `GONE`. `path` like `habits[0].parking`."""
    whole = copy.deepcopy(FULL)
    keys: list[Any] = [int(part) if part.isdigit() else part for part in re.findall(r"[^.\[\]]+", path)]
    inner: Any = whole
    for key in keys[:-1]:
        inner = inner[key]
    if value is GONE:
        del inner[keys[-1]]
    else:
        inner[keys[-1]] = value
    return json.dumps(whole)
