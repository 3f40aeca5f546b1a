"""What each kind of list can bring: its columns, how each is read, and by which words a heading is known. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from lifecycle.care.surface_presets import BODIES
from lifecycle.wear.choices import CLEAN_STATES, COLOURS, LAYER_KINDS, PAINTS, POWERTRAINS, SIZES


@dataclass(frozen=True, slots=True)
class Field:
    """One thing that a column can hold.

    Attributes:
        form: text, email, phone, zone, vin, day, number, flag or word.
        most: longest text.  words: what is allowed; also: other words for these.
        headings: headings by which it is recognised, small letters and digits alone.
        hint: what to write, for people.
    """

    name: str
    title: str
    form: str
    headings: tuple[str, ...]
    hint: str = ""
    most: int = 160
    words: tuple[str, ...] = ()
    also: dict[str, str] = field(default_factory=dict)
    needed: bool = False


LANGUAGES: Final = ("en", "de")
LANGUAGE_WORDS: Final = {"english": "en", "german": "de", "deutsch": "de", "englisch": "en"}
BODY_ALSO: Final = {
    "sedan": "saloon", "wagon": "estate", "kombi": "estate", "hatchback": "hatch", "pick up": "pickup",
    "convertible": "roadster", "cabriolet": "roadster", "coupé": "coupe", "limousine": "saloon",
}  # fmt: skip
COLOUR_ALSO: Final = {
    "silver": "light", "cream": "light", "pearl": "light", "red": "mid", "green": "mid", "grey": "mid", "gray": "mid",
    "bright blue": "mid", "dark blue": "dark", "dark grey": "dark", "dark gray": "dark",
}  # fmt: skip
SIZE_ALSO: Final = {"small": "S", "medium": "M", "large": "L", "very large": "XL"}

CUSTOMERS: Final = (
    Field("number", "customer number", "text",
          ("number", "no", "nr", "id", "customernumber", "customerno", "customerid", "clientid", "kundennummer",
           "kundennr"),
          "The number that your other list knows the customer by.", most=60),
    Field("name", "name", "text",
          ("name", "customer", "customername", "fullname", "client", "kunde", "firma", "company"),
          "First and last name, or the firm.", needed=True),
    Field("email", "e-mail", "email", ("email", "mail", "emailaddress", "mailadresse", "emailadresse"),
          "One address to a cell."),
    Field("phone", "phone", "phone", ("phone", "telephone", "tel", "mobile", "phonenumber", "telefon", "handy"), ""),
    Field("language", "language of the letters", "word", ("language", "lang", "sprache"), "en or de.",
          words=LANGUAGES, also=LANGUAGE_WORDS),
    Field("zone", "time zone", "zone", ("zone", "timezone", "zeitzone"), "Like Europe/Oslo."),
    Field("fleet", "firm with several vehicles", "flag", ("fleet", "business", "flotte"), "yes or no."),
    Field("since", "customer since", "day", ("since", "customersince", "created", "createdat", "kundeseit"), "A day."),
)  # fmt: skip

# How a row of another list says which vehicle it is about.
WHICH_VEHICLE: Final = (
    Field("vehicle_number", "vehicle number", "text",
          ("vehiclenumber", "vehicleid", "vehicleno", "fahrzeugnummer", "fahrzeugid"),
          "The number that your other list knows the vehicle by.", most=60),
    Field("vin", "VIN", "vin", ("vin", "chassisnumber", "fin", "fahrgestellnummer"),
          "The vehicle identification number, 17 characters."),
    Field("plate", "plate", "text",
          ("plate", "numberplate", "licenseplate", "licenceplate", "registration", "kennzeichen"), "", most=20),
)  # fmt: skip

VEHICLES: Final = (
    Field("number", "vehicle number", "text",
          ("number", "no", "nr", "id", "vehiclenumber", "vehicleid", "vehicleno", "fahrzeugnummer", "fahrzeugid"),
          "The number that your other list knows the vehicle by.", most=60),
    *WHICH_VEHICLE[1:],
    Field("keeper_number", "keeper’s customer number", "text",
          ("customernumber", "customerno", "customerid", "clientid", "keepernumber", "ownerid", "kundennummer"),
          "The number that the customer was imported with.", most=60),
    Field("keeper_email", "keeper’s e-mail", "email", ("keeperemail", "customeremail", "owneremail", "email", "mail"),
          "The address that the customer is on record with."),
    Field("description", "description", "text", ("description", "model", "vehicle", "car", "modell", "fahrzeug"),
          "In your words, like black large SUV.", most=120),
    Field("body", "body", "word", ("body", "bodytype", "type", "aufbau", "karosserie"), "", words=BODIES,
          also=BODY_ALSO),
    Field("size", "size", "word", ("size", "groesse", "größe", "class"), "S, M, L or XL.", words=SIZES,
          also=SIZE_ALSO),
    Field("colour", "colour", "word", ("colour", "color", "farbe"), "How light it is: white, light, mid, dark, black.",
          words=COLOURS, also=COLOUR_ALSO),
    Field("paint", "paint", "word", ("paint", "lack"), "Empty: colour under a clear coat.", words=PAINTS),
    Field("powertrain", "powertrain", "word", ("powertrain", "fuel", "drive", "antrieb"), "Empty: combustion.",
          words=POWERTRAINS, also={"petrol": "combustion", "diesel": "combustion", "ev": "electric"}),
    Field("first_seen", "first seen", "day", ("firstseen", "since", "firstvisit", "created", "seit"),
          "Its first day with you and its keeper. Empty: the day of the import."),
    Field("site", "site", "text", ("site", "branch", "location", "standort", "filiale"),
          "The name of the site. Needed where the studio has several.", most=120),
)  # fmt: skip

SURFACE: Final = Field(
    "surface", "surface", "text", ("surface", "panel", "part", "flaeche", "fläche", "bauteil"),
    "Like bonnet; one that is usual for the body comes along if it is not on record.", most=40, needed=True,
)  # fmt: skip
LAYERS: Final = (
    *WHICH_VEHICLE,
    SURFACE,
    Field("product", "product code", "text", ("product", "productcode", "code", "produkt"),
          "The code that stands under Products.", most=20),
    Field("kind", "kind of layer", "word", ("kind", "layer", "layerkind", "type", "art", "schicht"),
          "Where no product is known.", words=LAYER_KINDS),
    Field("applied", "put on", "day", ("applied", "date", "on", "appliedon", "day", "datum", "aufgetragen"),
          "The day.", needed=True),
    Field("coats", "coats", "number", ("coats", "number of coats", "lagen"), "Empty: one."),
    Field("batch", "batch", "text", ("batch", "lot", "charge"), "", most=40),
    Field("ended", "ended", "day", ("ended", "end", "removed", "endedon", "ende"),
          "The day. Empty: it is there still, or until the next one in its place."),
    Field("ended_why", "why it ended", "text", ("endedwhy", "why", "reason", "grund"), "", most=60),
)  # fmt: skip
VISITS: Final = (
    Field("number", "visit number", "text",
          ("number", "no", "nr", "id", "visitnumber", "order", "ordernumber", "invoice", "auftragsnummer"),
          "The number that your other list knows the visit by. Without one, vehicle and day tell.", most=60),
    *WHICH_VEHICLE,
    Field("on", "day", "day", ("on", "date", "day", "visit", "datum", "tag"), "The day of the visit.", needed=True),
    Field("tasks", "care", "text", ("tasks", "task", "care", "services", "service", "work", "leistung", "arbeiten"),
          "Tasks as they stand under Prices, parted by commas.", most=600, needed=True),
    Field("hours", "hours", "number", ("hours", "duration", "stunden"), "Empty: the usual hours of the tasks."),
    Field("paid", "paid", "number", ("paid", "amount", "total", "price", "betrag", "summe"),
          "In the studio’s currency."),
    Field("state", "what became of it", "word", ("state", "status", "outcome"), "Empty: done.",
          words=("done", "cancelled", "no_show"), also={"canceled": "cancelled", "did not come": "no_show"}),
    Field("site", "site", "text", ("site", "branch", "location", "standort", "filiale"),
          "Empty: the vehicle’s site.", most=120),
)  # fmt: skip
READINGS: Final = (
    *WHICH_VEHICLE,
    SURFACE,
    Field("on", "day", "day", ("on", "date", "day", "datum", "tag"), "The day on which it was read.", needed=True),
    Field("kind", "kind of reading", "word", ("kind", "reading", "type", "art", "messung"), "",
          words=("contact_angle_deg", "beading_score", "gloss_gu", "works", "thickness_um"),
          also={"contact angle": "contact_angle_deg", "beading": "beading_score", "gloss": "gloss_gu",
                "thickness": "thickness_um"}, needed=True),
    Field("value", "value", "number", ("value", "result", "measured", "wert", "messwert"), "", needed=True),
    Field("unit", "unit", "word", ("unit", "units", "einheit"), "Of a thickness: um or mil. Empty: µm.",
          words=("um", "mil"), also={"µm": "um", "μm": "um", "micron": "um", "microns": "um", "mils": "mil"}),
    Field("spot", "spot", "number", ("spot", "point", "position", "punkt"), "A number from 1."),
    Field("drops", "drops", "number", ("drops", "tropfen"), "How many drops a water reading is over. Empty: one."),
    Field("clean_state", "how clean", "word", ("cleanstate", "clean", "cleaned", "sauber"),
          "Needed for contact angle and beading.", words=CLEAN_STATES),
    Field("gauge", "gauge", "text", ("gauge", "instrument", "probe", "geraet", "gerät"),
          "Its name as it stands under Gauges.", most=80),
    Field("method", "method", "word", ("method", "methode"), "Where no gauge is named.",
          words=("magnetic", "eddy", "combined", "ultrasonic", "gloss", "goniometer")),
)  # fmt: skip
PRICES: Final = (
    Field("task", "care", "text", ("task", "care", "service", "work", "leistung"), "As it stands under Prices.",
          most=80, needed=True),
    Field("size", "size", "word", ("size", "groesse", "größe"), "S, M, L or XL.", words=SIZES, also=SIZE_ALSO,
          needed=True),
    Field("low", "from", "number", ("low", "from", "price", "preis", "von", "min"), "", needed=True),
    Field("high", "to", "number", ("high", "to", "bis", "max"), "Empty: the same as from."),
)  # fmt: skip

FIELDS: Final[dict[str, tuple[Field, ...]]] = {
    "customers": CUSTOMERS,
    "vehicles": VEHICLES,
    "layers": LAYERS,
    "visits": VISITS,
    "readings": READINGS,
    "prices": PRICES,
}
# At least one of these columns must be there, or no row could be known again.
VEHICLE_KEYS: Final = ("vehicle_number", "vin", "plate")
KEYS: Final[dict[str, tuple[str, ...]]] = {
    "customers": ("number", "email"),
    "vehicles": ("number", "vin", "plate"),
    "layers": VEHICLE_KEYS,
    "visits": VEHICLE_KEYS,
    "readings": VEHICLE_KEYS,
    "prices": ("task",),
}
