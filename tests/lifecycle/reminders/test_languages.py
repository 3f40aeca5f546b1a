"""Catalogues complete and compiled, and every kind of mail in both languages without English left over in German."""

from __future__ import annotations

import re
import struct
from datetime import timedelta
from gettext import GNUTranslations
from io import BytesIO
from uuid import UUID

import pytest
from django.conf import settings
from django.utils import translation

from lifecycle import models
from lifecycle.care import surface_presets
from lifecycle.care.rules import TASKS
from lifecycle.care.wording import spoken
from lifecycle.management.catalogues import CatalogueError, catalogues, read_po, to_mo
from lifecycle.reminders import letters, told
from lifecycle.reminders.planner import plan

from .conftest import NOW, later, written

PO = settings.BASE_DIR / "lifecycle" / "locale" / "de" / "LC_MESSAGES" / "django.po"
PLACEHOLDER = re.compile(r"%\(\w+\)[sd]|%%")
MAILED = ("reminders/", "templates/mail/")
STEPS = ("first", "follow_up", "last")


def _mailed_entries():
    """Blocks of the .po whose texts stand in mails."""
    for block in PO.read_text(encoding="utf-8").split("\n\n"):
        if any(part in line for line in block.splitlines() if line.startswith("#:") for part in MAILED):
            yield block


def test_the_compiled_catalogues_are_those_of_the_texts():
    paths = catalogues(settings.BASE_DIR)
    assert PO in paths
    for path in paths:
        assert path.with_suffix(".mo").read_bytes() == to_mo(read_po(path)), "run manage.py compilewords"
    # Python's own reader of the format (GNU gettext manual, "The Format of GNU MO Files") finds what was written.
    found = GNUTranslations(BytesIO(to_mo(read_po(PO))))
    assert found.gettext("retest") == "Nachprüfung"
    assert (
        found.ngettext("Care for %(count)d vehicle", "Care for %(count)d vehicles", 9)
        == "Pflege für %(count)d Fahrzeuge"
    )
    assert struct.unpack("<I", PO.with_suffix(".mo").read_bytes()[:4]) == (0x950412DE,)


def test_every_text_of_a_mail_is_translated_with_the_same_placeholders():
    blocks = list(_mailed_entries())
    assert len(blocks) > 120
    for block in blocks:
        assert "fuzzy" not in block, block
        assert 'msgstr ""' not in block, block
        assert not re.search(r'msgstr\[\d\] ""', block), block
    for key, text in read_po(PO).items():
        if key:
            for said in text.split("\0"):
                assert sorted(PLACEHOLDER.findall(said)) == sorted(PLACEHOLDER.findall(key.split("\0")[0])), key


def test_the_texts_of_the_tables_are_marked_for_the_catalogues():
    wanted = {text for task in TASKS.values() for text in (task.title, task.if_postponed, task.self_check)}
    assert set(told.TABLE_WORDS) == wanted
    presets = [
        one for value in vars(surface_presets).values() for one in (value if isinstance(value, tuple) else [value])
    ]
    codes = {one.code for one in presets if isinstance(one, surface_presets.SurfacePreset)}
    assert set(told.SURFACES) == {spoken(code) for code in codes}


@pytest.mark.parametrize(
    ("text", "says"),
    [('msgid "a"\nmsgstr b\n', "line 2"), ('msgid "a"\nmsgstr "b"\n\nmsgid "a"\nmsgstr "c"\n', "twice")],
)
def test_a_damaged_catalogue_says_where(tmp_path, text, says):
    path = tmp_path / "django.po"
    path.write_text(text)
    with pytest.raises(CatalogueError, match=says):
        read_po(path)


def _mail(row, language):
    models.Customer.objects.filter(pk=row.customer_id).update(language=language)
    row = models.Reminder.objects.select_related("due__vehicle", "vehicle", "customer__studio", "studio").get(pk=row.pk)
    return letters.preview(reminders=[row], uid=UUID(int=0), at=NOW)


def _english():
    """Long enough English texts of the catalogue, cut at their placeholders."""
    for key in read_po(PO):
        for form in key.split("\0"):
            yield from (part for part in PLACEHOLDER.split(form) if len(part.strip()) > 9)


