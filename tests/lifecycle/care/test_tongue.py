"""Every sentence that the rules, the wear model and the climate write has a phrase, so that it can be said in German;
names have German words; figures change their units by exact factors."""

from __future__ import annotations

import ast
import inspect
from itertools import product
from pathlib import Path

import pytest
from django.conf import settings
from django.utils import translation
from django.utils.translation import gettext, pgettext

from lifecycle.care import guide, history, surface_presets
from lifecycle.care.reports import content
from lifecycle.care.rules import TASKS
from lifecycle.care.tongue import error_phrases, measures, names, rule_phrases, speak, table_words, wear_phrases
from lifecycle.care.vehicle_view import cautions_for
from lifecycle.care.wording import LAYER_WORDS, MECHANISM_WORDS, capital, spoken
from lifecycle.wear import choices, words
from lifecycle.wear.evidence import Posterior, evidence_sentence
from lifecycle.wear.types import HabitPeriod, Mechanism, Place
from tests.english import english_in
from tests.lifecycle import (
    care_states,
    test_care_parts,
    test_care_rules,
    test_care_scenarios,
    test_care_table,
    test_care_windows,
    test_care_words,
)

PHRASES = (*rule_phrases.PHRASES, *wear_phrases.PHRASES, *error_phrases.PHRASES, *table_words.TABLES)
RULE_TESTS = (
    test_care_parts, test_care_rules, test_care_scenarios, test_care_table, test_care_windows, test_care_words,
)  # fmt: skip
# What an f-string of the wear model puts into its gaps; a figure where it is not named here.
SAMPLES = {
    "surface.substrate.capitalize()": "Plastic", "surface.substrate": "steel", "thickness.method": "magnetic",
    "room": "The budget is 1.5 to 4 µm", "used": "Cfb", "koppen_class": "Cfa", "kind": "milder",
    "cell.koppen_class": "Cfb", "table_class": "Csa",
}  # fmt: skip
# Surfaces of the rule tests that no vehicle has: named after the layer on them.
MADE_UP = ("Film top coat", "Windscreen wipe on")
WEAR = Path(settings.BASE_DIR) / "lifecycle"


@pytest.fixture(scope="module")
def reports():
    """The reports of all rule tests that need no fixture: the cases that the rules are held to."""
    found, original = [], care_states.assess_due

    def noted(**given):
        found.append(original(**given))
        return found[-1]

    care_states.assess_due = noted
    try:
        for module in RULE_TESTS:
            for name, test in vars(module).items():
                if name.startswith("test_") and inspect.isfunction(test) and not inspect.signature(test).parameters:
                    test()
    finally:
        care_states.assess_due = original
    return found


def strange(texts):
    """Texts with the parts that no phrase holds; hand-built forecasts give one reason that no model does."""
    found = {(text, unknown) for text in texts if (unknown := speak.unknown_in(text))}
    return sorted(one for one in found if one[1] != ("made up for a test",))


def test_every_sentence_of_the_care_rules_has_a_phrase(reports):
    assert len(reports) > 60
    texts = {one.why for report in reports for one in (*report.dues, *report.refused)}
    for report in reports:
        for due in report.dues:
            texts |= {due.cause, due.known, due.changed, due.expected}
    assert len(texts) > 150
    assert strange(texts) == []


def test_in_german_no_sentence_of_the_rules_keeps_english(reports):
    """Against the fixed words of the phrases themselves, long enough not to stand in German by chance."""
    english = {
        part.strip() for msgid in rule_phrases.PHRASES for part in speak._GAP.split(msgid) if len(part.strip()) > 12
    }
    with translation.override("de"):
        for report in reports:
            for due in report.dues:
                for text in (due.why, due.known, due.changed, due.expected):
                    said = speak.say(text)
                    assert said != text
                    assert [part for part in english if part in said] == [], said


def test_in_german_nothing_of_a_reason_is_english(reports):
    """What a mail says ("cause") and what a page says, word by word."""
    wrong = set()
    with translation.override("de"):
        for report in reports:
            texts = {one.why for one in report.refused}
            for due in report.dues:
                texts |= {due.why, due.cause, due.known, due.changed, due.expected, due.prevents, due.self_check}
            wrong |= {(text, left[0]) for text in texts if (left := english_in(speak.say(text), MADE_UP))}
    assert sorted(one for one in wrong if "made up for a test" not in one[0]) == []


def test_a_mail_says_a_reason_whole_or_not_at_all():
    with translation.override("de"):
        assert speak.say_whole("Whole car: storage ends on 1 April 2026.") == (
            "Ganzes Fahrzeug: die Einlagerung endet am 1. April 2026."
        )
        assert speak.say_whole("Roof: the moon rose over it.") is None
    assert speak.say_whole("Roof: the moon rose over it.") == "Roof: the moon rose over it."


