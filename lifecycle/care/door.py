"""The front door: one-time keys for customers, and how many may be asked for.

Asking does the same work for a known address as for an unknown one; who it is comes out later (`who_asked`), outside
the request. The limits count rows of the database within one lock, so they hold for all processes together.
"""

from __future__ import annotations

import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Final

from django.db import connection, transaction
from django.utils.crypto import constant_time_compare, salted_hmac

from lifecycle import journal
from lifecycle.care import signin
from lifecycle.errors import DomainError
from lifecycle.models import Customer, SignInKey, User

# RFC 8628, section 6.1: twenty consonants, so that no words come out and nothing is mistaken; 20^8 = 2.56e10 codes.
ALPHABET: Final = "BCDFGHJKLMNPQRSTVWXZ"
CODE_LENGTH: Final = 8
LINK_BYTES: Final = 16  # 128 bits
HOLDS: Final = timedelta(minutes=10)
MOST_TRIES: Final = 3
# House rules (judgement). Guessing: at most 5 x 3 tries in a quarter of an hour against one address.
WINDOW: Final = timedelta(minutes=15)
MOST_BY_ADDRESS: Final = 5
MOST_BY_CALLER: Final = 40
KEPT: Final = timedelta(days=1)
_LOCK: Final = 7_305_114  # any number that no other advisory lock of this database uses
_SALT: Final = "lifecycle.care.door"


class TooManyKeys(DomainError):
    """So many keys were asked for that no more are made for now."""


@dataclass(frozen=True, slots=True)
class FreshKey:
    """A key that was just made. `code` and `link` exist here and in the mail, nowhere else."""

    id: int
    code: str
    link: str


@dataclass(frozen=True, slots=True)
class Opened:
    """Whom a key let in, and where they wanted to go ("" for their start page)."""

    user_id: int
    goal: str


def digest(kind: str, text: str) -> str:
    """A keyed digest (HMAC-SHA-256, RFC 2104; hexadecimal) of a secret or an address; `kind` keeps kinds apart."""
    return salted_hmac(f"{_SALT}.{kind}", text, algorithm="sha256").hexdigest()


def _plain(code: str) -> str:
    return "".join(letter for letter in code.upper() if letter.isalnum())


def _one_at_a_time() -> None:
    """Two processes that count and add at the same moment take turns. SQLite's transactions begin immediately."""
    if connection.vendor == "postgresql":
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_advisory_xact_lock(%s)", [_LOCK])


def make_key(*, email: str, caller: str, goal: str, at: datetime) -> FreshKey:
    """Make a key for whoever has this address, if anybody.

    Args:
        email: as typed; case does not matter.
        caller: the network address that asks.
        goal: a path of our own to go to afterwards, or "".
        at: aware time of asking.

    Raises:
        TooManyKeys: for this address, or from this caller, in the last quarter of an hour.
    """
    letters = "".join(secrets.choice(ALPHABET) for _ in range(CODE_LENGTH))
    link = secrets.token_urlsafe(LINK_BYTES)
    by_address, by_caller = digest("address", email.strip().lower()), digest("caller", caller)
    with transaction.atomic():
        _one_at_a_time()
        recent = SignInKey.objects.filter(made_at__gt=at - WINDOW)
        if (
            recent.filter(address_digest=by_address).count() >= MOST_BY_ADDRESS
            or recent.filter(caller_digest=by_caller).count() >= MOST_BY_CALLER
        ):
            raise TooManyKeys("Codes were asked for many times. Wait a quarter of an hour, then ask again.")
        link_digest = digest("link", link)
        key = SignInKey.objects.create(
            address_digest=by_address, caller_digest=by_caller, code_digest=digest(f"code.{link_digest}", letters),
            link_digest=link_digest, goal=goal[:500], made_at=at, ends_at=at + HOLDS,
        )  # fmt: skip
    return FreshKey(key.pk, f"{letters[:4]}-{letters[4:]}", link)


def who_asked(*, key_id: int, email: str, at: datetime) -> User | None:
    """Join a key to the customer who has the address, and drop keys of former days. None: nobody is to be written to.

    A mailbox alone must not open the studio: members come with their password and second factor.
    """
    SignInKey.objects.filter(made_at__lt=at - KEPT).delete()
    user = signin.user_for_address(email, at=at)
    if user is None or not user.is_active or signin.is_member(user.pk):
        return None
    joined = SignInKey.objects.filter(pk=key_id, used_at=None).update(user=user)
    return user if joined else None


def _live(key: SignInKey | None, at: datetime) -> bool:
    return key is not None and key.used_at is None and at < key.ends_at and key.tries < MOST_TRIES


def _take(key: SignInKey, way: str, at: datetime) -> Opened | None:
    """Use a key up, with all others of this person."""
    if key.user_id is None or signin.is_member(key.user_id) or not signin.customer_ids_of(key.user_id):
        return None
    SignInKey.objects.filter(user=key.user_id, used_at=None).update(used_at=at)
    for customer in Customer.objects.filter(user=key.user_id).select_related("studio").order_by("id"):
        journal.record(
            studio=customer.studio, actor=f"customer:{customer.pk}", at=at, verb="signed in", subject="customer",
            subject_id=customer.pk, way=way,
        )  # fmt: skip
    return Opened(key.user_id, key.goal)


def key_lives(*, key_id: int, at: datetime) -> bool:
    """Whether a code of this key may still be typed."""
    return _live(SignInKey.objects.filter(pk=key_id).first(), at)


def link_lives(*, link: str, at: datetime) -> bool:
    """Whether a link still opens the door. Looking uses nothing up: mail scanners look, too."""
    return _live(SignInKey.objects.filter(link_digest=digest("link", link)).first(), at)


@transaction.atomic
def use_code(*, key_id: int, code: str, at: datetime) -> Opened | None:
    """Let in whoever types the code of a key. A wrong one counts; after three the key is dead."""
    key = SignInKey.objects.select_for_update().filter(pk=key_id).first()
    if key is None or not _live(key, at):
        return None
    right = constant_time_compare(key.code_digest, digest(f"code.{key.link_digest}", _plain(code)))
    opened = _take(key, "code", at) if right else None
    if opened is None:
        key.tries += 1
        key.save(update_fields=["tries"])
    return opened


@transaction.atomic
def use_link(*, link: str, at: datetime) -> Opened | None:
    """Let in whoever sends off the page that the mailed link opens. Works once."""
    key = SignInKey.objects.select_for_update().filter(link_digest=digest("link", link)).first()
    return _take(key, "link", at) if key is not None and _live(key, at) else None
