"""A studio's own words: what may stand in them, what holds, what stays on record, how they are seen before they go."""

from __future__ import annotations

import re
from datetime import timedelta
from uuid import uuid4

import pytest
from django.core import mail
from django.db import connection
from django.test.utils import CaptureQueriesContext

from lifecycle import models
from lifecycle.errors import DomainError, NotFoundHere
from lifecycle.reminders import letters, reads, trials, wordings
from lifecycle.reminders.facts import gather
from lifecycle.reminders.outbox import enqueue
from lifecycle.reminders.planner import plan
from lifecycle.reminders.words import KINDS, built_in, check, fill
from tests import people
from tests.factories import NOW, ConsentFactory, CustomerFactory, StudioFactory
from tests.mails import LANGUAGES, Mails, in_language

from .conftest import later

SUBJECT = KINDS["service"].part("subject")
OPENING = KINDS["service"].part("opening")
REASON = KINDS["service"].part("reason")


# ---- what may stand in them


@pytest.mark.parametrize(
    ("part", "text", "says"),
    [
        (SUBJECT, "{titel} for you", "{titel} is no placeholder here; there are {name}, {studio}, {title}"),
        (SUBJECT, "Come and see us", "{title} is missing"),
        (SUBJECT, "{title}\nBcc: all@example.org", "one line"),
        (SUBJECT, "{title}\r\nX-Evil: yes", "one line"),
        (SUBJECT, "{title} " + "long " * 40, "too long; use 120"),
        (SUBJECT, "{title} {", "a brace stands alone"),
        (SUBJECT, "{title} {vehicle", "a brace stands alone"),
        (SUBJECT, "{title} {}", "{} is no placeholder"),
        (OPENING, "{name.email}", "{name.email} is no placeholder"),
        (OPENING, "One.\n\nTwo.", "one paragraph"),
        (OPENING, "See https://example.org/offer", "leave addresses"),
        (OPENING, "Only 40% of it is left.", "percentages"),
        (OPENING, "Else your warranty is void.", "warranties"),
        (OPENING, "Sonst erlischt die Garantie.", "warranties"),
        (REASON, "You are on {studio}'s list.", "{about} is missing"),
    ],
)
def test_what_may_not_stand_in_a_mail_is_refused_with_the_field_and_the_way_out(part, text, says):
    with pytest.raises(DomainError) as refused:
        check(part, text)
    assert refused.value.field == part.name
    assert says in refused.value.message


@pytest.mark.parametrize("language", LANGUAGES)
def test_the_built_in_words_themselves_may_be_kept(language):
    """Whoever copies them into the field and changes one word is not refused for the others."""
    for kind in KINDS.values():
        for part in kind.parts:
            text = built_in(part, language)
            assert "%(" not in text
            assert check(part, text) == text, (kind.key, part.name)


def test_what_fills_a_placeholder_is_not_read_for_placeholders():
    assert fill("{vehicle} of {name}", {"vehicle": "{name}", "name": "Tove"}) == "{name} of Tove"


# ---- what holds


@pytest.fixture
def owner(studio):
    return people.owner(studio)


def put(owner, kind="service", language="en", *, at=NOW, **texts):
    return wordings.put(
        studio=owner.studio, kind=kind, language=language, texts=texts, member_id=owner.pk, actor=f"member:{owner.pk}",
        at=at,
    )  # fmt: skip


def preview(studio):
    plan(at=NOW)
    row = models.Reminder.objects.filter(step="first").first()
    return reads.preview(studio, reminder_id=row.pk, at=NOW)


@pytest.mark.django_db
def test_own_words_stand_in_preview_and_mail_alike_in_text_and_html(due, studio, owner):
    put(owner, subject="{title}: {vehicle}", opening="We & <we> looked at your {vehicle}.", closing="Yours, Piet")
    seen = preview(studio)
    enqueue(at=NOW)
    sent = models.Message.objects.get()
    assert sent.subject == seen.subject == "Retest: grey estate"
    assert "We & <we> looked at your grey estate." in sent.text
    assert "We &amp; &lt;we&gt; looked at your grey estate." in sent.html
    assert sent.text.index("Yours, Piet") < sent.text.index("\n-- \n")
    assert "a note from" not in sent.text + sent.html
    assert "You get this because you said yes to care reminders from Ossenmere" in " ".join(sent.text.split())