def test_reasons_of_wear_for_every_habit():
    habits = product(choices.PARKING, choices.WASH_METHODS, choices.WASH_PH, choices.ROAD_SALT)
    texts = set()
    for number, (parking, method, ph, salt) in enumerate(habits):
        habit = HabitPeriod(care_states.AS_OF, None, parking, 12_000, method, 26, ph, salt, number % 4, "asked")
        place = Place(58.0, 6.0, 10.0, 300.0 if number % 2 else None)
        for mechanism in Mechanism:
            colour = choices.COLOURS[number % len(choices.COLOURS)]
            given = {"habit": habit, "place": place, "colour": colour, "stored": number % 7 == 0}
            texts.add(words.reason_sentence(mechanism, **given))
    assert len(texts) > 100
    assert strange(texts) == []


def test_what_readings_say():
    fields = dict.fromkeys(inspect.signature(Posterior).parameters, 0)
    texts = set()
    for used, weight, change, narrowing in product((0, 1, 2, 6, 9), (0.01, 3.0), (-0.2, 0.0, 0.3), (0.0, 0.4)):
        told = fields | {"used": used, "weight": weight}
        posterior = type("Told", (), {**told, "life_change": change, "narrowing": narrowing})()
        texts.add(evidence_sentence(posterior))
    assert len(texts) > 20
    assert strange(texts) == []


