"""Comprehension: for each of twenty made-up states the first sentence names the worst surface, what to do next and the
range of days, in every language of the pages."""

from __future__ import annotations

import re
from datetime import date

import pytest
from django.conf import settings
from django.utils import translation

from lifecycle.care.sentence import NextCare, SurfaceState, sentence
from lifecycle.care.wording import spoken

TODAY = date(2026, 3, 2)
LANGUAGES = [code for code, _name in settings.LANGUAGES]


def surfaces(**stages: str) -> list[SurfaceState]:
    return [SurfaceState(spoken(name), stage, "mid ceramic coat") for name, stage in stages.items()]


def care(title: str, first: tuple[int, int], last: tuple[int, int], year: int = 2026, **more: object) -> NextCare:
    return NextCare(title, date(2026, *first), date(year, *last), **more)  # type: ignore[arg-type]


WASH = care("decontamination wash", (4, 3), (4, 28))
# surfaces, the worst of them, the care, a booked day
STATES = (
    (surfaces(roof="tired", doors_left="settled"), ("roof",), WASH, None),
    (surfaces(roof="fresh", bonnet="settled"), ("bonnet",), care("inspection", (5, 1), (7, 15)), None),
    (surfaces(bonnet="end", roof="tired", doors_left="fresh"), ("bonnet",), care("re-coat", (3, 20), (6, 30)), None),
    (surfaces(bonnet="gone", roof="end"), ("bonnet",), care("wax renewal", (3, 2), (5, 2)), None),
    (surfaces(roof="tired", bonnet="tired", doors_left="fresh"), ("roof", "bonnet"), WASH, None),
    (surfaces(wheels="gone", roof="fresh", bonnet="fresh"), ("wheels",), care("wheel re-treat", (4, 1), (5, 31)), None),
    (surfaces(windscreen="end", roof="settled"), ("windscreen",), care("windscreen re-treat", (3, 5), (4, 20)), None),
    (surfaces(trim="gone", front_bumper="settled"), ("trim",), care("trim coat", (4, 10), (8, 10)), None),
    (surfaces(headlamps="tired", roof="fresh"), ("headlamps",), care("headlamp care", (6, 1), (9, 30)), None),
    (surfaces(leather="end", roof="fresh"), ("leather",), care("leather guard", (3, 15), (12, 15)), None),
    (surfaces(roof="clogged", bonnet="settled"), ("roof",), WASH, None),
    (surfaces(roof="clogged", doors_left="clogged"), ("2",), WASH, None),
    (surfaces(roof="tired", bonnet="unknown"), ("roof",), care("retest", (4, 3), (5, 3)), None),
    (surfaces(roof="settled", bonnet="end"), ("bonnet",),
     care("inspection", (3, 1), (4, 30), by=date(2026, 4, 15)), None),
    (surfaces(bonnet="settled", roof="fresh"), ("bonnet",),
     care("look at what happened to it", (3, 1), (3, 3), pressing=True), None),
    (surfaces(bonnet="tired", roof="fresh"), ("bonnet",), care("booster top-up", (2, 1), (3, 12)), None),
    (surfaces(roof="end", bonnet="fresh"), ("roof",), care("re-coat", (11, 20), (2, 10), 2027), None),
    (surfaces(soft_top="gone", bonnet="tired"), ("soft top",), care("textile proofing", (4, 2), (4, 2)), None),
    (surfaces(roof="tired", bonnet="fresh"), ("roof",), None, date(2026, 3, 19)),
    (surfaces(roof="gone", bonnet="end", doors_left="tired"), ("roof",), WASH, date(2026, 3, 30)),
)  # fmt: skip


# Words and months as German has them, written out by hand, so that the catalogue is held to something outside it.
GERMAN = {
    "roof": "Dach",
    "bonnet": "Motorhaube", "wheels": "Rädern", "windscreen": "Frontscheibe", "trim": "Kunststoffteilen",
    "headlamps": "Scheinwerfern", "leather": "Leder", "soft top": "Verdeck", "left doors": "linken Türen",
    "front bumper": "vorderen Stoßfänger", "2": "2", "decontamination wash": "Dekontaminationswäsche",
    "inspection": "Inspektion", "re-coat": "neue Versiegelung", "wax renewal": "neues Wachs",
    "wheel re-treat": "neue Felgenversiegelung", "windscreen re-treat": "neue Scheibenversiegelung",
    "trim coat": "Kunststoffversiegelung", "headlamp care": "Scheinwerferpflege", "leather guard": "Lederversiegelung",
    "retest": "Nachprüfung", "look at what happened to it": "Blick auf das, was geschehen ist",
    "booster top-up": "Nachpflege", "textile proofing": "Imprägnierung",
}  # fmt: skip
MONTHS = {
    "en": [
        "January",
        "February",
        "March",
        "April",
        "May",
        "June",
        "July",
        "August",
        "September",
        "October",
        "November",
        "December",
    ],
    "de": [
        "Januar",
        "Februar",
        "März",
        "April",
        "Mai",
        "Juni",
        "Juli",
        "August",
        "September",
        "Oktober",
        "November",
        "Dezember",
    ],
}


def in_language(word: str, language: str) -> str:
    return word if language == "en" else GERMAN[word]


def day_in(language: str, on: date) -> str:
    return f"{on.day}{'.' if language == 'de' else ''} {MONTHS[language][on.month - 1]} {on.year}"


def test_there_are_twenty() -> None:
    assert len(STATES) == 20


@pytest.mark.parametrize("language", LANGUAGES)
@pytest.mark.parametrize(("states", "worst", "next_care", "booked"), STATES)
def test_it_names_the_worst_surface_the_next_thing_and_the_range(
    states: list[SurfaceState], worst: tuple[str, ...], next_care: NextCare | None, booked: date | None, language: str
) -> None:
    with translation.override(language):
        said = sentence(states, next_care, booked_on=booked, today=TODAY)
    end = said.index(day_in(language, booked or (next_care.latest if next_care else TODAY)))
    first_mention = [said.index(in_language(name, language)) for name in worst]
    assert max(first_mention) < end, said
    # The better surfaces are not named before the worst, if at all.
    better = [one.name for one in states if one.name not in worst and one.stage in ("fresh", "settled")]
    assert all(in_language(name, language) not in said[: max(first_mention)] for name in better), said
    if booked is None and next_care is not None:
        assert in_language(next_care.title, language) in said
        if next_care.by is not None:
            assert day_in(language, next_care.by) in said
        elif not next_care.pressing and (next_care.latest - TODAY).days > 14:
            assert re.search(rf"\b{max(next_care.earliest, TODAY).day}\b", said)
    assert not re.search(r"safe|sicher", said.lower())
    if language == "de":
        assert not re.search(r"\b(the|and|on|is|are|between|nothing|best)\b", said), said