@pytest.mark.django_db
def test_words_hold_for_their_studio_kind_and_language_alone(due, studio, owner, person):
    put(owner, language="de", opening="Nur deutsch für {name}.")
    put(owner, "promotion", opening="Only for offers.")
    put(people.owner(StudioFactory()), opening="Another studio's.")
    assert "a note from Ossenmere Gloss Works about your vehicle." in preview(studio).text
    models.Customer.objects.filter(pk=person.pk).update(language="de")
    assert "Nur deutsch für Tove Halvarsen." in preview(studio).text


@pytest.mark.django_db
def test_the_latest_words_hold_earlier_ones_stay_and_one_press_goes_back(due, studio, owner):
    put(owner, opening="First try.")
    assert put(owner, opening="Second try.", at=later(hours=1)) == ("opening",)
    assert put(owner, opening="Second try.", at=later(hours=2)) == (), "nothing was different"
    assert "Second try." in preview(studio).text
    wordings.set_back(
        studio=studio, kind="service", language="en", member_id=owner.pk, actor=f"member:{owner.pk}", at=later(hours=3)
    )
    assert "a note from" in preview(studio).text
    assert [(row.text, row.by) for row in wordings.earlier(studio, kind="service", language="en")] == [
        ("", str(owner)),
        ("Second try.", str(owner)),
        ("First try.", str(owner)),
    ]
    entries = models.JournalEntry.objects.filter(verb="mail words changed")
    assert [entry.data["parts"] for entry in entries] == [["opening"]] * 3
    assert {row.own_parts for row in wordings.listing(studio)} == {0}


@pytest.mark.django_db
def test_the_built_in_words_typed_again_are_no_own_words(studio, owner):
    assert put(owner, opening=built_in(OPENING, "en")) == ()
    assert not models.MailWording.objects.exists()


@pytest.mark.django_db
def test_what_is_refused_changes_nothing(studio, owner):
    with pytest.raises(DomainError, match="one line"):
        put(owner, opening="Fine.", subject="{title}\nno")
    for kind, language in (("nonsense", "en"), ("service", "fr")):
        with pytest.raises(DomainError):
            put(owner, kind, language, opening="Fine.")
    with pytest.raises(DomainError, match="works in this studio"):
        wordings.put(
            studio=studio, kind="service", language="en", texts={"opening": "Hello."},
            member_id=people.owner(StudioFactory()).pk, actor="member:1", at=NOW,
        )  # fmt: skip
    assert not models.MailWording.objects.exists()


@pytest.mark.django_db
def test_every_kind_speaks_with_own_words_in_both_languages():
    mails = Mails()
    owner = people.owner(mails.world.studio)
    for language in LANGUAGES:
        for kind in KINDS.values():
            for part in kind.parts:
                needs = "".join(f" {{{name}}}" for name in part.needs)
                put(owner, kind.key, language, **{part.name: f"Own {part.name}{needs}"})
        for kind in in_language(mails, language).kinds:
            mail = kind.write()
            several = "_several" if "several" in kind.name or "digest" in kind.name else ""
            assert mail.subject.startswith(f"Own subject{several}"), kind.name
            for name in (f"opening{several}", "closing", "reason"):
                assert f"Own {name}" in mail.text, kind.name
                assert f"Own {name}" in mail.html, kind.name


@pytest.mark.django_db
def test_thirty_mails_need_as_many_queries_as_one_to_find_their_words(studio):
    with CaptureQueriesContext(connection) as seen:
        wordings.voices((studio.pk,))
        wordings.listing(studio)
    owner = people.owner(studio)
    for number in range(30):
        put(owner, list(KINDS)[number % len(KINDS)], closing=f"Words {number}.")
    with CaptureQueriesContext(connection) as after:
        wordings.voices((studio.pk,))
        wordings.listing(studio)
    assert len(after) == len(seen) == 2


@pytest.mark.django_db
def test_another_word_is_another_digest_and_going_back_is_the_old_one(studio, owner):
    def digest():
        return wordings.voice(studio, "service", "en").digest

    before = digest()
    assert before == digest()
    put(owner, closing="Yours, Piet")
    assert digest() != before
    assert wordings.voice(studio, "service", "de").digest not in (before, digest())
    put(owner, closing="")
    assert digest() == before


# ---- seen before they go


