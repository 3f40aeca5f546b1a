"""The turns of the salt season: the wheel swap where two sets are known, and sealant on sills before the salt.

Glass before autumn is `part_rules.before_autumn`, washing off the salt `clean_rules.spring_window`. Days are those of
the northern year, half a year later in the south. Which tyres the road and the law ask for is not ours to say.
"""

from __future__ import annotations

from collections.abc import Iterator
from datetime import date, timedelta

from lifecycle.care.candidates import Candidate, not_before
from lifecycle.care.chances import Window
from lifecycle.care.curing import touchable_on
from lifecycle.care.facts import CareFacts, SurfaceFacts
from lifecycle.care.iron_rules import WHEEL, is_mounted
from lifecycle.care.tasks_table import interval
from lifecycle.care.wording import between, changed_words, day_words, known_words, spoken

# Before the salt season (November to March) and after it; the days are judgement.
BEFORE_SALT = ((9, 25), (10, 15), (10, 31))
AFTER_SALT = ((3, 20), (4, 15), (5, 10))
NAMED_LATE = timedelta(days=46)  # a missed turn is named for so long, as a missed spring wash is (judgement)
STAYS = "all_year"


def season_windows(facts: CareFacts, days: tuple[tuple[int, int], ...]) -> list[Window]:
    """The windows of one turn of the season from last year's to the next but one, soonest first."""
    years = range(facts.as_of.year - 1, facts.as_of.year + 3)
    found = []
    for year in years:
        first, ideal, last = (facts.season_day(year, *day) for day in days)
        found.append((first, ideal, last))
    return found


def _stored(facts: CareFacts, day: date) -> bool:
    return any(one.start <= day and (one.end is None or day < one.end) for one in facts.storage)


def wheel_sets(facts: CareFacts) -> tuple[SurfaceFacts, SurfaceFacts] | None:
    """(The set that is on, the set that waits), where two sets are known and the record says which one is on."""
    sets = [one for one in facts.surfaces if one.orientation == WHEEL and one.given and one.given.mounted]
    on = [one for one in sets if is_mounted(one, facts.as_of)]
    off = [one for one in sets if not is_mounted(one, facts.as_of)]
    return (on[0], off[0]) if len(on) == 1 and len(off) == 1 else None


def _turns(code: str) -> tuple[tuple[tuple[int, int], ...], ...]:
    """When a set comes off: winter wheels after the salt, summer wheels before it, one of no known season at both."""
    if code.startswith(STAYS):
        return ()
    if "winter" in code:
        return (AFTER_SALT,)
    return (BEFORE_SALT,) if "summer" in code else (BEFORE_SALT, AFTER_SALT)


def swap_window(facts: CareFacts) -> Window | None:
    """The next turn of the season at which the set that is on comes off; None without two sets, or in storage."""
    sets = wheel_sets(facts)
    if sets is None or sets[1].code.startswith(STAYS):
        return None
    on, _waiting = sets
    since = max(one.start for one in (on.given.mounted if on.given else ()))
    for window in sorted(one for days in _turns(on.code) for one in season_windows(facts, days)):
        if window[0] > since and window[2] + NAMED_LATE >= facts.as_of and not _stored(facts, window[1]):
            return window
    return None


def wheel_swaps(facts: CareFacts) -> Iterator[Candidate]:
    """The set that is on makes room for the one that waits, before and after the salt season."""
    sets, window = wheel_sets(facts), swap_window(facts)
    if sets is None or window is None:
        return
    on, waiting = sets
    since = max(one.start for one in (on.given.mounted if on.given else ()))
    autumn = facts.season_day(window[1].year, *BEFORE_SALT[1]) == window[1]
    yield Candidate(
        task="wheel_swap",
        surfaces=(waiting.code,),
        window=window,
        reason="season",
        cause=f"the salt season {'begins soon' if autumn else 'ends'} and the {spoken(on.code)} are on",
        known=f"The {spoken(on.code)} have been on since {day_words(since)}, as far as the record says.",
        changed=changed_words(None, facts, note="The season turns."),
        expected=f"The swap fits {between(window[0], window[2])}; what comes off is cleaned before it is stored.",
        keys=tuple(layer.key for layer in waiting.layers),
    )


def sills_before_winter(facts: CareFacts) -> Iterator[Candidate]:
    """Sealed sills are sealed anew before road salt, unless that was done shortly before."""
    if not facts.salted:
        return
    for surface in facts.painted():
        layer = surface.live(frozenset({"sealant"}))
        if surface.orientation != "sill" or layer is None or layer is not surface.layers[-1]:
            continue
        rest = timedelta(days=interval("sills.rest_days"))
        bound = touchable_on(surface, facts)
        for window in season_windows(facts, BEFORE_SALT):
            if window[2] < facts.as_of or layer.applied > window[0] - rest or _stored(facts, window[1]):
                continue
            yield Candidate(
                task="sealant_renewal",
                surfaces=(surface.code,),
                window=not_before(window, bound),
                reason="season",
                cause="the salt season begins soon and sills meet the salt first",
                known=known_words(layer, facts.as_of),
                changed=changed_words(layer, facts),
                expected=f"Sealed {between(window[0], window[2])}, they meet the salt with a fresh layer.",
                keys=(layer.key,),
                not_before=bound,
            )
            break
