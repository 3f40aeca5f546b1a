"""Words of the care tables and reasons as a mail says them, marked so that the catalogues of languages hold them.

The tables are plain CSV and the rules that read them know no Django, so the texts are listed here once more; a test
compares. What the rules write about one vehicle is English prose, which `care.tongue.speak` says in another language;
where it knows no phrase the mail says the reason that the window rests on, in a sentence of its own.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from django.utils.translation import gettext, gettext_noop, ngettext

from lifecycle.care.wording import capital, surface_words

TABLE_WORDS: Final = (
    gettext_noop("event response"),
    gettext_noop("The longer it sits in warmth, the likelier a mark stays; once it is off, nothing more grows."),
    gettext_noop(
        "Lay a cloth soaked in clean water on it for ten minutes and lift it off; do not rub. Then look whether a "
        "dull edge is left."
    ),
    gettext_noop("wheel re-treat"),
    gettext_noop("The wheels take more brushing; the wheel itself is rarely harmed within a season."),
    gettext_noop("Rinse a cold wheel with plain water: dust that stays put has lost its easy release."),
    gettext_noop("engine bay care"),
    gettext_noop("Looks suffer first; a few months more do little harm."),
    gettext_noop(
        "With the engine cold, wipe a plastic cover: grey cloth and dull plastic mean that the dressing is used up."
    ),
    gettext_noop("maintenance wash"),
    gettext_noop("The coat clogs sooner; washing it yourself with two buckets every 2 to 4 weeks does the same."),
    gettext_noop(
        "Wipe a damp white cloth lightly over the lower door: a dark cloth means grit to be rinsed off first."
    ),
    gettext_noop("wake-up visit"),
    gettext_noop("Nothing is lost while it stands; rinse well before the first dry touch."),
    gettext_noop("Look for dust rings, damp spots and a cover's rub marks before touching the paint."),
    gettext_noop("decontamination wash"),
    gettext_noop("Water behaviour stays dull and washing takes longer; the coat itself wears little faster."),
    gettext_noop("After a wash, slide a hand in a thin plastic bag over the paint: a gritty feel means bound grime."),
    gettext_noop("first check"),
    gettext_noop("Most new coats show nothing; a fault found later is more work to mend."),
    gettext_noop("Look along each panel in low sun for smears, high spots or lifting edges."),
    gettext_noop("inspection"),
    gettext_noop("The forecast stays an estimate and its range grows wider."),
    gettext_noop("Pour a cup of water over washed paint and note where it beads and where it lies flat."),
    gettext_noop("retest"),
    gettext_noop("The state stays unknown; nothing else changes at once."),
    gettext_noop(
        "After a thorough wash, pour a cup of water over the panel: beads that come back mean that the coat is "
        "still there."
    ),
    gettext_noop("correction in one step"),
    gettext_noop("Defects rarely grow by themselves."),
    gettext_noop("Look at the paint in low sun: marks that a fingernail feels are too deep to polish out."),
    gettext_noop("correction in two steps"),
    gettext_noop("headlamp care"),
    gettext_noop("The haze grows slowly; a year of sun costs more sanding later."),
    gettext_noop("Stand before the lamps by day: a yellow or milky veil shows."),
    gettext_noop("film edge check"),
    gettext_noop("A lifted edge collects dirt and then cannot be laid down again."),
    gettext_noop("Run a finger along the edges after a wash: anything that catches is worth a look."),
    gettext_noop("film top-up"),
    gettext_noop("The film still takes stone chips; it only gets dirtier and harder to wash."),
    gettext_noop("Pour water over the film: patches that stay wet show where its top is tired."),
    gettext_noop("film renewal"),
    gettext_noop("An old film still guards against chips; the longer it stays, the harder it may come off."),
    gettext_noop("Compare its colour with paint under a door edge, and look for cracks."),
    gettext_noop("wax renewal"),
    gettext_noop("Gloss and beading fade; the clear coat itself bears some weeks without wax."),
    gettext_noop("Pour water over the washed bonnet: flat puddles mean that the wax is used up."),
    gettext_noop("sealant renewal"),
    gettext_noop("Beading fades and dirt sticks; the clear coat itself bears some weeks without sealant."),
    gettext_noop("Pour water over the washed bonnet: flat puddles mean that the sealant is used up."),
    gettext_noop("booster top-up"),
    gettext_noop("The coat goes on protecting; it only washes less easily."),
    gettext_noop("After a wash, pour water over the bonnet: small round beads mean that no top-up is needed yet."),
    gettext_noop("re-coat"),
    gettext_noop("Waiting some months is a fair choice; a sealant in between is the cheaper stopgap."),
    gettext_noop(
        "After a thorough wash, pour water over roof and bonnet: if it lies flat there and beads on the doors, "
        "only the flat panels are tired."
    ),
    gettext_noop("metal sealing"),
    gettext_noop("Polished metal dulls; it can be polished again."),
    gettext_noop("Rinse it: spots that dry white show that nothing repels water."),
    gettext_noop("trim coat"),
    gettext_noop("It greys further, which takes more work to bring back."),
    gettext_noop("Wet a patch of trim: if it turns much darker, its cover is used up."),
    gettext_noop("windscreen re-treat"),
    gettext_noop("The wipers do the work as on untreated glass."),
    gettext_noop(
        "Drive in rain and switch the wipers off for a moment at standstill: drops that spread flat show an end of "
        "the treatment."
    ),
    gettext_noop("side glass re-treat"),
    gettext_noop("Water clings as on untreated glass."),
    gettext_noop("Pour water over the side window: it should run off in drops."),
    gettext_noop("textile proofing"),
    gettext_noop("Cloth dries slower after rain; stains set more easily."),
    gettext_noop(
        "Sprinkle water on clean dry cloth: drops that darken it within a minute show that proofing is used up."
    ),
    gettext_noop("leather guard"),
    gettext_noop("Shine and dye marks on the driver's side come first."),
    gettext_noop("Put one drop of water on the seat: if it darkens the leather within a minute, the guard is used up."),
    gettext_noop("note to the coat's maker"),
    gettext_noop("It is only harder to explain later."),
    gettext_noop("Look up in the papers of the coat or film whom to tell and how."),
    gettext_noop("lay-up visit"),
    gettext_noop("A clean, dry car stores better; a plain wash and dry air do most of it."),
    gettext_noop("Wash and dry the car well, and look at it again under a lamp before the cover goes on."),
    gettext_noop("iron removal"),
    gettext_noop("Specks sit tighter with time; a wash alone does not take them."),
    gettext_noop(
        "After a wash, slide a hand in a thin plastic bag over it, and look for orange dots on light paint or wheels."
    ),
    gettext_noop("wheel re-treat off the car"),
    gettext_noop("It can wait for the next tyre change; the faces can be treated on the car meanwhile."),
    gettext_noop("With the wheels off, rinse the inside of one: dust that stays put has lost its easy release."),
    gettext_noop("wheel swap"),
    gettext_noop("The other set waits; which tyres the road and the law ask for is for the driver to say."),
    gettext_noop("Look at both sets: depth and age of the tyres, and which side each wheel came from."),
)
REASONS: Final = {
    "wear": gettext_noop("the layer there is expected to come to the end of its useful life in these weeks"),
    "interval": gettext_noop("by the calendar and its use, it is time for this again"),
    "season": gettext_noop("the season suits it, and by its use it is time for this"),
    "clogging": gettext_noop("bound dirt hides how the coat beneath really is; it is cleaned before it is judged"),
    "wash": gettext_noop("it is washed rarely, or in a way that is hard on the layers"),
    "contract": gettext_noop("your contract names a day for this"),
    "unknown": gettext_noop("too little is on record for a forecast; a look would tell"),
    "yearly": gettext_noop("a year has passed since the last look, or soon will have"),
    "first_check": gettext_noop("the new layer is looked at once, a few weeks after it went on"),
    "storage": gettext_noop("a time of storage begins or ends"),
    "event": gettext_noop("something happened to it that should be looked at"),
    "bare": gettext_noop("its layer came off, and nothing has gone on since"),
    "maker_notice": gettext_noop("work on the paint ended a lasting layer, so its maker is to be told"),
}
SURFACES: Final = (
    gettext_noop("bed"),
    gettext_noop("bonnet"),
    gettext_noop("boot"),
    gettext_noop("left doors"),
    gettext_noop("right doors"),
    gettext_noop("engine bay"),
    gettext_noop("front bumper"),
    gettext_noop("front wings"),
    gettext_noop("headlamps"),
    gettext_noop("interior"),
    gettext_noop("leather"),
    gettext_noop("rear bumper"),
    gettext_noop("rear glass"),
    gettext_noop("rear wings"),
    gettext_noop("roof"),
    gettext_noop("side glass"),
    gettext_noop("left side panel"),
    gettext_noop("right side panel"),
    gettext_noop("sills"),
    gettext_noop("soft top"),
    gettext_noop("tailgate"),
    gettext_noop("trim"),
    gettext_noop("wheels"),
    gettext_noop("windscreen"),
)


def table_words(text: str) -> str:
    """A text of the care tables in the language that is active; "" stays ""."""
    return gettext(text) if text else ""


def surfaces_words(codes: Sequence[str]) -> str:
    """Up to three surfaces by name, then how many more, in the language that is active; "the whole car" for none."""
    if not codes:
        return gettext("the whole car")
    names = [gettext(surface_words((code,))) for code in codes[:3]]
    more = len(codes) - 3
    if more > 0:
        names.append(ngettext("%(count)d more", "%(count)d more", more) % {"count": more})
    if len(names) == 1:
        return names[0]
    return gettext("%(first)s and %(last)s") % {"first": ", ".join(names[:-1]), "last": names[-1]}


def reason_words(task: str, reason_code: str, surfaces: Sequence[str]) -> str:
    """Why a window is open, by its reason, in the language that is active: "Roof and bonnet: …"."""
    reason = REASONS.get(task) or REASONS.get(reason_code)
    said = gettext(reason) if reason is not None else gettext("by our forecast it is time for this")
    return capital(f"{surfaces_words(surfaces)}: {said}.")