@pytest.mark.django_db
def test_a_draft_is_shown_by_the_mails_own_renderer_and_not_kept(due, studio):
    plan(at=NOW)
    (sample,) = trials.samples(studio, "service")
    shown = trials.show(
        studio=studio, kind="service", language="de", sample_id=sample.id, draft={"closing": "Ihr Piet"}, at=NOW
    )
    assert "Ihr Piet" in shown.text
    assert '<html lang="de">' in shown.html
    assert not models.MailWording.objects.exists()
    row = models.Reminder.objects.select_related("due__vehicle", "vehicle", "customer__studio", "studio").get()
    same = letters.preview(
        reminders=[row], uid=uuid4(), at=NOW,
        voice=wordings.voice(studio, "service", "de", draft={"closing": "Ihr Piet"}),
    )  # fmt: skip
    assert (shown.subject, shown.text, shown.html) == (same.subject, same.text, same.html)
    with pytest.raises(DomainError, match="one line"):
        trials.show(
            studio=studio, kind="service", language="de", sample_id=sample.id, draft={"subject": "a\nb"}, at=NOW
        )
    with pytest.raises(NotFoundHere):
        trials.show(studio=StudioFactory(), kind="service", language="de", sample_id=sample.id, at=NOW)


def send_trial(owner, kind, sample, **more):
    return trials.send_trial(
        studio=owner.studio, kind=kind, language="en", sample_id=sample.id, member_id=owner.pk,
        actor=f"member:{owner.pk}", at=more.pop("at", NOW), **more,
    )  # fmt: skip


@pytest.mark.django_db
def test_a_trial_goes_to_the_member_alone_is_on_record_and_counts_as_no_reminder(due, studio, owner, person):
    plan(at=NOW)
    (sample,) = trials.samples(studio, "service")
    before = gather([due], at=later(minutes=1)).sent
    trial = send_trial(owner, "service", sample, draft={"closing": "Yours, Piet"})
    (sent,) = mail.outbox
    assert sent.to == [owner.user.email]
    assert sent.subject.startswith("[Trial] Retest")
    assert "Yours, Piet" in sent.body
    assert (trial.outcome, trial.kind) == ("accepted", "service")
    # Its links change nobody's choices, neither in the text nor in a header that a mail program posts to.
    said = sent.body + sent.alternatives[0].content + str(sent.extra_headers)
    tokens = re.findall(r"/mail/(?:unsubscribe|choices)/([^/]+)/", said)
    assert tokens
    assert set(tokens) == {"trial"}
    assert not models.Message.objects.exists()
    assert gather([due], at=later(minutes=1)).sent == before
    assert models.Reminder.objects.get().state == "planned"
    entry = models.JournalEntry.objects.get(verb="mail tried")
    assert person.name not in str(entry.data)
    assert owner.user.email not in str(entry.data)


@pytest.mark.django_db
def test_a_trial_that_could_not_be_handed_over_says_so(due, studio, owner, provider):
    plan(at=NOW)
    (sample,) = trials.samples(studio, "service")
    provider.unreachable = ConnectionRefusedError("refused")
    trial = send_trial(owner, "service", sample)
    assert trial.outcome == "outage"
    assert "refused" in trial.error
    (row,) = trials.trials(studio, kind="service", language="en")
    assert (row.by, row.outcome) == (str(owner), "outage")


@pytest.mark.django_db
def test_ten_trials_in_an_hour_are_enough(due, studio, owner):
    plan(at=NOW)
    (sample,) = trials.samples(studio, "service")
    for _ in range(10):
        send_trial(owner, "service", sample)
    with pytest.raises(DomainError, match="in an hour are enough"):
        send_trial(owner, "service", sample)
    assert len(mail.outbox) == 10
    assert send_trial(owner, "service", sample, at=later(hours=1, minutes=1)).outcome == "accepted"


@pytest.mark.django_db
def test_every_kind_is_shown_with_something_real():
    mails = Mails()
    for kind in mails.kinds:
        kind.write()
    for key in KINDS:
        (sample, *_) = trials.samples(mails.world.studio, key)
        shown = trials.show(studio=mails.world.studio, kind=key, language="en", sample_id=sample.id, at=NOW)
        assert "Ossenmere Gloss Works" in shown.text, key
        assert trials.samples(StudioFactory(), key) == ()


@pytest.mark.django_db
def test_samples_are_found_in_one_query(make_due, studio, django_assert_num_queries):
    for _ in range(5):
        make_due()
    someone = CustomerFactory(studio=studio)
    ConsentFactory(customer=someone, at=NOW - timedelta(days=1))
    plan(at=NOW)
    with django_assert_num_queries(1):
        assert len(trials.samples(studio, "service")) == 5
