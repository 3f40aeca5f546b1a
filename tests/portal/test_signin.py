"""Signing in: customers by a code, members by password and second factor, nobody else."""

from __future__ import annotations

import re

import pytest
import time_machine
from allauth.mfa.totp.internal.auth import format_hotp_value, hotp_value, yield_hotp_counters_from_time
from django.core import mail
from django.core.cache import cache
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import timezone

from lifecycle.care import signin
from lifecycle.care.door import MOST_BY_ADDRESS, MOST_BY_CALLER, use_code
from lifecycle.models import JournalEntry, SignInKey, User
from portal.access import door as front_door
from tests import people
from tests.factories import NOW, CustomerFactory, StudioFactory, VehicleFactory
from tests.portal.doors import SECRET, as_member

pytestmark = pytest.mark.django_db
PASSWORD = "horn-beam-outlast-41"


@pytest.fixture(autouse=True)
def no_earlier_tries(settings):
    cache.clear()  # the rate limits live there
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]  # quick; strength is not the point


def ask_for_code(address: str, goal: str = "") -> Client:
    client = Client()
    client.post(reverse("account_request_login_code"), {"email": address, **({"next": goal} if goal else {})})
    return client


def code_in_mail() -> str:
    return re.search(r"^ {4}(\S+)$", mail.outbox[-1].body, re.MULTILINE)[1]


def totp_now(secret: str = SECRET) -> str:
    """RFC 6238: the code of this half minute."""
    return format_hotp_value(hotp_value(secret, next(iter(yield_hotp_counters_from_time()))))


def set_up(client: Client) -> None:
    """Set up an authenticator app, the password asked once more on the way."""
    goal = reverse("mfa_activate_totp")
    again = client.get(goal)
    assert again["Location"].startswith(reverse("account_reauthenticate"))
    assert client.post(again["Location"], {"password": PASSWORD, "next": goal}).status_code == 302
    page = client.get(goal)
    assert page.status_code == 200
    assert "data:image/svg+xml" in page.content.decode()
    code = totp_now(client.session["mfa.totp.secret"])
    assert client.post(goal, {"code": code}).status_code == 302


def test_a_customers_address_opens_the_door_though_no_user_exists():
    customer = CustomerFactory(email="tess.alder@example.org", user=None)
    client = ask_for_code("Tess.Alder@example.org")
    assert mail.outbox[-1].to == ["tess.alder@example.org"]
    assert mail.outbox[-1].subject == "Your sign-in code"
    answer = client.post(reverse("account_confirm_login_code"), {"code": code_in_mail()})
    assert answer.status_code == 302
    customer.refresh_from_db()
    assert customer.user.email == "tess.alder@example.org"
    assert not customer.user.has_usable_password()
    assert client.get("/")["Location"] == reverse("customer:home")
    entry = JournalEntry.objects.get(verb="sign-in opened")
    assert (entry.studio, entry.subject_id) == (customer.studio, customer.pk)


def test_the_link_of_a_reminder_is_reached_after_signing_in():
    customer = people.customer()
    vehicle = VehicleFactory(site__studio=customer.studio, keeper=customer)
    goal = reverse("customer:vehicle", args=[vehicle.pk])
    there = Client().get(goal)
    assert there.status_code == 302
    sign_in = Client().get(there["Location"]).content.decode()
    assert f'name="next" value="{goal}"' in sign_in
    client = ask_for_code(customer.email, goal)
    answer = client.post(reverse("account_confirm_login_code"), {"code": code_in_mail()})
    assert answer["Location"] == goal
    assert client.get(goal).status_code == 200


def test_an_unknown_address_gets_nothing_and_the_page_looks_the_same():
    known = CustomerFactory(email="known@example.org")
    pages = []
    for address in ("known@example.org", "nobody@example.org"):
        client = ask_for_code(address)
        page = client.get(reverse("account_confirm_login_code"))
        assert page.status_code == 200
        text = re.sub(r'value="[^"]*"', "", page.content.decode())
        pages.append(text.replace(address, "ADDRESS"))
    assert pages[0] == pages[1]
    assert [message.to for message in mail.outbox] == [[known.email]]
    assert not User.objects.filter(email="nobody@example.org").exists()


def test_a_members_mailbox_alone_opens_nothing():
    member = people.owner()
    client = ask_for_code(member.user.email)
    assert mail.outbox == []
    client.post(reverse("account_confirm_login_code"), {"code": "ABCDEF"})
    assert client.get("/")["Location"].startswith(reverse("account_login"))


