"""What to do in the next hours when something has come onto the paint (common practice, no source)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, Final

from django.utils.translation import gettext_lazy as _


@dataclass(frozen=True, slots=True)
class FirstAid:
    """Steps in order, what to leave, and cautions."""

    title: Any
    when: Any
    steps: tuple[Any, ...]
    leave: tuple[Any, ...]


CAUTIONS: Final = (
    _("Read the safety data sheet and the label of any product first; they, and the maker of your coat or film, "
      "overrule what stands here. Gloves and eye protection; fresh air; never mix products."),
    _("Solvents and tar removers burn: none near a flame, a spark or a hot engine, none on plastics or film unless the "
      "label allows it. Wash water and residues go to a drain that is meant for them, never into rain water or soil."),
)  # fmt: skip
AID: Final = {
    "bird_dropping": FirstAid(
        _("Bird dropping"),
        _("Within 3 to 6 hours, on a warm day sooner."),
        (
            _("Let the panel cool down in the shade."),
            _("Lay a cloth soaked in clean lukewarm water on it for about ten minutes, so that it softens."),
            _("Lift it off with the cloth, from the edge inwards; rinse; repeat rather than press."),
            _("Rinse with plenty of water and dab dry. Wash your hands."),
        ),
        (
            _("Never rub it, wet or dry: there is grit in it."),
            _("No hot water on a hot panel, no household cleaner, no polish of your own: if a dull edge stays, the "
              "studio looks at the clear coat first."),
        ),
    ),
    "sap": FirstAid(
        _("Tree sap"),
        _("Within a day or two, before it hardens."),
        (
            _("Work in the shade on a cool panel."),
            _("Soften it with a cloth soaked in warm water and a neutral car shampoo for about ten minutes."),
            _("Lift off what comes away; rinse; repeat."),
            _("If it has gone hard, leave it to the studio."),
        ),
        (
            _("Do not scrape it, not even with a fingernail; do not rub."),
            _("No solvent at random: it may take the coat with it."),
        ),
    ),
    "fallout": FirstAid(
        _("Fallout: rust specks, dust from rails, works or a building site"),
        _("Within days; there is no hurry of hours."),
        (
            _("Rinse with plenty of water from top to bottom, without touching the paint."),
            _("Then wash gently with two buckets and a neutral shampoo."),
            _("What still feels gritty is taken off by decontamination: ask the studio."),
        ),
        (
            _("Do not wipe it off dry, and do not use a clay of your own on a coat or film."),
            _("Lime and cement dust burn eyes and skin when wet: rinse from a distance, covered, and ask the studio."),
        ),
    ),
}  # fmt: skip
