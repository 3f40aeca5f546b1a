"""What a studio put in its own words, kept row by row: the latest holds, earlier ones stay."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import dataclass
from datetime import datetime

from django.db import transaction

from lifecycle import journal
from lifecycle.care.register import known
from lifecycle.care.wishes import languages
from lifecycle.errors import DomainError
from lifecycle.models import MailWording, Member, Studio
from lifecycle.reminders.words import KINDS, Kind, built_in, check, digest_of, fill


@dataclass(frozen=True, slots=True)
class Voices:
    """The own words of some studios, read at once: (studio, kind, language) -> part -> text."""

    own: Mapping[tuple[int, str, str], Mapping[str, str]]

    def of(self, studio_id: int, kind: str, language: str) -> Voice:
        """How one kind of mail of one studio speaks in one language."""
        return Voice(KINDS[kind], language, self.own.get((studio_id, kind, language), {}))


@dataclass(frozen=True, slots=True)
class Voice:
    """One kind of mail in one language: own words where there are any, else the built-in ones."""

    kind: Kind
    language: str
    own: Mapping[str, str]

    def has(self, part: str) -> bool:
        """Whether the studio wrote this part itself."""
        return bool(self.own.get(part))

    def say(self, part: str, values: Mapping[str, object]) -> str:
        """A part with its placeholders filled."""
        return fill(self.own.get(part) or built_in(self.kind.part(part), self.language), values)

    @property
    def digest(self) -> str:
        """Of all its sentences as they stand."""
        return digest_of(self.kind, self.language, self.own)


def voices(studios: Collection[int]) -> Voices:
    """The words of these studios that hold now, in one query."""
    own: dict[tuple[int, str, str], dict[str, str]] = defaultdict(dict)
    rows = MailWording.objects.filter(studio__in=list(studios), kind__in=list(KINDS)).order_by("at", "id")
    for studio_id, kind, language, part, text in rows.values_list("studio_id", "kind", "language", "part", "text"):
        own[studio_id, kind, language][part] = text
    return Voices(own)


def voice(studio: Studio, kind: str, language: str, *, draft: Mapping[str, str] | None = None) -> Voice:
    """How a kind of mail speaks now.

    Args:
        draft: words that are not kept yet, to see them; checked like those that are kept.

    Raises:
        DomainError: unknown kind or language, or a draft that may not be kept.
    """
    _known(kind, language)
    own = dict(voices((studio.pk,)).of(studio.pk, kind, language).own)
    if draft is not None:
        own |= _checked(KINDS[kind], draft)
    return Voice(KINDS[kind], language, own)


def _known(kind: str, language: str) -> None:
    known("kind", kind, tuple(KINDS))
    known("language", language, tuple(code for code, _ in languages()))


def _checked(kind: Kind, texts: Mapping[str, str]) -> dict[str, str]:
    return {name: check(kind.part(name), text) for name, text in texts.items()}


def put(
    *, studio: Studio, kind: str, language: str, texts: Mapping[str, str], member_id: int, actor: str, at: datetime
) -> tuple[str, ...]:
    """Keep a studio's own words for parts of a kind of mail; a part that is left empty goes back to the built-in words.

    Returns:
        Names of the parts that changed.

    Raises:
        DomainError: names the part (`field`), what is wrong with it, and what may stand there.
        NotFoundHere: nobody of that number works in this studio.
    """
    _known(kind, language)
    wanted = _checked(KINDS[kind], texts)
    for part in KINDS[kind].parts:
        if wanted.get(part.name) == built_in(part, language):
            wanted[part.name] = ""  # the built-in words typed again are no words of its own
    with transaction.atomic():
        # Two people at once take turns, so that each change is seen against what stands.
        Studio.objects.select_for_update().get(pk=studio.pk)
        member = Member.objects.of(studio).filter(pk=member_id, ended_at=None).first()
        if member is None:
            raise DomainError("Only somebody who works in this studio changes its words.")
        own = voices((studio.pk,)).of(studio.pk, kind, language).own
        changed = {name: text for name, text in wanted.items() if text != own.get(name, "")}
        MailWording.objects.bulk_create(
            MailWording(studio=studio, kind=kind, language=language, part=name, text=text, by=member, at=at)
            for name, text in changed.items()
        )
        if changed:
            journal.record(
                studio=studio, actor=actor, at=at, verb="mail words changed", subject="studio", subject_id=studio.pk,
                kind=kind, language=language, parts=sorted(changed),
            )  # fmt: skip
    return tuple(changed)


def set_back(*, studio: Studio, kind: str, language: str, member_id: int, actor: str, at: datetime) -> tuple[str, ...]:
    """Back to the built-in words of one kind of mail in one language; what was written stays on record.

    Raises:
        DomainError: as `put`.
    """
    _known(kind, language)
    texts = {part.name: "" for part in KINDS[kind].parts}
    return put(studio=studio, kind=kind, language=language, texts=texts, member_id=member_id, actor=actor, at=at)


@dataclass(frozen=True, slots=True)
class WordsRow:
    """One line of the list: a kind of mail in one language; `changed_at` None: never changed here."""

    kind: str
    label: str
    language: str
    language_label: str
    own_parts: int
    changed_at: datetime | None
    by: str


@dataclass(frozen=True, slots=True)
class Earlier:
    """Words that were put once: "" for going back to the built-in ones."""

    part: str
    text: str
    at: datetime
    by: str


def listing(studio: Studio) -> tuple[WordsRow, ...]:
    """Every kind of mail in every language, with who changed it last; one query."""
    rows = MailWording.objects.of(studio).select_related("by__user").order_by("at", "id")
    latest: dict[tuple[str, str], MailWording] = {}
    own: dict[tuple[str, str], dict[str, str]] = defaultdict(dict)
    for row in rows:
        latest[row.kind, row.language] = row
        own[row.kind, row.language][row.part] = row.text
    lines = []
    for kind in KINDS.values():
        for code, label in languages():
            last = latest.get((kind.key, code))
            lines.append(
                WordsRow(
                    kind=kind.key, label=kind.label, language=code, language_label=label,
                    own_parts=sum(bool(text) for text in own[kind.key, code].values()),
                    changed_at=last.at if last is not None else None, by=_who(last),
                )
            )  # fmt: skip
    return tuple(lines)


def earlier(studio: Studio, *, kind: str, language: str, most: int = 50) -> tuple[Earlier, ...]:
    """What was put for a kind of mail, newest first; one query."""
    rows = MailWording.objects.of(studio).filter(kind=kind, language=language).select_related("by__user")
    labels = {part.name: part.label for part in KINDS[kind].parts} if kind in KINDS else {}
    return tuple(
        Earlier(labels.get(row.part, row.part), row.text, row.at, _who(row))
        for row in rows.order_by("-at", "-id")[:most]
    )


def _who(row: MailWording | None) -> str:
    return str(row.by) if row is not None and row.by is not None else ""