def test_a_member_who_keeps_a_vehicle_too_gets_no_code():
    member = people.desk()
    CustomerFactory(studio=member.studio, email=member.user.email)
    ask_for_code(member.user.email)
    assert mail.outbox == []


def test_three_wrong_codes_end_it():
    customer = CustomerFactory(email="wrong@example.org")
    client = ask_for_code(customer.email)
    code = code_in_mail()
    for _ in range(2):
        answer = client.post(reverse("account_confirm_login_code"), {"code": "WRONG1"})
        assert "not the code of the last mail" in answer.content.decode()
    answer = client.post(reverse("account_confirm_login_code"), {"code": "WRONG1"})
    assert answer["Location"].startswith(reverse("account_request_login_code"))
    assert use_code(key_id=SignInKey.objects.get().pk, code=code, at=timezone.now()) is None
    client.post(reverse("account_confirm_login_code"), {"code": code})
    assert client.get("/")["Location"].startswith(reverse("account_login"))


def test_the_code_mail_holds_no_address_of_ours_but_the_site(settings):
    CustomerFactory(email="plain@example.org")
    ask_for_code("plain@example.org")
    body = mail.outbox[-1].body
    assert settings.SITE_ADDRESS in body
    assert max(len(line) for line in body.splitlines()) <= 76


def link_in_mail() -> str:
    return re.search(r"^\S+(/account/link/\S+/)$", mail.outbox[-1].body, re.MULTILINE)[1]


def test_the_link_needs_a_button_works_once_and_on_another_device():
    customer = people.customer()
    vehicle = VehicleFactory(site__studio=customer.studio, keeper=customer)
    goal = reverse("customer:vehicle", args=[vehicle.pk])
    asking = ask_for_code(customer.email, goal)
    link, code = link_in_mail(), code_in_mail()
    for look in ("get", "head", "options"):  # what looks at links in mails does so
        scanner = Client()
        getattr(scanner, look)(link)
        assert "_auth_user_id" not in scanner.session
    phone = Client(enforce_csrf_checks=True)
    page = phone.get(link).content.decode()
    assert "Sign in on this device?" in page
    token = re.search(r'name="csrfmiddlewaretoken" value="([^"]+)"', page)[1]
    assert phone.post(link).status_code == 403
    answer = phone.post(link, {"csrfmiddlewaretoken": token})
    assert answer["Location"] == goal
    assert phone.get(goal).status_code == 200
    again = Client().post(link)
    assert "This link has ended" in again.content.decode()
    # The code of the same mail is used up with it.
    asking.post(reverse("account_confirm_login_code"), {"code": code})
    assert "_auth_user_id" not in asking.session
    assert JournalEntry.objects.get(verb="signed in").data == {"way": "link"}


def test_a_key_lives_ten_minutes_and_neither_it_nor_the_address_stands_in_the_database():
    customer = people.customer()
    with time_machine.travel(NOW, tick=False) as clock:
        client = ask_for_code(customer.email)
        link, code = link_in_mail(), code_in_mail()
        row = " ".join(str(value) for value in SignInKey.objects.values().get().values()).lower()
        for secret in (code, code.replace("-", ""), link.split("/")[-2], customer.email, "127.0.0.1"):
            assert secret.lower() not in row
        clock.shift(600)
        assert "This link has ended" in client.get(link).content.decode()
        client.post(reverse("account_confirm_login_code"), {"code": code})
        assert "_auth_user_id" not in client.session
        # Typed without care, in time: case, dash and spaces do not matter.
        client = ask_for_code(customer.email)
        typed = f" {code_in_mail().lower().replace('-', ' ')} "
        assert client.post(reverse("account_confirm_login_code"), {"code": typed}).status_code == 302
        assert "_auth_user_id" in client.session


def test_only_own_paths_are_gone_to():
    customer = people.customer()
    for goal in ("https://elsewhere.example.org/", "//elsewhere.example.org/", "/\\elsewhere.example.org", "my/"):
        client = ask_for_code(customer.email, goal)
        answer = client.post(reverse("account_confirm_login_code"), {"code": code_in_mail()})
        assert answer["Location"] == "/", goal
        SignInKey.objects.all().delete()


