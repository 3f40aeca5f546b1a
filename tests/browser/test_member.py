"""A member of the studio, from the first password to the passkey, with every page on the way looked at."""

from __future__ import annotations

import base64
import hashlib
import hmac
import re
import struct
import time
from urllib.parse import urlsplit

import pytest

from tests.browser.pages import MEMBER, NO_PAGE, name_of
from tests.browser.watch import Watched, context_of, reads
from tests.services.installation import wait_for

pytestmark = pytest.mark.browser
WHO = "mabry.linnock@example.org"
PASSWORD = "seven grey otters downstream"


def totp(secret: str, at: float) -> str:
    """RFC 6238 with its defaults: SHA-1, 30 seconds, 6 digits."""
    key = base64.b32decode(secret + "=" * (-len(secret) % 8))
    digest = hmac.new(key, struct.pack(">Q", int(at) // 30), hashlib.sha1).digest()
    start = digest[-1] & 15
    return f"{(int.from_bytes(digest[start : start + 4]) & 0x7FFFFFFF) % 1_000_000:06}"


def test_the_oracle_keeps_to_its_standard():
    """RFC 6238, appendix B: the test vectors for SHA-1, cut to six digits."""
    secret = base64.b32encode(b"12345678901234567890").decode()
    assert [totp(secret, at) for at in (59, 1111111109, 20000000000)] == ["287082", "081804", "353130"]


class Member:
    """What the member does; every page is looked at once."""

    def __init__(self, watched: Watched) -> None:
        self.watched, self.page = watched, watched.page
        self.seen: set[str] = set()
        self.wrong: list[str] = []

    def look(self, name: str) -> None:
        """The page that is open must be the named one; note what is wrong with it."""
        assert name_of(self.page.url) == name, f"expected {name}, at {self.page.url}: {self.page.inner_text('main')}"
        self.seen.add(name)
        self.wrong += self.watched.problems()

    def submit(self, **fields: str) -> None:
        """Fill in fields by name in the main form and send it."""
        form = self.page.locator("main form").filter(has=self.page.locator(f"[name={next(iter(fields))}]")).first
        for name, value in fields.items():
            form.locator(f"[name={name}]").fill(value)
        with self.page.expect_navigation():
            form.locator("button[type=submit], button:not([type])").first.click()

    def confirm(self) -> None:
        """Send the form of a page that only asks for a yes."""
        with self.page.expect_navigation():
            self.page.locator("main form button[type=submit], main form button:not([type])").first.click()

    def go(self, path: str) -> None:
        """Open a page, with the password once more where it asks for it."""
        self.page.goto(path)
        if name_of(self.page.url) == "account_reauthenticate":
            self.look("account_reauthenticate")
            self.submit(password=PASSWORD)
        assert urlsplit(self.page.url).path == path, f"{path} led to {self.page.url}"

    def sign_out(self) -> None:
        self.page.context.clear_cookies()


@pytest.fixture
def member(browser, portal):
    # A passkey belongs to a name; an address of numbers has none.
    base = portal.address.replace("127.0.0.1", "localhost")
    context = context_of(browser, base)
    yield Member(Watched(context.new_page()))
    context.close()


def test_from_the_first_password_to_the_passkey(portal, member):
    set_password(portal, member)
    codes = set_up_the_authenticator(member)
    add_a_passkey(member)
    look_at_the_account(member)
    sign_in_again(member, codes)
    remove_both(member)
    assert {name for name, reason in NO_PAGE.items() if reason == MEMBER} - member.seen == set()
    assert not member.wrong, "\n".join(["", *member.wrong])


def set_password(portal, member) -> None:
    """By the mail of the forgotten password: nobody else ever knows it."""
    page = member.page
    page.goto("/account/password/reset/")
    before = len(portal.mails_to(WHO))
    member.submit(email=WHO)
    wait_for(lambda: len(portal.mails_to(WHO)) > before, "the mail with the address")
    (path,) = re.findall(r"https?://[^/\s]+(/account/password/reset/key/\S+)", portal.mails_to(WHO)[-1])
    page.goto(path)
    member.look("account_reset_password_from_key")
    member.submit(password1=PASSWORD, password2=PASSWORD)
    page.goto("/account/login/")
    member.submit(login=WHO, password=PASSWORD)


def set_up_the_authenticator(member) -> list[str]:
    """No studio page opens without a second factor. Returns the recovery codes."""
    page = member.page
    page.goto("/studio/")
    member.look("mfa_index")
    member.go("/account/2fa/totp/activate/")
    secret = re.search(r"\b[A-Z2-7]{32}\b", page.content())[0]
    # A code holds for half a minute; one that is about to end would be refused on a busy machine.
    wait_for(lambda: time.time() % 30 < 15, "the first half of a code's time")
    member.submit(code=totp(secret, time.time()))
    page.goto("/studio/")
    assert name_of(page.url) == "studio:work"
    member.go("/account/2fa/recovery-codes/generate/")
    member.look("mfa_generate_recovery_codes")
    member.confirm()
    member.go("/account/2fa/recovery-codes/")
    member.look("mfa_view_recovery_codes")
    codes = re.findall(r"\b[0-9a-f]{8}\b", page.inner_text("main") + page.locator("main").inner_html())
    assert codes
    return list(dict.fromkeys(codes))


def add_a_passkey(member) -> None:
    """With a virtual authenticator of the browser: a real WebAuthn exchange."""
    page = member.page
    developer = page.context.new_cdp_session(page)
    developer.send("WebAuthn.enable")
    options = {"protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True}
    options |= {"isUserVerified": True, "automaticPresenceSimulation": True}
    developer.send("WebAuthn.addVirtualAuthenticator", {"options": options})
    member.go("/account/2fa/webauthn/add/")
    page.locator("[name=name]").fill("Bench phone")
    if page.locator("[name=passwordless]").count():
        page.locator("[name=passwordless]").check()
    page.locator("#mfa_webauthn_add").click()
    page.wait_for_url(lambda url: not url.endswith("/webauthn/add/"))
    member.go("/account/2fa/webauthn/")
    member.look("mfa_list_webauthn")
    reads(page, "Bench phone")


def look_at_the_account(member) -> None:
    page = member.page
    member.go("/account/password/change/")
    member.look("account_change_password")
    page.goto("/account/2fa/")
    member.look("mfa_index")
    for path, name in (
        ("/account/reauthenticate/", "account_reauthenticate"),
        ("/account/2fa/reauthenticate/", "mfa_reauthenticate"),
        ("/account/2fa/webauthn/reauthenticate/", "mfa_reauthenticate_webauthn"),
    ):
        page.goto(path)
        member.look(name)


def sign_in_again(member, codes: list[str]) -> None:
    """By password and a recovery code, and by the passkey alone."""
    page = member.page
    member.sign_out()
    page.goto("/account/login/?next=/studio/")
    member.submit(login=WHO, password=PASSWORD)
    member.look("mfa_authenticate")
    member.submit(code="000000")
    assert name_of(page.url) == "mfa_authenticate", "a wrong code let somebody in"
    member.submit(code=codes[0])
    assert name_of(page.url) == "studio:work"
    member.sign_out()
    page.goto("/account/login/?next=/studio/")
    page.locator("#passkey_login").click()
    page.wait_for_url(lambda url: urlsplit(url).path == "/studio/")


def remove_both(member) -> None:
    page = member.page
    member.go("/account/2fa/webauthn/")
    edit, remove = (
        page.locator(f"main a[href$='/{word}/']").first.get_attribute("href") for word in ("edit", "remove")
    )
    member.go(edit)
    member.look("mfa_edit_webauthn")
    member.submit(name="Old bench phone")
    member.go(remove)
    member.look("mfa_remove_webauthn")
    member.confirm()
    member.go("/account/2fa/totp/deactivate/")
    member.look("mfa_deactivate_totp")
    member.confirm()
    page.goto("/studio/")
    assert name_of(page.url) == "mfa_index", "the studio's pages are open without a second factor"
