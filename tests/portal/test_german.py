"""The customer's pages in German: no text node is the same as in English, but for names and units; errors, mails, the
report's PDF and the calendar too. The studio's pages stay English."""

from __future__ import annotations

import re
from datetime import timedelta
from html.parser import HTMLParser
from typing import Any

import pytest
import time_machine
from django.urls import reverse
from django.utils import translation

from lifecycle import models
from lifecycle.care.photos import add_photo
from lifecycle.care.record import record_event, record_habits, record_storage
from lifecycle.care.register import set_consent
from lifecycle.care.visits import propose
from lifecycle.care.windows import open_windows
from lifecycle.climate import store
from lifecycle.condition import assess
from tests.english import english_in
from tests.factories import NOW, TODAY, HabitsFactory, LayerFactory, ProductFactory, SurfaceFactory
from tests.lifecycle.care.report_world import World, make_world
from tests.meta.test_urls import ALL
from tests.pictures import picture
from tests.portal.doors import as_user

pytestmark = pytest.mark.django_db
DAY = timedelta(days=1)
# Layers on surfaces, with their age in days: fresh ones in cure, tired ones, an unknown one, all sorts of parts.
STACKS = {
    "roof": ("flat", "steel", (("ceramic_mid", 900), ("booster", 200))),
    "front_bumper": ("front", "plastic", (("film_body", 400), ("film_top_coat", 400))),
    "sills": ("sill", "steel", (("sealant", 150),)),
    "wheels": ("wheel", "aluminium", (("wheel_coat", 300),)),
    "windscreen": ("screen", "glass", (("windscreen_coat", 300),)),
    "trim": ("side", "plastic", (("trim_dressing", 20),)),
    "leather": ("inside", "leather", (("leather_guard", 90),)),
    "engine_bay": ("inside", "plastic", (("engine_bay_dressing", 150),)),
    "tailgate": ("rear", "steel", (("ceramic_top", 2),)),
    "headlamps": ("front", "plastic", (("unknown", 500),)),
}
# What is the same in both languages: names, marks, units, addresses, browsers; and days of months that look alike.
SAME = re.compile(
    r"Sheenward|Deutsch|English|Passkeys?(?: · Sheenward)?|Studio|Code|Roadster|Name|Text|HTML|Status|"
    r"(?:\d{1,2}\.? )?(?:M|Apr|Jul|Aug|Sept|Nov|Jan|Feb|April|August|September|November)\.? ?(?:\d{4})?|log|Aluminium|"
    r"[0-9a-f]{64}|Europe/\w+|"
    r"[\d.,:;%×–/ ()°·-]*(?:µm|km|GU|UTC|km/h|h|mil|EUR|€|PDF|JSON|CSV|QR|SHA-256)?[\d.,:;%×–/ ()°·-]*"
)


class Texts(HTMLParser):
    """The texts that a page shows or says: nodes, and the attributes that are read out."""

    SPOKEN = ("alt", "aria-label", "title", "placeholder", "content")

    def __init__(self, html: str) -> None:
        super().__init__()
        self.found: list[str] = []
        self.silent = 0
        self.feed(html)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.silent += tag in ("script", "style")
        if tag != "meta":
            self.found += [" ".join(value.split()) for name, value in attrs if name in self.SPOKEN and value]

    def handle_endtag(self, tag: str) -> None:
        self.silent -= tag in ("script", "style")

    def handle_data(self, data: str) -> None:
        if data.strip() and not self.silent:
            self.found.append(" ".join(data.split()))


@pytest.fixture(autouse=True)
def _clock() -> Any:
    with time_machine.travel(NOW, tick=False), translation.override("en"):  # a page leaves its language behind
        yield