def test_the_limits_count_by_address_and_by_caller_the_same_for_everybody():
    """Counted in the database: another process has the same rows before its eyes."""
    CustomerFactory(email="known@example.org")
    said = []
    for address in ("known@example.org", "nobody@example.org"):
        for _ in range(MOST_BY_ADDRESS):
            assert ask_for_code(address).session["sign_in_asked"]["email"] == address
        refused = Client().post(reverse("account_request_login_code"), {"email": address.upper()})
        assert refused.status_code == 429
        page = refused.content.decode()
        assert "Wait a quarter of an hour" in page
        said.append(re.sub(r'value="[^"]*"', "", page))
    assert said[0] == said[1]
    assert len(mail.outbox) == MOST_BY_ADDRESS
    key = SignInKey.objects.first()
    SignInKey.objects.bulk_create(
        SignInKey(address_digest=str(n), caller_digest=key.caller_digest, code_digest="", link_digest=str(n),
                  made_at=key.made_at, ends_at=key.ends_at)
        for n in range(MOST_BY_CALLER)
    )  # fmt: skip
    assert Client().post(reverse("account_request_login_code"), {"email": "third@example.org"}).status_code == 429
    elsewhere = Client(REMOTE_ADDR="203.0.113.9")  # RFC 5737: an address for examples
    assert elsewhere.post(reverse("account_request_login_code"), {"email": "third@example.org"}).status_code == 302


def test_asking_does_the_same_work_for_a_known_and_an_unknown_address(monkeypatch):
    """Who it is comes out beside the request, so the answer's time cannot tell. Compared by the statements."""
    CustomerFactory(email="known@example.org")
    carried, work = [], []
    monkeypatch.setattr(front_door, "hand_over", lambda job, **kwargs: carried.append((job, kwargs)))
    for address in ("known@example.org", "nobody@example.org"):
        with CaptureQueriesContext(connection) as seen:
            ask_for_code(address)
        work.append([re.sub(r"'[^']*'|\d+", "?", query["sql"]) for query in seen])
    assert work[0] == work[1]
    assert mail.outbox == []
    for job, kwargs in carried:
        job(**kwargs)
    assert [message.to for message in mail.outbox] == [["known@example.org"]]


@pytest.mark.django_db(transaction=True)  # the library tells of a new factor when it is committed
def test_a_member_without_a_second_factor_is_sent_to_set_one_up():
    member = people.technician()
    member.user.set_password(PASSWORD)
    member.user.save()
    client = Client()
    answer = client.post(reverse("account_login"), {"login": member.user.email, "password": PASSWORD})
    assert answer.status_code == 302
    answer = client.get(reverse("studio:work"))
    assert answer["Location"] == reverse("mfa_index")
    assert "need a second factor" in client.get(reverse("mfa_index")).content.decode()
    set_up(client)
    assert client.get(reverse("studio:work")).status_code == 200


def test_a_member_with_a_second_factor_is_asked_for_it():
    member = people.owner()
    member.user.set_password(PASSWORD)
    member.user.save()
    as_member(member)  # sets the factor up, in another browser
    client = Client()
    answer = client.post(reverse("account_login"), {"login": member.user.email, "password": PASSWORD})
    assert answer["Location"] == reverse("mfa_authenticate")
    assert client.get(reverse("studio:work"))["Location"].startswith(reverse("account_login"))
    assert client.post(reverse("mfa_authenticate"), {"code": "000000"}).status_code == 200
    assert client.post(reverse("mfa_authenticate"), {"code": totp_now()}).status_code == 302
    assert client.get(reverse("studio:work")).status_code == 200


def test_a_session_from_before_the_second_factor_must_sign_in_again():
    member = people.owner()
    old = as_member(member, second_factor=False)
    as_member(member)
    answer = old.get(reverse("studio:work"))
    assert answer["Location"].startswith(reverse("account_login"))
    assert "_auth_user_id" not in old.session


def test_removing_the_second_factor_closes_the_studio():
    member = people.owner()
    client = as_member(member)
    assert client.get(reverse("studio:work")).status_code == 200
    member.user.authenticator_set.all().delete()
    assert client.get(reverse("studio:work"))["Location"] == reverse("mfa_index")


def test_a_password_can_be_set_by_a_link_and_the_page_is_ours():
    member = people.owner()
    client = Client()
    client.post(reverse("account_reset_password"), {"email": member.user.email})
    link = re.search(r"https?://\S+", mail.outbox[-1].body)[0]
    page = client.get(link.split("testserver")[-1], follow=True)
    assert page.status_code == 200
    assert 'href="#content"' in page.content.decode()  # our frame


