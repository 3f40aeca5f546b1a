"""Texts of the care tables that no mail says (what a task prevents, its caution), marked for the catalogues; a test
compares them with the tables."""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_noop as _

PREVENTS: Final = (
    _("A mark that eats into the clear coat and can only be polished out within the budget."),
    _("A misunderstanding about work done on a coated panel."),
    _("Bound iron, tar and minerals that hide the coat and make it look used up."),
    _("Brake dust baking on where no brush reaches while the wheel is on the car."),
    _("Brake dust baking on, which needs harsher cleaners."),
    _("Buying a coat that is not needed, or missing the time for a small top-up."),
    _("Clear coat standing bare to sun and fallout."),
    _("Damp and dirt sitting on the car all winter."),
    _("Dirt creeping under lifted edges."),
    _("Dust and moisture from standing being rubbed into the coat on the first drive and wash."),
    _("Dye from clothes and spills soaking in."),
    _("Greying of plastics."),
    _("Grime that holds moisture around plastics and rubber."),
    _("Grit being rubbed over the coat and grime that clogs it."),
    _("Iron specks rusting in the surface and roughening it."),
    _("Mineral spots and clinging drops on the side windows."),
    _("Old film that tears or leaves glue when it comes off."),
    _("Pitting and dull spots from salt and acid cleaners."),
    _("Poor sight in rain and scraping wipers."),
    _("Rain soaking in, with stains and mildew."),
    _("Small faults of a new coat or film staying unnoticed while they are easy to mend."),
    _("Summer tyres on cold roads, and a coated set spending its rest on the road."),
    _("Surprises: what is seen early is small work."),
    _("The coat losing its slickness and clogging sooner."),
    _("The film's surface staining and holding dirt."),
    _("Water and dirt lying on bare clear coat."),
    _("Wear of the paint by needless polishing is what the budget prevents."),
    _("Yellowing and a dimmer beam."),
)
CAUTIONS: Final = (
    _("Battery, tyres and brakes are looked at before driving; what is found there goes to a licensed trade."),
    _("Battery, tyres and fuel as the car's handbook says; never charge or run an engine in a closed room."),
    _("Car on a level lift at its jacking points; bolts to the maker's torque and checked again after the first 50 to "
      "100 km; tyre and brake findings go to a licensed trade."),
    _("Cold metal; nothing on brakes; follow the safety data sheet."),
    _("Cold wheels and brakes only; brakes masked, nothing on discs, pads or tyre tread; cleaners free of hydrofluoric "
      "acid; follow the safety data sheet."),
    _("Cold wheels only; nothing on discs, pads or tyre tread; cleaners free of hydrofluoric acid; bolts to the "
      "maker's "
      "torque and checked again after the first 50 to 100 km; follow the safety data sheet."),
    _("Cool panels, solvents away from flames; follow the safety data sheet."),
    _("Cool panels; wash water to an approved drain; never mix chemicals."),
    _("Dry, cool panels, fresh air; follow the safety data sheet."),
    _("Dust mask and eye protection; lamps cold; the lens must stay clear of anything its maker does not allow; follow "
      "the safety data sheet."),
    _("Engine cool, ignition off, electrics masked; steam and degreaser only by trained people; keep away from orange "
      "cables; follow the safety data sheet."),
    _("Eye, ear and dust protection; machine kept flat and moving; follow the polish's safety data sheet."),
    _("Fresh air, no flame, breathing protection while spraying; follow the safety data sheet."),
    _("Gentle heat only; follow the film maker's guide and the safety data sheet; film stays off cameras and sensors."),
    _("Gloves and eye protection, cool panels, fresh air; never mix chemicals; no iron remover on bare metal; wash "
      "water "
      "to an approved drain; follow the safety data sheet."),
    _("Gloves and eye protection, cool surfaces, fresh air; never mix chemicals; not on bare metal, brake discs or "
      "pads; "
      "rinsed before it dries, wash water to an approved drain; follow the safety data sheet."),
    _("Gloves and eye protection; soften, never rub; no solvent near a flame; follow the cleaner's safety data "
      "sheet. A "
      "flooded electric vehicle stays outdoors, untouched, until trained people have seen it."),
    _("Gloves, eye protection, fresh air; solvents away from flames; curing lamps by trained people; isocyanates "
      "sprayed "
      "by trained people only; follow the safety data sheet."),
    _("Never on pedals, steering wheel or tyre tread; follow the safety data sheet."),
    _("Nothing on airbag seams, pedals or the steering wheel's rim; follow the safety data sheet."),
    _("Nothing over cameras and sensors; follow the safety data sheet."),
    _("Only what the film's maker allows; film and coats stay off cameras and sensors; follow the safety data sheet."),
    _("Orange cables carry high voltage: no steam and no pressure water in the engine bay by untrained people, and "
      "never "
      "while charging."),
    _("Smear test with wet wipers in the dark before the road; nothing over cameras and sensors; follow the safety "
      "data "
      "sheet."),
)  # fmt: skip
# Fixed sentences of sealed reports (`reports.content`): sealed in English, shown in the reader's language.
REPORTS: Final = (
    _("Findings marked as pre-existing were there before the studio began any work on this vehicle."),
    _("Findings not so marked were noticed while or after the studio worked on it."),
    _("No finding was noted."),
    _("The report states what was seen on that day, in that state of cleaning and light. What dirt, light or place hid "
      "is not stated, nor whether any warranty covers anything."),
    _("Film thickness is a reading of the whole build-up at one spot; nobody can read from it alone how much clear "
      "coat "
      "is left."),
    _("Products used on this vehicle have safety data sheets; those, the makers' guides and local rules overrule what "
      "stands here."),
    _("Fresh refinish: nothing that seals goes on before the painter's or the paint maker's time is over."),
    _("Cracked glass, lamps or load-bearing parts: have a licensed trade look before the next drive."),
    _("Stone chips down to metal rust: have them touched up before anything is put over them."),
    _("Lifting film: do not pull at it and keep the pressure washer away from its edge."),
    _("Gaps or a fit out of line can point to an earlier repair: a body shop can tell."),
)  # fmt: skip
# Sources of the care guide's lines (`guide.csv`).
GUIDE_SOURCES: Final = (
    _("no source"),
    _("no source; washing by hand with little contact is the usual advice of the trade"),
    _("no source; etching grows with warmth and hours, see the wear model"),
    _("no source; brushes rub 2 to 3 times as hard as two buckets (judgement, the duty table)"),
    _("no source; strong cleaners take 2.5 to 3.5 times as much (judgement, the duty table)"),
    _("no source; makers name 30 cm and more (from memory)"),
    _("no source; local codes rule"),
)
TABLES: Final = (*PREVENTS, *CAUTIONS, *REPORTS)