@pytest.fixture
def world() -> World:
    """A vehicle with everything that a customer can see of one."""
    made = make_world()
    vehicle, studio = made.vehicle, made.studio
    given = {"studio": studio, "vehicle_id": vehicle.pk, "actor": "member:1", "at": NOW}
    HabitsFactory(vehicle=vehicle)
    LayerFactory(surface=made.bonnet, kind="ceramic_entry", applied=TODAY - 700 * DAY)
    for code, (orientation, substrate, layers) in STACKS.items():
        surface = SurfaceFactory(vehicle=vehicle, code=code, orientation=orientation, substrate=substrate)
        for kind, age in layers:
            product = ProductFactory(studio=studio, kind=kind) if kind == "sealant" else None
            LayerFactory(surface=surface, kind=kind, applied=TODAY - age * DAY, product=product)
    record_habits(
        **given, start=TODAY, parking="street", km_per_year=18_000, wash_method="bristle_tunnel",
        washes_per_year=12, wash_ph="alkaline", road_salt="heavy", trees_birds=3, source="asked",
    )  # fmt: skip
    record_event(**given, kind="wash", on=TODAY - 9 * DAY, by="customer")
    record_event(**given, kind="bird_dropping", on=TODAY - DAY, surface_id=made.bonnet.pk, dwell_h=6, air_c=31)
    record_storage(**given, start=TODAY + 200 * DAY, end=TODAY + 300 * DAY)
    models.ContractTerm.objects.create(
        studio=studio, vehicle=vehicle, title="Vertrag 7", due=TODAY + 40 * DAY, tolerance_days=30
    )
    add_photo(**given, upload=picture(), name="dach.jpg")
    by = {"actor": f"customer:{made.keeper.pk}", "at": NOW}
    set_consent(
        studio=studio, customer_id=made.keeper.pk, purpose="service", given=True, how="own page", wording="Ja.", **by
    )
    made.seal()
    store.refresh(at=NOW)
    assess(at=NOW)
    open_windows(at=NOW)
    propose(at=NOW)
    visit = {"studio": studio, "vehicle": vehicle, "site": vehicle.site, "customer": made.keeper, "booked_at": NOW}
    for number, state in enumerate(("asked", "booked", "offered", "done", "declined", "no_show", "cancelled")):
        models.Visit.objects.create(
            **visit, on=TODAY + (10 + number) * DAY, tasks=["inspection", "recoat"], state=state, hours=3,
            offered=["2026-05-04T09:00"] if state == "offered" else [],
        )  # fmt: skip
    return made


def addresses(world: World) -> dict[str, str]:
    """Every page of the customer's by its URL name."""
    vehicle, report = world.vehicle.pk, models.Report.objects.get().pk
    visit = {state: models.Visit.objects.get(state=state).pk for state in ("booked", "asked")}
    proposal = models.VisitProposal.objects.filter(vehicle=vehicle).first()
    used = "?parking=garage&wash_method=two_bucket&washes_per_year=26&km_per_year=9000&road_salt=none&where=&extra="
    ids: dict[str, tuple[Any, ...]] = {
        "home": (), "vehicle": (vehicle,), "what_if": (vehicle,), "guide": (vehicle,), "log": (vehicle,),
        "report": (report,), "choices": (), "data": (), "fleet": (), "visits": (), "ask": (vehicle,),
        "surface": (vehicle, world.bonnet.pk), "care_record": (vehicle,), "handover": (vehicle,),
        "move_visit": (visit["booked"],), "cancel_visit": (visit["asked"],), "accept": (vehicle, proposal.pk),
    }  # fmt: skip
    found = {name: reverse(f"customer:{name}", args=args) for name, args in ids.items()}
    found["what_if answered"] = found["what_if"] + used
    found["log after a mishap"] = found["log"] + "?after=sap"
    found |= {name: reverse(name) for name in ("devices", "account_logout", "mfa_index")}
    found["check"] = reverse("report_check", args=[models.Report.objects.get().token])
    found["nowhere"] = "/my/nowhere/"
    found["forbidden"] = "/studio/outlook/"
    return found


# No page: files, pictures, what takes a form only; and what needs a fresh sign-in (below).
NO_PAGE = {
    "photo", "report_pdf", "manifest", "worker", "data_json", "fleet_csv", "choose_day", "feed", "visit_ics", "erase",
}  # fmt: skip


OWN_WORDS = {"data"}  # holds the record as it is: looked at word by word, and in test_download


def speak(customer: models.Customer, language: str) -> None:
    models.Customer.objects.filter(pk=customer.pk).update(language=language)


def typed(world: World) -> set[str]:
    """What people typed, and names: the same in every language."""
    words = {world.studio.name, world.vehicle.site.name, world.vehicle.description, world.vehicle.plate}
    words |= {
        world.keeper.name,
        world.keeper.email,
        "Left edge, under the lamp",
        "Vertrag 7",
        "Ja.",
        world.studio.phone,
    }
    words |= {"inspection lamp, 4000 K", "Dry, panels at 15 degrees.", "Through the colour at its end"}
    words |= set(models.Product.objects.values_list("name", flat=True)) | {str(world.technician.user)}
    return words | {word[:1].upper() + word[1:] for word in words}


def shared(english: str, german: str, names: set[str]) -> list[str]:
    """Texts with letters that stand on both pages, but for names."""
    before = set(Texts(english).found)
    left = []
    for text in Texts(german).found:
        bare = text
        for name in sorted(filter(None, names), key=len, reverse=True):
            bare = bare.replace(name, "")
        if text in before and re.search(r"[A-Za-z]{2}", bare) and not SAME.fullmatch(bare.strip(" ·,.:()")):
            left.append(text)
    return left


def test_every_page_of_the_customers_is_looked_at(world):
    named = {name.removeprefix("customer:") for name, _entry in ALL if name.startswith("customer:")}
    assert named - NO_PAGE - set(addresses(world)) == set()