@pytest.mark.parametrize(
    "name",
    ["account_login", "account_request_login_code", "account_reset_password", "account_reset_password_done"],
)
def test_pages_before_signing_in_stand_in_our_frame(name, client):
    page = client.get(reverse(name)).content.decode()
    assert 'id="content"' in page
    assert page.count("<h1") == 1
    assert "style=" not in page


@pytest.mark.parametrize(
    "name", ["mfa_index", "mfa_add_webauthn", "mfa_list_webauthn", "account_change_password", "account_logout",
             "mfa_view_recovery_codes"],
)  # fmt: skip
def test_pages_of_the_second_factor_stand_in_our_frame(name):
    member = people.owner()
    member.user.set_password(PASSWORD)
    member.user.save()
    client = Client()
    client.post(reverse("account_login"), {"login": member.user.email, "password": PASSWORD})
    set_up(client)
    answer = client.get(reverse(name))
    assert answer.status_code == 200
    page = answer.content.decode()
    assert page.count("<h1") == 1
    assert "style=" not in page


class TestDemo:
    @pytest.fixture(autouse=True)
    def demo(self, settings):
        settings.MODE, settings.DEMO_KEY = "demo", "k-3f9a"
        studio = StudioFactory()
        for role, address in (("owner", "irune.sallow"), ("technician", "piet.oxenrood"), ("desk", "dace.ferrule")):
            member = getattr(people, role)(studio)
            member.user.email = f"{address}@example.org"
            member.user.save()
        customer = people.customer(studio)
        customer.user.email = "tove.halvarsen@example.org"
        customer.user.save()

    @pytest.mark.parametrize("who", ["owner", "technician", "desk"])
    def test_one_click_signs_a_member_in(self, who, client):
        assert client.get(f"/demo/k-3f9a/{who}/", follow=True).status_code == 200
        assert client.get(reverse("studio:work")).status_code == 200
        assert client.get(reverse("studio:outlook")).status_code == (200 if who == "owner" else 403)

    def test_one_click_signs_the_customer_in(self, client):
        answer = client.get("/demo/k-3f9a/customer/", follow=True)
        assert answer.redirect_chain[-1][0].startswith("/my/")
        assert client.get(reverse("studio:work")).status_code == 403

    @pytest.mark.parametrize("path", ["/demo/wrong/owner/", "/demo/k-3f9a/admin/", "/demo/k-3f9ä/owner/"])
    def test_a_wrong_key_or_person_is_not_there(self, path, client):
        assert client.get(path).status_code == 404
        assert "_auth_user_id" not in client.session

    def test_without_a_key_nobody_gets_in(self, settings, client):
        settings.DEMO_KEY = ""
        assert client.get("/demo//owner/").status_code == 404
        assert client.get("/demo/x/owner/").status_code == 404

    def test_out_of_demo_mode_the_address_is_dead_and_the_mark_worth_nothing(self, settings, client):
        client.get("/demo/k-3f9a/owner/")
        settings.MODE = "production"
        assert client.get(reverse("studio:work"))["Location"] == reverse("mfa_index")
        assert client.get("/demo/k-3f9a/owner/").status_code == 404


def test_user_for_address_is_made_once_and_joins_every_studio_that_knows_it():
    one, two = CustomerFactory(email="both@example.org"), CustomerFactory(email="both@example.org")
    assert one.studio != two.studio
    user = signin.user_for_address(" Both@Example.org ", at=NOW)
    assert signin.user_for_address("both@example.org", at=NOW) == user
    assert signin.customer_ids_of(user.pk) == (one.pk, two.pk)
    assert JournalEntry.objects.filter(verb="sign-in opened").count() == 2


@pytest.mark.parametrize("address", ["", "   ", "nobody@example.org", "%@example.org"])
def test_user_for_address_of_nobody(address):
    CustomerFactory(email="")
    assert signin.user_for_address(address, at=NOW) is None
    assert not User.objects.exists()


def test_a_second_row_of_the_same_person_in_one_studio_stays_apart():
    first = people.customer()
    first.email = "old@example.org"
    first.save()
    second = CustomerFactory(studio=first.studio, email=first.user.email)
    assert signin.user_for_address(second.email, at=NOW) == first.user
    second.refresh_from_db()
    assert second.user is None


def test_asked_for_twice_at_the_same_moment():
    CustomerFactory(email="twice@example.org")
    there = User.objects.create_user("twice@example.org")
    assert signin._new_user("twice@example.org", "Twice") == there