def sentences_of(path: str) -> set[str]:
    """The sentences in a module's source, gaps filled; docstrings, errors and joined fragments apart."""
    tree = ast.parse((WEAR / path).read_text(encoding="utf-8"))
    apart = {id(node) for outer in ast.walk(tree) if isinstance(outer, ast.Raise) for node in ast.walk(outer)}
    apart |= {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
    apart |= {
        id(part) for node in ast.walk(tree) if isinstance(node, ast.JoinedStr) and id(node) not in apart
        for part in node.values
    }  # fmt: skip
    found = set()
    for node in ast.walk(tree):
        if id(node) in apart:
            continue
        if isinstance(node, ast.JoinedStr):
            text = "".join(
                part.value if isinstance(part, ast.Constant) else SAMPLES.get(ast.unparse(part.value), "7")
                for part in node.values
            )
        else:
            text = node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else ""
        if text.count(" ") > 2 and text.endswith(".") and text[:1].isupper():
            found.add(text)
    return found


@pytest.mark.parametrize(
    ("path", "least"),
    [
        ("wear/clearcoat.py", 14), ("wear/layers.py", 5), ("wear/assessment.py", 1), ("wear/degradation.py", 2),
        ("wear/timeline.py", 3), ("wear/spread.py", 1), ("climate/class_table.py", 5),
    ],
)  # fmt: skip
def test_sentences_of_the_model_have_phrases(path, least):
    texts = {text for text in sentences_of(path) if not text.startswith("Most of the range")}
    assert len(texts) >= least
    assert strange(texts) == []


def test_a_text_of_nobody_stays_and_is_called_strange():
    assert speak.unknown_in("The moon rose over the bay.") == ("The moon rose over the bay.",)
    assert speak.unknown_in("Sunlight: under the moon.") == ("under the moon",)
    with translation.override("de"):
        assert speak.say("The moon rose over the bay.") == "The moon rose over the bay."
    assert speak.say("") == ""


@pytest.mark.parametrize(
    ("english", "german"),
    [
        (
            "Roof, left doors and 2 more: the salt season has ended or ends soon, and dirt gathers here faster than "
            "usual; the decontamination wash is overdue since 3 March 2026 and fits between 4 March 2026 and 1 May "
            "2026, best around 5 April 2026.",
            "Dach, linke Türen und 2 weitere: die Streusalzzeit ist vorbei oder endet bald, und Schmutz sammelt sich "
            "hier schneller als üblich; Dekontaminationswäsche ist seit dem 3. März 2026 überfällig und passt zwischen "
            "dem 4. März 2026 und dem 1. Mai 2026, am besten um den 5. April 2026.",
        ),
        (
            "Three readings made the expected life about 15 % longer than habits alone tell, and the range about 40 % "
            "narrower.",
            "Drei Messungen machten die erwartete Lebensdauer etwa 15 % länger, als die Nutzung allein sagt, und die "
            "Spanne etwa 40 % enger.",
        ),
        (
            "The budget is 1.5 to 4.0 µm; one step takes 1 to 2 µm: only the worst spots, with consent.",
            "Das Budget beträgt 1,5 bis 4,0 µm; ein Schritt nimmt 1 bis 2 µm: nur die schlimmsten Stellen, mit "
            "Einverständnis.",
        ),
        (
            "The contract (Care plan 3) names 1 May 2026, give or take 30 days.",
            "Der Vertrag (Care plan 3) nennt den 1. Mai 2026, plus oder minus 30 Tage.",
        ),
    ],
)
def test_said_in_german(english, german):
    assert speak.say(english) == english
    with translation.override("de"):
        assert speak.say(english) == german


def test_words_of_the_tables_are_marked():
    tasks = TASKS.values()
    assert set(table_words.PREVENTS) == {task.prevents for task in tasks if task.prevents}
    cautions = {task.caution for task in tasks if task.caution}
    electric = set(cautions_for(TASKS["engine_bay"], powertrain="electric"))
    assert set(table_words.CAUTIONS) == cautions | electric
    assert content.ELECTRIC in PHRASES
    fixed = {content.PRE_EXISTING, content.NOTICED, content.NONE_FOUND, content.LIMITS, *content.CAUTIONS}
    assert fixed | set(content.CAUTION_OF.values()) <= set(PHRASES)
    assert {one.source for one in guide.table()} == set(table_words.GUIDE_SOURCES)


def test_names_have_german_words():
    codes = {
        one.code
        for value in vars(surface_presets).values() for one in (value if isinstance(value, tuple) else (value,))
        if isinstance(one, surface_presets.SurfacePreset)
    } | {f"{season}_wheels" for season in ("winter", "summer", "all_year")}  # fmt: skip
    plain = [spoken(code) for code in codes] + [*LAYER_WORDS.values(), *MECHANISM_WORDS.values()]
    plain += [capital(one) for one in MECHANISM_WORDS.values()]
    plain += [*history.EVENT_WORDS.values(), *history.STAGE_WORDS.values()]
    plain += [one for one, _unit in history.READING_WORDS.values()] + [task.title for task in TASKS.values()]
    with translation.override("de"):
        same = [one for one in plain if gettext(one) == one]
        assert [word for word in LAYER_WORDS.values() if pgettext("the", word) == word] == []
        assert [spoken(code) for code in codes if pgettext("on the", spoken(code)) == spoken(code)] == []
        assert [task.title for task in TASKS.values() if pgettext("a", task.title) == task.title] == []
        assert names.on_surfaces("roof", "sills") == "auf dem Dach und auf den Schwellern"
        assert names.on_surfaces("ashtray") == "im Bereich „ashtray“"
        assert names.the_layer("wax") == "das Wachs"
    assert same == []
    assert names.on_surfaces("roof", "sills") == "on the roof and the sills"
    assert names.the_layer("wax") == "the wax"


class TestMeasures:
    """Factors: NIST Special Publication 811 (2008), B.8: mile 1.609 344 km, mil 25.4 µm, t/°F = 1.8 t/°C + 32."""

    @pytest.mark.parametrize(
        ("system", "distance", "thickness", "warmth"),
        [("metric", 1.609344, 25.4, 100.0), ("uk", 1.0, 25.4, 100.0), ("us", 1.0, 1.0, 212.0)],
    )
    def test_exact_factors(self, system, distance, thickness, warmth):
        with measures.shown_in(system):
            assert measures.to_distance(1.609344) == pytest.approx(distance, abs=1e-12)
            assert measures.to_thickness(25.4) == pytest.approx(thickness, abs=1e-12)
            assert measures.to_temperature(100.0) == pytest.approx(warmth, abs=1e-12)
            assert measures.to_km(measures.to_distance(15_000.0)) == pytest.approx(15_000.0, abs=1e-9)

    @pytest.mark.parametrize(
        ("language", "system", "says"),
        [
            ("en", "metric", ("15\u00a0000 km", "0.02 µm", "0.6 µm", "118 µm")),
            ("de", "metric", ("15\u00a0000 km", "0,02 µm", "0,6 µm", "118 µm")),
            ("en", "uk", ("9\u00a0300 miles", "0.02 µm", "0.6 µm", "118 µm")),
            ("de", "us", ("9\u00a0300 Meilen", "0,0008 mil", "0,024 mil", "4,6 mil")),
        ],
    )
    def test_figures_in_words(self, language, system, says):
        with translation.override(language), measures.shown_in(system):
            shown = [measures.distance_words(15_000), *map(measures.thickness_words, (0.02, 0.6, 118.0))]
        assert tuple(shown) == says

    def test_sentences_of_the_model_in_other_units(self):
        text = "The budget is 1.5 to 4.0 µm; at 25 °C after 12000 km. Not kWh/m², nor 3 kmol."
        assert measures.in_text(text) == text
        with measures.shown_in("uk"):
            assert "after 7500 miles" in measures.in_text(text)
            assert "1.5 to 4.0 µm; at 25 °C" in measures.in_text(text)
        with measures.shown_in("us"):
            assert measures.in_text(text).startswith("The budget is 0.06 to 0.16 mil; at 77 °F after 7500 miles.")
            assert speak.say("about 10000 km a year") == "about 6200 miles a year"

    def test_what_is_usual_where(self):
        assert [measures.of_country(code) for code in ("US", "GB", "DE", "NO", "")] == [
            "us", "uk", "metric", "metric", "metric",
        ]  # fmt: skip