def test_no_page_keeps_an_english_text(world):
    browser, names, wrong = as_user(world.keeper), typed(world), {}
    for name, address in addresses(world).items():
        pages = {}
        for language in ("en", "de"):
            speak(world.keeper, language)
            answer = browser.get(address, follow=True)
            pages[language] = answer.content.decode()
        assert '<html lang="de">' in pages["de"], name
        assert len(Texts(pages["de"]).found) > 8, name
        if name not in OWN_WORDS and (left := shared(pages["en"], pages["de"], names)):
            wrong[name] = left
    assert wrong == {}


def test_no_sentence_of_a_page_is_english_in_part(world):
    """A sentence may change and still keep an English name or a code: word by word, every page and file to read."""
    browser, wrong = as_user(world.keeper), {}
    speak(world.keeper, "de")
    names = typed(world)
    for name, address in addresses(world).items():
        found = Texts(browser.get(address, follow=True).content.decode()).found
        for text in found:
            if left := english_in(text, names):
                wrong.setdefault(name, []).append((left, text))
    assert wrong == {}


def test_the_comparison_would_see_english():
    page = "<p>Nothing is urgent.</p><p>12 µm</p><img alt='Tove at sea'>"
    assert shared(page, page, {"Tove"}) == ["Nothing is urgent.", "Tove at sea"]
    assert shared(page, "<p>Nichts eilt.</p><p>12 µm</p>", set()) == []


def test_days_and_numbers_are_written_as_german_does(world):
    speak(world.keeper, "de")
    browser = as_user(world.keeper)
    page = " ".join(Texts(browser.get(reverse("customer:vehicle", args=[world.vehicle.pk])).content.decode()).found)
    assert re.search(r"\b\d{1,2}\. (Jan\.|Feb\.|März|Apr\.|Mai|Juni|Juli|Aug\.|Sept\.|Okt\.|Nov\.|Dez\.) 2026", page)
    assert not re.search(r"\b\d{1,2} (January|February|March|May|June|July|October|December) \d{4}", page)
    assert re.search(r"\b0,\d+ µm", page)
    assert not re.search(r"\b\d\.\d+ (µm|%)", page)
    assert "18 000 km" in page
    speak(world.keeper, "en")
    page = " ".join(Texts(browser.get(reverse("customer:vehicle", args=[world.vehicle.pk])).content.decode()).found)
    assert re.search(r"\b0\.\d+ µm", page)


def test_dates_in_templates_go_through_the_catalogue(settings):
    """A format with letters of a month that is written out in a template would be English everywhere."""
    folder = settings.BASE_DIR / "portal" / "templates"
    bare = [
        (path.name, found)
        for path in folder.rglob("*.html") if "studio" not in path.parts and path.name != "banner.html"
        for found in re.findall(r"""date:["'][^"']*[FMlD][^"']*["']""", path.read_text(encoding="utf-8"))
    ]  # fmt: skip
    assert bare == []


@pytest.mark.parametrize(
    ("report", "fields", "says"),
    [
        ("wash", {"on": "2199-01-01"}, "liegt in der Zukunft; geben Sie den Tag an, an dem es geschah"),
        ("wash", {"on": ""}, "Dieses Feld ist zwingend erforderlich"),
        ("mishap", {"on": "gestern", "kind": "sap"}, "schreiben Sie ihn als Jahr-Monat-Tag"),
        ("mishap", {"on": str(TODAY), "kind": "sap", "dwell_h": "lange"}, "ist keine Zahl; schreiben Sie nur Ziffern"),
        ("water", {"on": str(TODAY), "clean_state": "washed"}, "Wählen Sie das Bild, das am ähnlichsten aussieht"),
        ("photo", {}, "Wählen Sie zuerst ein Foto"),
    ],
)
def test_errors_beside_forms_are_german(world, report, fields, says):
    speak(world.keeper, "de")
    answer = as_user(world.keeper).post(reverse("customer:log", args=[world.vehicle.pk]), {"report": report, **fields})
    assert says in answer.content.decode()


def test_a_photo_that_is_none_is_refused_in_german(world):
    speak(world.keeper, "de")
    from django.core.files.uploadedfile import SimpleUploadedFile

    file = SimpleUploadedFile("rechnung.jpg", b"%PDF-1.7 nothing", content_type="image/jpeg")
    answer = as_user(world.keeper).post(
        reverse("customer:log", args=[world.vehicle.pk]), {"report": "photo", "photo": file}
    )
    assert "Rechnung.jpg: Dem Inhalt nach ist das ein PDF-Dokument und kein Foto." in answer.content.decode()


