"""The sentences of the care guide, by the keys of `guide.csv`. Wrapped for translation."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any, Final

from django.utils.translation import gettext_lazy as _

TEXTS: Final[Mapping[str, Any]] = {
    "wash_two_buckets": _("Wash by hand with two buckets, a soft mitt and a neutral shampoo, or touch-free with a "
                          "neutral cleaner, when it is dirty."),
    "rinse_first": _("Rinse grit off with plenty of water before anything touches it, on a cool surface in the shade."),
    "dry_softly": _("Dry it with a clean soft towel, dabbing or drawn flat, so that no water marks stay."),
    "marks_soon": _("Soften droppings, insects and sap with water and lift them off within hours; do not rub."),
    "look_at_edges": _("Look along the edges twice a year; a lifted edge is for the studio, not for fingers."),
    "clean_glass": _("Clean the glass with water and a neutral glass cleaner and a clean cloth."),
    "fresh_blades": _("Keep the wiper blades clean and renew them when they smear: worn blades wear the treatment."),
    "wheels_often": _("Rinse and wash the cold wheels with a neutral cleaner before brake dust bakes on."),
    "trim_gently": _("Wash the trim with a neutral shampoo and a soft cloth."),
    "lamps_gently": _("Rinse the lamps first, then wash them with a wet soft cloth."),
    "leather_gently": _("Vacuum grit off, then wipe with a damp soft cloth and a mild leather cleaner."),
    "textile_gently": _("Brush it off dry, rinse with cool water and let it dry in the air before it is folded."),
    "bay_damp_cloth": _("Wipe what you can reach with a damp cloth, with a cold engine; leave the rest to the studio."),
    "metal_rinse": _("Rinse salt off polished metal soon, and dry it."),
    "no_brushes": _("No brush tunnel and no self-service brush: they rub two to three times as hard as two buckets."),
    "no_strong_cleaner": _("No dish soap and no strong (alkaline or acid) cleaner in a usual wash."),
    "no_polish": _("No polish and no abrasive paste: they take the coat, and clear coat with it, which does not come "
                   "back."),
    "no_dry_wipe": _("Do not wipe dust off dry."),
    "no_lance_at_edges": _("No pressure lance near the edges, and no hot lance at all close by."),
    "no_ice_scraper": _("Go easy with the ice scraper; do not scrape a dry pane."),
    "no_acid_wheels": _("No acid wheel cleaner and no stiff brush."),
    "no_oily_trim": _("No oily shine over it: it binds dust and comes off onto the paint."),
    "no_soak_leather": _("Do not soak it, and keep household cleaners and solvents off."),
    "no_hot_wash_textile": _("No hot water, no washing machine, no strong cleaner: they take the proofing."),
    "no_jet_in_bay": _("No water jet and no steam in the engine bay of your own."),
    "no_dry_lamp": _("Never rub a lamp dry; no solvent on its plastic."),
    "sheet_first": _("Read the label and the safety data sheet of any product first; they, and the maker of the layer "
                     "and of the vehicle, overrule this guide. Gloves and eyes; never mix products."),
    "drain": _("Wash where the water goes to a drain that is meant for it; local codes rule."),
    "cold_wheels": _("Wash cold wheels only: hot brakes burn, and cold water can warp a hot disc. Nothing that repels "
                     "water on brakes or tyre tread."),
    "sensors": _("Keep products, film cleaner included, off cameras and sensors unless the maker allows them."),
    "smear_test": _("After treating the windscreen try the wet wipers in the dark before you drive: no smears."),
    "no_pedals": _("Nothing slippery on pedals, the steering wheel, handles or the floor."),
    "airbag_seams": _("Nothing on airbag seams."),
    "spray_outdoors": _("Spray proofer outdoors alone, against the wind, away from flames, and do not breathe it in."),
    "cool_engine": _("Engine cold and ignition off before a hand goes in."),
    "orange_cables": _("Orange cables carry high voltage: hands, water and tools stay away, and never while charging."),
    "flame": _("What holds solvents stays away from flames, sparks and hot parts; spread used cloths out to dry "
               "outdoors."),
}  # fmt: skip
