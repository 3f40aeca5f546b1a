"""The first sentence: it names the worst surface, the next thing to do and its days, and says what can wait."""

from __future__ import annotations

from datetime import date

import pytest

from lifecycle.care.sentence import NextCare, SurfaceState, condition_words, days, next_words, sentence
from lifecycle.care.tongue.names import a_task

TODAY = date(2026, 3, 2)
WASH = NextCare("decontamination wash", date(2026, 4, 3), date(2026, 4, 28))


def state(name: str, stage: str, layer: str = "mid ceramic coat") -> SurfaceState:
    return SurfaceState(name, stage, layer)


ROOF_TIRED = [state("roof", "tired"), state("bonnet", "settled"), state("doors", "settled")]


def test_the_whole_sentence() -> None:
    assert sentence(ROOF_TIRED, WASH, booked_on=None, today=TODAY) == (
        "The mid ceramic coat on the roof is tired; the rest is settled. "
        "Nothing is urgent; a decontamination wash between 3 and 28 April 2026 would do most good."
    )


@pytest.mark.parametrize(
    ("states", "says"),
    [
        ([], "No surface is on record yet."),
        ([state("roof", "fresh"), state("doors", "fresh")], "The mid ceramic coat on all 2 surfaces is fresh."),
        ([state("roof", "gone", "wax")], "The wax on the roof is used up."),
        ([state("roof", "unknown"), state("doors", "unknown")], "How the protection is doing is not known yet."),
        (
            [state("roof", "end"), state("bonnet", "end", "wax"), state("doors", "fresh"), state("sills", "settled")],
            "The layers on the roof and the bonnet are at their end; the rest is settled or better.",
        ),
        (
            [state("roof", "clogged"), state("doors", "settled")],
            "Grime hides how much is left on the roof. The mid ceramic coat on the doors is settled.",
        ),
        ([state("roof", "clogged"), state("doors", "clogged")], "Grime hides how much is left on all 2 surfaces."),
        (
            [SurfaceState("roof", "settled", "wax", grimy=True), state("doors", "fresh")],
            "The wax on the roof is settled; the rest is fresh; grime may make it look worse on the roof.",
        ),
        (
            [state(name, "tired") for name in "abcd"] + [state("e", "fresh")],
            "The mid ceramic coat on 4 of 5 surfaces is tired; the rest is fresh.",
        ),
        (
            [state("roof", "tired"), state("doors", "fresh"), state("sills", "unknown")],
            "The mid ceramic coat on the roof is tired; what else is known is fresh.",
        ),
        ([state("roof", "tired"), state("sills", "bare", "")], "The mid ceramic coat on the roof is tired."),
    ],
)
def test_how_it_is(states: list[SurfaceState], says: str) -> None:
    assert condition_words(states) == says


@pytest.mark.parametrize(
    ("care", "booked_on", "says"),
    [
        (None, None, "Nothing needs doing now."),
        (None, date(2026, 4, 12), "A visit is booked for 12 April 2026; nothing else needs doing now."),
        (WASH, date(2026, 4, 12), "A visit is booked for 12 April 2026."),
        (
            NextCare("re-coat", date(2026, 1, 9), date(2026, 5, 28)),
            None,
            "Nothing is urgent; a re-coat between 2 March and 28 May 2026 would do most good.",
        ),
        (
            NextCare("headlamp care", date(2026, 12, 9), date(2027, 1, 8)),
            None,
            "Nothing is urgent; headlamp care between 9 December 2026 and 8 January 2027 would do most good.",
        ),
        (
            NextCare("sealant renewal", date(2026, 2, 1), date(2026, 3, 12)),
            None,
            "Best done soon: a sealant renewal before 12 March 2026.",
        ),
        (
            NextCare("look at what happened to it", date(2026, 3, 2), date(2026, 3, 30), pressing=True),
            None,
            "Best done soon: a look at what happened to it before 30 March 2026.",
        ),
        (NextCare("retest", date(2026, 2, 1), TODAY), None, "Best done now: a retest."),
        (
            NextCare("inspection", date(2026, 4, 1), date(2026, 5, 31), by=date(2026, 5, 1)),
            None,
            "The contract asks for an inspection by 1 May 2026; between 1 April and 31 May 2026 fits.",
        ),
        (
            NextCare("inspection", date(2026, 1, 1), date(2026, 3, 9), by=date(2026, 2, 1)),
            None,
            "The contract asked for an inspection by 1 February 2026; call the studio about it.",
        ),
    ],
)
def test_what_next(care: NextCare | None, booked_on: date | None, says: str) -> None:
    assert next_words(care, booked_on=booked_on, today=TODAY) == says


def test_articles_and_days() -> None:
    assert [a_task(title) for title in ("inspection", "re-coat", "engine bay care", "textile proofing")] == [
        "an inspection", "a re-coat", "engine bay care", "textile proofing",
    ]  # fmt: skip
    assert days(TODAY, TODAY) == "on 2 March 2026"


def test_never_a_promise_of_safety_and_never_a_percentage() -> None:
    for stage in ("fresh", "settled", "tired", "end", "gone", "clogged", "unknown", "bare"):
        said = sentence([state("roof", stage)], WASH, booked_on=None, today=TODAY)
        assert "safe" not in said.lower()
        assert "%" not in said
        assert "warranty" not in said.lower()