@pytest.mark.parametrize(
    ("where", "says"),
    [("Nirgendwo", "ist nicht unter den"), ("99.0, 6.7", "Die Breite liegt zwischen -90 und 90")],
)
def test_a_place_that_is_not_found_is_said_in_german(world, where, says):
    speak(world.keeper, "de")
    use = {"parking": "garage", "wash_method": "two_bucket", "washes_per_year": "9", "km_per_year": "9000"}
    address = reverse("customer:what_if", args=[world.vehicle.pk])
    answer = as_user(world.keeper).get(address, use | {"road_salt": "none", "where": where})
    assert says in answer.content.decode()


class TestUnits:
    """Miles: 15 000 km are 9 320.57 miles (NIST Special Publication 811, B.8: 1 mile = 1.609 344 km)."""

    USE = "parking=garage&wash_method=two_bucket&washes_per_year=26&road_salt=none&where=&extra="

    def page(self, world, name, query=""):
        return as_user(world.keeper).get(reverse(f"customer:{name}", args=[world.vehicle.pk]) + query).content.decode()

    def test_a_choice_changes_every_figure_of_the_page(self, world):
        models.Customer.objects.filter(pk=world.keeper.pk).update(units="us")
        page = " ".join(Texts(self.page(world, "vehicle")).found)
        assert "11 200 miles a year" in page
        assert " mil" in page
        assert "µm" not in page
        assert not re.search(r"\d km\b", page)

    def test_where_nobody_chose_it_is_as_is_usual_there(self, world):
        models.Site.objects.update(country="GB")
        page = " ".join(Texts(self.page(world, "vehicle")).found)
        assert "11 200 miles a year" in page
        assert "µm" in page
        models.Customer.objects.filter(pk=world.keeper.pk).update(units="metric")
        assert "18\u00a0000 km a year" in self.page(world, "vehicle")

    def test_what_if_takes_and_keeps_miles(self, world):
        models.Customer.objects.filter(pk=world.keeper.pk).update(units="uk")
        page = self.page(world, "what_if")
        assert 'name="miles_per_year" value="11185"' in re.sub(r"\s+", " ", page)
        assert "km_per_year" not in page
        address = reverse("customer:what_if", args=[world.vehicle.pk])
        use = dict(part.split("=") for part in self.USE.split("&")) | {"miles_per_year": "10000"}
        answer = as_user(world.keeper).post(address, use)
        assert answer.status_code == 302
        assert models.Habits.objects.get(vehicle=world.vehicle, end=None).km_per_year == pytest.approx(16_093.44)
        # The distance as shown, rounded to whole miles, is the present one and nothing else.
        same = self.page(world, "what_if", f"?{self.USE}&miles_per_year=10000")
        assert "That is how it is used now" in same

    def test_it_is_chosen_on_the_choices_page_in_the_journal_without_a_name(self, world):
        wishes = {"customer": world.keeper.pk, "language": "de", "units": "us"}
        answer = as_user(world.keeper).post(reverse("customer:choices"), wishes)
        assert answer.status_code == 302
        row = models.Customer.objects.get(pk=world.keeper.pk)
        assert (row.units, row.language) == ("us", "de")
        entry = models.JournalEntry.objects.filter(verb="wishes changed").latest("pk")
        assert entry.data == {"language": "de", "units": "us"}
        refused = as_user(world.keeper).post(reverse("customer:choices"), wishes | {"units": "cubits"})
        assert refused.status_code == 422


def test_the_reports_pdf_and_the_calendar_speak_german(world):
    speak(world.keeper, "de")
    browser = as_user(world.keeper)
    pdf = browser.get(reverse("customer:report_pdf", args=[models.Report.objects.get().pk]))
    assert b"/Lang (de)" in pdf.content or b"/Lang(de)" in pdf.content
    visit = models.Visit.objects.get(state="booked")
    calendar = browser.get(reverse("customer:visit_ics", args=[visit.pk])).content.decode()
    assert "Inspektion" in calendar
    manifest = browser.get(reverse("customer:manifest") + "?language=de").json()
    assert (manifest["lang"], manifest["name"]) == ("de", "Sheenward: mein Fahrzeug")


def test_what_is_stored_stays_english_for_the_studio(world):
    """Words of a page are said when it is shown; a German reader changes no row."""
    speak(world.keeper, "de")
    before = list(models.CareDue.objects.order_by("pk").values_list("why", "words"))
    browser = as_user(world.keeper)
    browser.post(
        reverse("customer:log", args=[world.vehicle.pk]),
        {"report": "mishap", "kind": "sap", "on": str(TODAY), "surface": world.bonnet.pk},
    )
    open_windows(at=NOW)
    after = list(models.CareDue.objects.order_by("pk").values_list("why", "words"))
    assert len(after) >= len(before) > 3
    assert not re.search(r"\b(und|der|die|das|zwischen)\b", " ".join(why for why, _words in after))
