"""The words that the scenario file, the records and the tables share. One place, so that they cannot drift apart."""

from __future__ import annotations

COLOURS = ("white", "light", "mid", "dark", "black")
PAINTS = ("clear_coat", "single_stage", "matte")
POWERTRAINS = ("combustion", "hybrid", "electric")
SIZES = ("S", "M", "L", "XL")
PARKING = ("garage", "garage_nights", "carport", "mixed", "street", "under_trees")
WASH_METHODS = (
    "two_bucket", "touch_free_neutral", "touch_free_high_ph", "rinseless", "soft_cloth_tunnel", "bristle_tunnel",
    "self_service_brush", "dish_soap",
)  # fmt: skip
WASH_PH = ("neutral", "alkaline", "acid", "unknown")
ROAD_SALT = ("none", "some", "regular", "heavy")
HABIT_SOURCES = ("asked", "reported", "defaulted")
ORIENTATIONS = ("flat", "side", "front", "rear", "sill", "screen", "wheel", "inside")
SUBSTRATES = ("steel", "aluminium", "plastic", "composite", "glass", "leather", "textile")
FINISHES = ("factory", "refinish", "touch_up", "unknown")
REMOVAL_STAGES = ("finishing", "one_step", "cut_and_refine", "spot_sanding", "unknown_past")
CLEAN_STATES = ("dirty", "washed", "decontaminated")
LAYER_KINDS = (
    "wax", "sealant", "booster", "ceramic_entry", "ceramic_mid", "ceramic_top", "film_body", "film_top_coat", "wrap",
    "windscreen_coat", "windscreen_wipe_on", "side_glass_coat", "wheel_coat", "trim_coat", "trim_dressing",
    "headlamp_coat", "leather_coat", "leather_guard", "textile_guard", "engine_bay_dressing", "engine_bay_coating",
    "metal_sealant", "unknown",
)  # fmt: skip
EVENT_KINDS = (
    "bird_dropping", "sap", "fallout", "overspray", "flood", "decontamination", "correction", "top_up", "repaint",
    "part_swap",
)  # fmt: skip
