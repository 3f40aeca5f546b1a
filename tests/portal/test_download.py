"""All own data, and nothing of anybody else; every model is thought of."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest
from django.apps import apps
from django.db import connection
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from django.utils import translation
from django.utils.translation import gettext

from lifecycle.care.own_data import LEFT_OUT_FIELDS, PARTS
from lifecycle.models import CareEvent, Complaint, Keeper, Suppression
from portal.customer.data_words import field_words, value_words
from tests import factories as f
from tests import people
from tests.portal.doors import as_user

pytestmark = pytest.mark.django_db

# Models without a part of their own; each with the reason. A new model must be put here or into PARTS.
COVERED_ELSEWHERE = {
    "lifecycle.User": "“Your account”",
    "lifecycle.Suppression": "“Addresses that are not written to”",
    "lifecycle.JournalEntry": "“What was done by you or to your record”",
    "usersessions.UserSession": "“Where you are signed in”",
    "mfa.Authenticator": "“Your passkeys”",
}
NOT_ABOUT_A_CUSTOMER = {
    "lifecycle.Studio": "the studio", "lifecycle.Site": "the studio's", "lifecycle.Bay": "the studio's",
    "lifecycle.Member": "the studio's people", "lifecycle.Product": "the studio's shelf",
    "lifecycle.LayerPackage": "the studio's shelf", "lifecycle.PackageItem": "the studio's shelf",
    "lifecycle.Document": "data sheets of products", "lifecycle.Gauge": "the studio's tools",
    "lifecycle.FigureOverride": "the studio's figures", "lifecycle.LearnedLife": "figures over many vehicles",
    "lifecycle.OpeningHours": "the studio's", "lifecycle.Closure": "the studio's", "lifecycle.Hands": "the studio's",
    "lifecycle.OwnerLetter": "to the studio's owners",
    "lifecycle.OutlookSheet": "sums over a site", "lifecycle.MailWording": "the studio's own sentences",
    "lifecycle.MailTrial": "the studio's own sentences being tried",
    "lifecycle.WordsApproval": "which sentences the studio let out",
    "lifecycle.Price": "the price list", "lifecycle.ClimateNormal": "the weather of a place",
    "lifecycle.ClimateService": "a service's state", "lifecycle.Heartbeat": "the machine's state",
    "lifecycle.ApiToken": "digests of members' tokens", "lifecycle.ApiAnswer": "answers to programs, kept for a day",
    "lifecycle.Hook": "the studio's", "lifecycle.HookDelivery": "ids alone",
    "lifecycle.HookCursor": "the machine's state",
    "lifecycle.ImportFile": "a list of the studio, deleted once recorded", "lifecycle.ImportMapping": "headings alone",
    "lifecycle.ImportRow": "a dry run, deleted with its file", "lifecycle.ImportMade": "what a list made, for 30 days",
    "lifecycle.EarlyReceipt": "a provider's own ids, kept for a day",
    "lifecycle.SignInKey": "digests alone, kept for a day", "auth.Permission": "of the framework",
    "auth.Group": "of the framework", "contenttypes.ContentType": "of the framework",
    "sessions.Session": "a session's own keys; told as “Where you are signed in”",
    "account.EmailAddress": "the address of the account, told there",
    "account.EmailConfirmation": "not in use",
}  # fmt: skip


def test_every_model_is_in_the_download_or_left_out_for_a_reason():
    parts = {f"lifecycle.{part.model}" for part in PARTS}
    every = {model._meta.label for model in apps.get_models()}
    assert every - parts - COVERED_ELSEWHERE.keys() - NOT_ABOUT_A_CUSTOMER.keys() == set()
    assert (parts | COVERED_ELSEWHERE.keys() | NOT_ABOUT_A_CUSTOMER.keys()) - every == set()


# The same word in both languages, names of standards, and letters.
SAME = {"Text", "Name", "text", "name", "sha256", "x", "y", "SHA-256"}


SAME_CODES = {"neutral", "aluminium", "roadster"}


def german(say, *words):
    with translation.override("de"):
        return [say(word) for word in words]


def test_every_title_and_field_has_german_words():
    """Of every model in the download, so that a new field or a new kind of rows cannot be forgotten."""
    titles = {part.title for part in PARTS}
    assert [title for title in titles if german(gettext, title) == [title]] == []
    fields = {
        field.attname
        for part in PARTS
        for field in apps.get_model("lifecycle", part.model)._meta.concrete_fields
        if field.name not in LEFT_OUT_FIELDS
    }
    assert len(fields) > 150
    assert [name for name in fields - SAME if german(field_words, name)[0] in (name, name.replace("_", " "))] == []


def test_every_code_that_a_field_may_hold_has_german_words():
    wrong = {}
    for part in PARTS:
        for field in apps.get_model("lifecycle", part.model)._meta.concrete_fields:
            if field.name in LEFT_OUT_FIELDS or field.name in ("size", "language", "units"):
                continue
            for code, _label in field.choices or ():
                if code and german(value_words, code)[0] in (code, code.replace("_", " ")) and code not in SAME_CODES:
                    wrong.setdefault(f"{part.model}.{field.name}", []).append(code)
    assert wrong == {}


def test_what_is_reckoned_is_readable():
    """Numbers with three digits that count, days as the language writes them, codes and sentences as words."""
    kept = {
        "function": {"roof": {"p50": 0.8168037906285117}}, "tired_on": "2026-03-02", "verdict": "not_right",
        "why": "found worn: beading 1.0 of 5 on 2025-10-26, decontaminated.", "starts": "2026-05-04T09:00",
        "width": 5.999999999999999, "severity": 15000.0, "no": 0.0,
    }  # fmt: skip
    assert german(value_words, kept) == [
        "Wirkung: Dach: 50 %: 0,817; ermüdet am: 2. März 2026; Urteil: nicht richtig; warum: verschlissen vorgefunden: "
        "Abperlen 1,0 von 5 am 26. Oktober 2025, dekontaminiert.; beginnt um: 4. Mai 2026, 09:00; Breite des "
        "Bildes: 6; Schwere: 15000; nein: 0"
    ]
    assert value_words(kept["why"]) == kept["why"]


def world():
    """A seller and a buyer of one vehicle, each with something of their own."""
    seller = people.customer(name="Tess Alder")
    buyer = people.customer(seller.studio, name="Bo Holm")
    vehicle = f.VehicleFactory(site=f.SiteFactory(studio=seller.studio))
    sold = f.TODAY - timedelta(days=100)
    Keeper.objects.filter(vehicle=vehicle).delete()
    for person, start, end in ((seller, sold - timedelta(days=400), sold), (buyer, sold, None)):
        Keeper.objects.create(studio=vehicle.studio, vehicle=vehicle, customer=person, start=start, end=end)
    f.LayerFactory(surface=f.SurfaceFactory(vehicle=vehicle))
    for days, note in ((200, "beside the seller's house"), (50, "beside the buyer's house")):
        CareEvent.objects.create(
            studio=vehicle.studio, vehicle=vehicle, kind="sap", on=f.TODAY - timedelta(days=days), note=note,
            by="customer",
        )  # fmt: skip
    for person in (seller, buyer):
        Complaint.objects.create(
            studio=person.studio, customer=person, about=f"complaint of {person.name}", opened_at=f.NOW
        )
        f.MessageFactory(customer=person, subject=f"mail to {person.name}")
        Suppression.objects.create(studio=person.studio, email=person.email.upper(), why="bounced", at=f.NOW)
    return seller, buyer


def test_each_takes_their_own_along_and_nothing_of_the_other():
    seller, buyer = world()
    for me, other in ((seller, buyer), (buyer, seller)):
        answer = as_user(me).get(reverse("customer:data_json"))
        assert answer["Content-Disposition"] == 'attachment; filename="my-data.json"'
        text = answer.content.decode()
        data = json.loads(text)
        house, foreign = ("seller", "buyer") if me is seller else ("buyer", "seller")
        for wanted in (me.name, me.email, f"complaint of {me.name}", f"mail to {me.name}", f"beside the {house}'s"):
            assert wanted in text
        for wrong in (other.name, other.email, f"beside the {foreign}'s"):
            assert wrong.lower() not in text.lower()
        assert len(data["parts"]["Layers"]) == 1
        assert len(data["parts"]["Addresses that are not written to"]) == 1
        page = as_user(me).get(reverse("customer:data")).content.decode()
        assert f"mail to {me.name}" in page
        assert other.name not in page


def test_as_many_queries_for_many_rows_as_for_few():
    me = people.customer()
    counts = []
    for _ in range(2):
        for _ in range(5):
            vehicle = f.VehicleFactory(site__studio=me.studio, keeper=me)
            f.LayerFactory(surface=f.SurfaceFactory(vehicle=vehicle))
        client = as_user(me)
        with CaptureQueriesContext(connection) as queries:
            assert client.get(reverse("customer:data_json")).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[1]
