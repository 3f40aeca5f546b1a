"""Where a person is signed in: every place is listed, and ended one by one or all others at once."""

from __future__ import annotations

import re
import time

import pytest
import time_machine
from allauth.account.internal.flows.login import AUTHENTICATION_METHODS_SESSION_KEY
from allauth.mfa.models import Authenticator
from allauth.usersessions.models import UserSession
from django.contrib.sessions.models import Session
from django.test import Client
from django.urls import reverse

from portal.access.devices import device_words
from tests import people
from tests.factories import NOW
from tests.portal.doors import as_user

pytestmark = pytest.mark.django_db
# As Firefox 128 on Android, Safari 17 on an iPhone and Edge 126 on Windows name themselves; from memory.
ANDROID = "Mozilla/5.0 (Android 14; Mobile; rv:128.0) Gecko/128.0 Firefox/128.0"
IPHONE = (
    "Mozilla/5.0 (iPhone; CPU iPhone OS 17_5 like Mac OS X) AppleWebKit/605.1.15 (KHTML, like Gecko) "
    "Version/17.5 Mobile/15E148 Safari/604.1"
)
EDGE = (
    "Mozilla/5.0 (Windows NT 10.0; Win64; x64) AppleWebKit/537.36 (KHTML, like Gecko) Chrome/126.0.0.0 "
    "Safari/537.36 Edg/126.0.0.0"
)


def signed_in(user, agent: str, address: str = "203.0.113.7") -> Client:
    client = Client(HTTP_USER_AGENT=agent, REMOTE_ADDR=address)
    client.force_login(user)
    client.get(reverse("customer:choices"))
    return client


@pytest.mark.parametrize(
    ("agent", "words"),
    [(ANDROID, "Firefox on Android"), (IPHONE, "Safari on iPhone"), (EDGE, "Edge on Windows"),
     ("curl/8.5.0", "A device that does not say what it is"), ("", "A device that does not say what it is")],
)  # fmt: skip
def test_devices_in_words(agent, words):
    assert device_words(agent) == words


def test_every_place_is_listed_and_ended_one_by_one_or_all_others():
    customer, other = people.customer(), people.customer()
    phone, laptop, tablet = (signed_in(customer.user, agent) for agent in (ANDROID, EDGE, IPHONE))
    stranger = signed_in(other.user, ANDROID)
    page = phone.get(reverse("devices")).content.decode()
    assert re.findall(r"<strong>([^<]*)</strong>", page)[0] == "Firefox on Android"
    assert page.count("<strong>") == 3
    assert "203.0.113.7" in page
    row = UserSession.objects.get(user=customer.user, user_agent=EDGE)
    assert phone.post(reverse("devices"), {"end": row.pk}).status_code == 302
    assert laptop.get(reverse("customer:choices"))["Location"].startswith(reverse("account_login"))
    assert tablet.get(reverse("customer:choices")).status_code == 200
    # Somebody else's row, one's own present one and nonsense are not there to be ended.
    foreign = UserSession.objects.get(user=other.user)
    own = UserSession.objects.get(user=customer.user, user_agent=ANDROID)
    for wanted in (foreign.pk, own.pk, "x", "²", ""):
        assert phone.post(reverse("devices"), {"end": wanted}).status_code == 404
    assert phone.post(reverse("devices"), {"others": "1"}).status_code == 302
    assert tablet.get(reverse("customer:choices")).status_code == 302
    assert phone.get(reverse("devices")).content.decode().count("<strong>") == 1
    assert stranger.get(reverse("customer:choices")).status_code == 200


def test_last_seen_is_written_at_most_every_ten_minutes_and_signing_out_forgets_the_place():
    customer = people.customer()
    with time_machine.travel(NOW, tick=False) as clock:
        phone = signed_in(customer.user, ANDROID)
        clock.shift(300)
        phone.get(reverse("customer:choices"))
        assert UserSession.objects.get().last_seen_at == NOW
        clock.shift(301)
        phone.get(reverse("customer:choices"))
        assert (UserSession.objects.get().last_seen_at - NOW).total_seconds() == 601
        phone.post(reverse("account_logout"))
        phone = signed_in(customer.user, ANDROID)
        assert phone.get(reverse("devices")).content.decode().count("<strong>") == 1
    assert Session.objects.count() == 1


def test_a_customer_changes_passkeys_only_soon_after_signing_in():
    customer = people.customer()
    customer.user.set_unusable_password()  # as every customer's who came by a mail
    customer.user.save()
    client = as_user(customer)
    add = reverse("mfa_add_webauthn")
    again = client.get(add)
    assert again["Location"] == f"{reverse('account_request_login_code')}?next={add.replace('/', '%2F')}"
    assert customer.email in client.get(again["Location"]).content.decode()  # nothing to type again
    session = client.session
    session[AUTHENTICATION_METHODS_SESSION_KEY] = [{"method": "code", "at": time.time()}]
    session["account_authentication_methods_user"] = str(customer.user.pk)
    session.save()
    assert client.get(add).status_code == 200
    for closed in ("mfa_activate_totp", "mfa_generate_recovery_codes", "mfa_view_recovery_codes"):
        assert client.get(reverse(closed)).status_code == 404
    # A passkey is another way in, no second lock: the code still opens the door, and there is no password to ask for.
    key = Authenticator.objects.create(user=customer.user, type=Authenticator.Type.WEBAUTHN, data={"name": "Phone"})
    page = client.get(reverse("mfa_index")).content.decode()
    assert "Rename “Phone”" in page
    assert client.post(reverse("mfa_edit_webauthn", args=[key.pk]), {"name": "Tablet"}).status_code == 302
    assert client.post(reverse("mfa_remove_webauthn", args=[key.pk])).status_code == 302
    assert not Authenticator.objects.exists()
    # Somebody else's is not there.
    foreign = Authenticator.objects.create(
        user=people.customer().user, type=Authenticator.Type.WEBAUTHN, data={"name": "Phone"}
    )
    assert client.post(reverse("mfa_remove_webauthn", args=[foreign.pk])).status_code == 404
