"""What each kind of list can bring: its columns, how each is read, and by which words a heading is known. Pure."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Final

from lifecycle.care.surface_presets import BODIES
from lifecycle.wear.choices import COLOURS, PAINTS, POWERTRAINS, SIZES


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

FIELDS: Final[dict[str, tuple[Field, ...]]] = {
    "customers": CUSTOMERS,
    "vehicles": VEHICLES,
}
# At least one of these columns must be there, or no row could be known again.
KEYS: Final[dict[str, tuple[str, ...]]] = {
    "customers": ("number", "email"),
    "vehicles": ("number", "vin", "plate"),
}
