"""Signing in: customers by a code, members by password and second factor, nobody else."""

from __future__ import annotations

import re

import pytest
from allauth.mfa.totp.internal.auth import format_hotp_value, hotp_value, yield_hotp_counters_from_time
from django.core import mail
from django.core.cache import cache
from django.test import Client
from django.urls import reverse

from lifecycle.care import signin
from lifecycle.models import JournalEntry, User
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
    answer = client.post(reverse("account_confirm_login_code"), {"code": code_in_mail(), "next": goal})
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
    for _ in range(3):
        client.post(reverse("account_confirm_login_code"), {"code": "WRONG1"})
    client.post(reverse("account_confirm_login_code"), {"code": code})
    assert client.get("/")["Location"].startswith(reverse("account_login"))


def test_the_code_mail_holds_no_address_of_ours_but_the_site(settings):
    CustomerFactory(email="plain@example.org")
    ask_for_code("plain@example.org")
    body = mail.outbox[-1].body
    assert settings.SITE_ADDRESS in body
    assert max(len(line) for line in body.splitlines()) <= 76


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