@pytest.mark.django_db
@pytest.mark.parametrize("step", STEPS)
def test_every_kind_of_mail_has_range_reason_and_action_in_both_languages(make_due, studio, step):
    english = list(_english())
    for number, (task, reason) in enumerate(zip(TASKS, [*told.REASONS] * 3, strict=False)):
        contract = NOW.date() + timedelta(days=30) if step == "last" or reason == "contract" else None
        due = make_due(
            task=task, reason_code=reason if reason != "maker_notice" else "event", contract_on=contract,
            surfaces=["roof", "bonnet"][: number % 3],
            words={"cause": "Roof: an English cause.", "if_postponed": TASKS[task].if_postponed,
                   "self_check": TASKS[task].self_check},
        )  # fmt: skip
        row = models.Reminder.objects.create(
            studio=studio, customer=due.vehicle.keepers.get().customer, vehicle=due.vehicle, due=due, step=step,
            purpose=TASKS[task].kind, state="planned", send_at=later(hours=1), reason_code="x", reason="x", made_at=NOW,
            changed_at=NOW,
        )  # fmt: skip
        for language, (why, action, until) in {
            "en": ("Why now: Roof: an English cause.", "/my/vehicle/", "between now and "),
            "de": ("Warum jetzt:", "/my/vehicle/", "von jetzt bis "),
        }.items():
            mail = _mail(row, language)
            text = " ".join(mail.text.split())
            for said in (why, action, until):
                assert said in text, (task, language)
            assert until in mail.subject
            assert all(len(line) <= 78 or line.startswith("http") for line in mail.text.splitlines())
            links = re.findall(r"https?://\S+", mail.text)
            assert len(links) == len(set(links)) == 3
            if language == "de":
                assert "Wenn es wartet:" in text
                assert "Selbst nachsehen, kostenlos:" in text
                left = [part for part in english if part.strip() in text or part.strip() in mail.html]
                assert left == []
                assert "English cause" not in text + mail.html
                assert re.search(r"\b\d{1,2}\. (März|April|Mai|Juni) 2026", mail.subject)
                assert '<html lang="de">' in mail.html


@pytest.mark.django_db
def test_numbers_and_the_language_follow_the_customer_then_the_studio(due, studio, person):
    models.Price.objects.create(studio=studio, task="retest", size="M", low="1040.50", high="1265")
    plan(at=NOW)
    row = models.Reminder.objects.get()
    assert "etwa 1040,50 bis 1265 EUR" in _mail(row, "de-AT").text
    assert "about 1040.50 to 1265 EUR" in _mail(row, "en").text
    models.Studio.objects.update(language="de")
    assert "Warum jetzt:" in _mail(row, "").text
    assert "Warum jetzt:" in _mail(row, "fr").text
    assert "Why now:" in _mail(row, "en").text
    assert translation.get_language() == "en"


@pytest.mark.django_db
@pytest.mark.parametrize(
    ("language", "says", "page"),
    [
        ("en", "Retest: 9 vehicles, the soonest between now and 22 March 2026", "See all vehicles and choose"),
        (
            "de",
            "Nachprüfung: 9 Fahrzeuge, das früheste von jetzt bis 22. März 2026",
            "Alle Fahrzeuge ansehen und wählen",
        ),
    ],
)
def test_a_fleets_mail_counts_by_kind_of_care_and_stays_short(make_due, person, language, says, page):
    """Nine vans make one screen, not nine; no vehicle and no contract date is left unsaid."""
    models.Customer.objects.filter(pk=person.pk).update(language=language, fleet=True)
    vans = [make_due(latest=NOW.date() + timedelta(days=20 + n)) for n in range(9)]
    make_due(vehicle=vans[4].vehicle, task="inspection", contract_on=NOW.date() + timedelta(days=40))
    harmed = make_due(
        vehicle=vans[2].vehicle, surfaces=["roof"], task="event_response", reason_code="event",
        words={"cause": "Roof: sap."},
    )  # fmt: skip
    message = written()
    text = " ".join(message.text.split())
    assert says in text
    # What happened to one vehicle is never folded into a count.
    assert f"{harmed.vehicle.plate}: {'Roof: sap.' if language == 'en' else 'Dach: Es ist etwas'}" in text
    assert page in message.html
    assert all(van.vehicle.plate in message.text and van.vehicle.plate in message.html for van in vans)
    assert len(message.told_of()) == 11
    assert re.search(r"11\.? April 2026", text)
    assert len(message.text.splitlines()) < 40
    assert len(re.findall(r"https?://", message.text)) == 3
    if language == "de":
        assert [part for part in _english() if part.strip() in text or part.strip() in message.html] == []
