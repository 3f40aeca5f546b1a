"""Comprehension: for each of twenty made-up states the first sentence names the worst surface, what to do next and the
range of days, in every language that is switched on (and in German dates, whether or not its catalogue is)."""

from __future__ import annotations

from datetime import date

import pytest
from django.conf import settings
from django.utils import translation
from django.utils.formats import date_format

from lifecycle.care.sentence import NextCare, SurfaceState, sentence

TODAY = date(2026, 3, 2)
LANGUAGES = sorted({code for code, _name in settings.LANGUAGES} | {"de"})


def surfaces(**stages: str) -> list[SurfaceState]:
    return [SurfaceState(name, stage, "coat") for name, stage in stages.items()]


def care(title: str, first: tuple[int, int], last: tuple[int, int], year: int = 2026, **more: object) -> NextCare:
    return NextCare(title, date(2026, *first), date(year, *last), **more)  # type: ignore[arg-type]


WASH = care("decontamination wash", (4, 3), (4, 28))
# surfaces, the worst of them, the care, a booked day
STATES = (
    (surfaces(roof="tired", doors="settled"), ("roof",), WASH, None),
    (surfaces(roof="fresh", bonnet="settled"), ("bonnet",), care("inspection", (5, 1), (7, 15)), None),
    (surfaces(bonnet="end", roof="tired", doors="fresh"), ("bonnet",), care("re-coat", (3, 20), (6, 30)), None),
    (surfaces(bonnet="gone", roof="end"), ("bonnet",), care("wax renewal", (3, 2), (5, 2)), None),
    (surfaces(roof="tired", bonnet="tired", doors="fresh"), ("roof", "bonnet"), WASH, None),
    (surfaces(wheels="gone", roof="fresh", bonnet="fresh"), ("wheels",), care("wheel re-treat", (4, 1), (5, 31)), None),
    (surfaces(windscreen="end", roof="settled"), ("windscreen",), care("windscreen re-treat", (3, 5), (4, 20)), None),
    (surfaces(trim="gone", film="settled"), ("trim",), care("trim coat", (4, 10), (8, 10)), None),
    (surfaces(lamps="tired", roof="fresh"), ("lamps",), care("headlamp care", (6, 1), (9, 30)), None),
    (surfaces(leather="end", roof="fresh"), ("leather",), care("leather guard", (3, 15), (12, 15)), None),
    (surfaces(roof="clogged", bonnet="settled"), ("roof",), WASH, None),
    (surfaces(roof="clogged", doors="clogged"), ("2",), WASH, None),
    (surfaces(roof="tired", bonnet="unknown"), ("roof",), care("retest", (4, 3), (5, 3)), None),
    (surfaces(roof="settled", bonnet="end"), ("bonnet",),
     care("inspection", (3, 1), (4, 30), by=date(2026, 4, 15)), None),
    (surfaces(bonnet="settled", roof="fresh"), ("bonnet",),
     care("event response", (3, 1), (3, 3), pressing=True), None),
    (surfaces(bonnet="tired", roof="fresh"), ("bonnet",), care("booster top-up", (2, 1), (3, 12)), None),
    (surfaces(roof="end", bonnet="fresh"), ("roof",), care("re-coat", (11, 20), (2, 10), 2027), None),
    (surfaces(soft_top="gone", bonnet="tired"), ("soft_top",), care("textile proofing", (4, 2), (4, 2)), None),
    (surfaces(roof="tired", bonnet="fresh"), ("roof",), None, date(2026, 3, 19)),
    (surfaces(roof="gone", bonnet="end", doors="tired"), ("roof",), WASH, date(2026, 3, 30)),
)  # fmt: skip


def test_there_are_twenty() -> None:
    assert len(STATES) == 20


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("states", "worst", "next_care", "booked"), STATES)
def test_it_names_the_worst_surface_the_next_thing_and_the_range(
    states: list[SurfaceState], worst: tuple[str, ...], next_care: NextCare | None, booked: date | None, language: str
) -> None:
    with translation.override(language):
        said = sentence(states, next_care, booked_on=booked, today=TODAY)
        last = date_format(booked or (next_care.latest if next_care else TODAY), "j F Y")
        end = said.index(last)
    first_mention = [said.index(name) for name in worst]
    assert max(first_mention) < end, said
    # The better surfaces are not named before the worst, if at all.
    better = [one.name for one in states if one.name not in worst and one.stage in ("fresh", "settled")]
    assert all(name not in said[: max(first_mention)] for name in better), said
    if booked is None and next_care is not None:
        assert next_care.title in said
        if next_care.by is not None:
            with translation.override(language):
                assert date_format(next_care.by, "j F Y") in said
        elif not next_care.pressing and (next_care.latest - TODAY).days > 14:
            assert str(max(next_care.earliest, TODAY).day) in said
    assert "safe" not in said.lower()
