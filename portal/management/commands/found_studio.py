"""`manage.py found_studio`: the first studio of an installation, its site and bays, and its owner's way in."""

from __future__ import annotations

from typing import Any

from django.core.management.base import BaseCommand, CommandError, CommandParser
from django.db import transaction
from django.utils import timezone

from lifecycle.care import founding
from lifecycle.errors import DomainError
from portal.access.invitation import days_it_holds, password_link

ACTOR = "command"
PARTS = 3  # name, lat, lon; the height may follow


class Command(BaseCommand):
    help = "Put a studio on record with a site, its bays and its owner, and print the link that sets the password."

    def add_arguments(self, parser: CommandParser) -> None:
        parser.add_argument("--name", required=True, help="what the studio is called")
        parser.add_argument("--slug", required=True, help="short name: small letters, digits and single hyphens")
        parser.add_argument("--zone", required=True, help="time zone, like Europe/Oslo")
        parser.add_argument(
            "--site", required=True, metavar="NAME,LAT,LON[,HEIGHT_M]", help='like "Harbour,58.1,6.6,12"'
        )
        parser.add_argument("--bays", type=int, default=1, help="how many bays the site has (1)")
        parser.add_argument("--owner-email", required=True)
        parser.add_argument("--owner-name", required=True)
        parser.add_argument("--currency", default="EUR", help="of the prices (EUR)")
        parser.add_argument("--phone", default="", help="told to customers in mails")
        parser.add_argument("--reply-to", default="", help="where answers to mails go")

    def handle(self, *args: Any, **options: Any) -> None:
        who = {"actor": ACTOR, "at": timezone.now()}
        site = _site(options["site"])
        names = ("name", "slug", "zone", "owner_email", "owner_name", "currency", "phone", "reply_to")
        try:
            with transaction.atomic():  # all of it or nothing
                owner = founding.found_studio(**{name: options[name] for name in names}, **who)
                founding.add_site(studio=owner.studio, bays=options["bays"], **site, **who)
        except DomainError as error:
            raise CommandError(f"{error.message} Nothing was written.") from error
        self.stdout.write(f"{owner.studio} is on record with {site['name']} and {options['bays']} bay(s).")
        self.stdout.write(f"{owner} ({owner.user.email}) sets the password here, within {days_it_holds()} days, once:")
        self.stdout.write(f"\n  {password_link(owner.user)}\n")
        self.stdout.write("At the first sign-in a second factor is set up. A lost link: “Forgot your password?” there.")


def _site(text: str) -> dict[str, Any]:
    """Name, latitude, longitude and height out of one argument; the name itself may hold commas.

    Raises:
        CommandError: not so many parts, or no numbers.
    """
    parts = [part.strip() for part in text.split(",")]
    figures: list[float] = []
    while len(parts) > 1 and len(figures) < PARTS and (number := _number(parts[-1])) is not None:
        figures.insert(0, number)
        parts.pop()
    name = ", ".join(part for part in parts if part)
    if len(figures) < PARTS - 1 or not name or _number(name) is not None:
        raise CommandError(
            f"--site: {text!r} is not NAME,LAT,LON or NAME,LAT,LON,HEIGHT_M; degrees north and east are positive, "
            'decimals take a point, for example "Harbour,58.1,6.6,12".'
        )
    return {"name": name, "lat": figures[0], "lon": figures[1], "height_m": figures[2] if len(figures) > 2 else None}


def _number(text: str) -> float | None:
    try:
        return float(text)
    except ValueError:
        return None
