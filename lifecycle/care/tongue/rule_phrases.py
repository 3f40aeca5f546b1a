"""What the care rules say about a vehicle, sentence by sentence, as the catalogues of languages hold it.

The rules know no Django and write English; `speak.say` finds the sentence here that a text was made from, with what
stands in its gaps. What a gap may hold is told by its name (`speak.GAPS`). A test says every sentence of the rules.
"""

from __future__ import annotations

from typing import Final

from django.utils.translation import gettext_noop as _

WHY: Final = (
    _("%(where)s: %(words)s."),
    _("%(where)s: %(words)s; the %(title)s %(words2)s"),
    _("fits %(span)s"),
    _("fits %(span)s, best around %(day)s"),
    _("is overdue since %(day)s and %(words)s"),
    _("has been worth talking about since %(day)s and %(words)s"),
)
CAUSES: Final = (
    _("clogged, wear unknown: missing beads on dirt say little, so the coat is cleaned before it is judged"),
    _("by our estimate so much bound dirt has gathered that beads say little about the coat beneath"),
    _("last decontaminated on %(day)s as far as we know, and %(words)s"),
    _("the salt season has ended or ends soon, and %(words)s"),
    _("dirt gathers here faster than usual"),
    _("dirt gathers here slower than usual"),
    _("dirt gathers here about as fast as usual"),
    _("the paint is washed rarely"),
    _("the wash in use is hard on the layers"),
    _("the contract names %(day)s"),
    _("the contract names %(day)s, give or take %(n)s days"),
    _("the contract (%(text)s) names %(day)s"),
    _("the contract (%(text)s) names %(day)s, give or take %(n)s days"),
    _("no forecast can be given"),
    _("no forecast can be given without a layer on record"),
    _("the yearly look, counted from %(day)s"),
    _("%(the_layer)s of %(day)s is new"),
    _("edges of %(the_layer)s lift first where nobody looks"),
    _("storage begins on %(day)s"),
    _("storage ends on %(day)s"),
    _("clogged, wear unknown: the water test counts only after a decontamination wash"),
    _("the water test counts only after a decontamination wash, which is due as well"),
    _("%(the_layer)s was last built up on %(day)s, and at this use a top-up %(words)s keeps it slick"),
    _("no more than once a year"),
    _("every %(n)s to %(n2)s months"),
    _("%(the_layer)s is expected to end its useful life %(span)s"),
    _("%(the_layer)s is expected to end its useful life %(span)s and the season suits it"),
    _("after the retest of %(day)s %(words)s"),
    _("its %(layer)s came off on %(day)s and nothing has gone on since"),
    _("brake dust brings iron, last taken off as far as we know on %(day)s"),
    _("iron settles on paint, last taken off as far as we know on %(day)s"),
    _("iron specks were felt or seen on %(day)s"),
    _("the salt season begins soon and the %(surface)s are on"),
    _("the salt season ends and the %(surface)s are on"),
    _("the salt season begins soon and sills meet the salt first"),
    _("%(mishap)s of %(day)s is to be softened and lifted, not rubbed"),
    _("%(mishap)s of %(day)s%(hot)s is to be softened and lifted, not rubbed%(soon)s"),
    _("%(mishap)s of %(day)s%(hot)s, on it for about %(n)s hours or more is to be softened and lifted, not "
      "rubbed%(soon)s"),
    _("a flood of %(day)s is to be looked at before anything is cleaned"),
    _("corrected on %(day)s, which ended %(the_layer)s there, so its maker is to be told"),
    _("repainted on %(day)s, which ended %(the_layer)s there, so its maker is to be told"),
    _("replaced on %(day)s, which ended %(the_layer)s there, so its maker is to be told"),
)  # fmt: skip
TAILS: Final = (_(" in hot weather"), _(", the same day"), _(", within 24 to 48 hours"))
KNOWN: Final = (
    _("As far as we know it was last free of bound dirt on %(day)s; an estimate of %(n)s to %(n2)s tenths of the "
      "way to "
      "clogged."),
    _("About %(n)s washes a year are on record (%(source)s)."),
    _("The studio has no record of a look at this car."),
    _("The state of the car: %(words)s."),
    _("an estimate, not seen since %(day)s"),
    _("last seen by the studio on %(day)s"),
    _("%(the_layer)s went on %(day)s; %(words)s."),
    _("As far as we know it was last free of iron on %(day)s."),
    _("When it was last free of iron is not on record."),
    _("It was reported for %(day)s; nobody at the studio has looked at it since."),
    _("%(the_layer)s there ended on %(day)s; other panels keep theirs and their age."),
    _("%(the_layer)s came off on %(day)s; the other panels keep theirs."),
    _("Layers age in storage too, only slower; their life stays capped by the calendar."),
    _("The %(surface)s have been on since %(day)s, as far as the record says."),
)  # fmt: skip
CHANGED: Final = (
    _("Nothing new is known since it was applied or last seen."),
    _("What wears it most here: %(wear)s."),
    _("The bristle tunnel rubs about 2 to 3 times as hard as two buckets: changing the wash comes before buying a "
      "coat."),
    _("The self service brush rubs about 2 to 3 times as hard as two buckets: changing the wash comes before buying a "
      "coat."),
    _("The soft cloth tunnel rubs about 2 to 3 times as hard as two buckets: changing the wash comes before buying a "
      "coat."),
    _("The strong cleaner takes about 2.5 to 3.5 times as much of a layer as a neutral one: changing the wash comes "
      "before buying a coat."),
    _("Bound dirt covers the surface."),
    _("A new layer has gone on."),
    _("The car stands still for a time, and no reminders are sent meanwhile."),
    _("A top-up goes only onto a cured, decontaminated coat that is still bonded, and does not restart its age."),
    _("Cheaper first: nothing now, or a sealant every 4 to 6 months; a re-coat is talked about, not pressed."),
    _("The retest decides between leaving it, a top-up and talking about a re-coat."),
    _("This panel alone stands bare."),
    _("At this use a wax lasts weeks; a polymer sealant lasts longer here and needs fewer visits."),
    _("Hybrid: no steam and nothing near high-voltage parts and orange cables, never while charging; trained people "
      "only."),
    _("The season turns."),
    _("%(mishap)s has come onto the car."),
    _("Work on the paint has ended a lasting layer."),
)  # fmt: skip
EXPECTED: Final = (
    _("At this use a decontamination fits about every %(n)s to %(n2)s months."),
    _(
        "After one decontamination water behaviour returns usefully in %(n)s to %(n2)s in 10 such cases; a retest "
        "tells."
    ),
    _("It fits %(span)s; washing it yourself every 2 to 4 weeks does the same."),
    _("A look %(span)s narrows every range of the forecast."),
    _("A first check %(span)s usually finds nothing."),
    _("A look %(span)s finds a lifted edge while it can still be laid down."),
    _("The visit fits %(span)s."),
    _("In about 8 of 10 such cases its useful life ends %(span)s."),
    _("In about 8 of 10 such cases its useful life ends %(span)s (part of that range is already behind us)."),
    _("No forecast is given for it."),
    _("Bare clear coat bears some weeks to months without a layer; wax or sealant is the cheaper cover."),
    _("Most specks come off without rubbing; what stays is left to the clay, within the clear-coat budget."),
    _("The swap fits %(span)s; what comes off is cleaned before it is stored."),
    _("Sealed %(span)s, they meet the salt with a fresh layer."),
    _("How likely a mark stays depends on warmth and hours: from 1 to 9 in 10 such cases."),
    _("A mark stays in about %(n)s to %(n2)s in 10 such cases; it is fewer if it is off within 3 to 6 hours."),
    _("If one stays, the clear-coat budget is checked before any polishing."),
    _("An answer usually comes within 2 to 4 weeks; what the work means is the maker's to say."),
)
REFUSED: Final = (
    _("No re-coat yet on %(where)s: %(words)s."),
    _("No booster yet on %(where)s: %(words)s."),
    _("No re-coat on %(where)s: %(words)s."),
    _("No re-coat on %(where)s: %(words)s; a wax or sealant stays possible."),
    _("No booster on %(where)s: a top-up does not rescue a coat that has come to its end."),
    _("No re-coat on %(where)s yet: first a decontamination wash and a retest, which may show that it still works."),
    _("No new film on %(where)s yet: the studio looks at the old one first."),
    _("No iron remover on bare metal (%(where)s)."),
    _("No correction on %(where)s: %(words)s."),
    _("No correction on %(where)s: %(words)s (%(words2)s)."),
    _("No cut and refine on %(where)s: %(words)s."),
    _("No cut and refine on %(where)s: %(words)s (%(words2)s)."),
    _("No engine bay cleaning on an electric vehicle: no steam, no degreaser, nothing near high-voltage parts and "
      "orange "
      "cables, and never while charging; trained people may wipe plastic covers dry (%(where)s)."),
    _("clogged, so the wear is unknown; decontaminate and retest first"),
    _("bound dirt hides how the coat really is; decontaminate and retest first"),
    _("single-stage paint has no clear coat over its colour: polishing takes the colour itself"),
    _("matte paint is never polished: it would turn glossy in patches"),
    _("the clear-coat budget is not known, and film readings come first"),
    _("the low end of the clear-coat budget is used up"),
    _("the low end of the clear-coat budget leaves room for light finishing only"),
    _("the clear-coat budget leaves room for one step at most, with consent"),
    _("the clear-coat budget is not known, and the old coat comes off by light polishing; film readings come first"),
    _("the low end of the clear-coat budget is used up, and the old coat comes off by light polishing"),
    _("the low end of the clear-coat budget is used up, and the old coat comes off by light polishing (%(words)s)"),
)  # fmt: skip
PHRASES: Final = (*WHY, *CAUSES, *TAILS, *KNOWN, *CHANGED, *EXPECTED, *REFUSED)
