"""`manage.py climate PLACE|FILE`: twelve months of a place's climate with their sources, marks and a small plot."""

from __future__ import annotations

from argparse import ArgumentParser
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar

from django.core.management.base import BaseCommand
from django.db import OperationalError, ProgrammingError
from django.utils import timezone

from lifecycle.climate import store
from lifecycle.climate.class_table import climate_at
from lifecycle.climate.files import SUFFIXES, climate_from_file, place_of_file
from lifecycle.climate.gazetteer import find_place
from lifecycle.climate.koppen_map import sea_distance_km
from lifecycle.climate.place_climate import place_climate
from lifecycle.climate.print_out import climate_lines
from lifecycle.climate.source import ClimateError
from lifecycle.climate.sources import enabled, rank_of
from lifecycle.models import Site
from lifecycle.wear.types import ClimateYear, Place

WRONG = 2
Row = TypeVar("Row")


class Command(BaseCommand):
    """A wrong place or file gives one line on stderr and status 2."""

    help = (
        "Print the climate of a place: a site's name, a city, a US zip code, latitude,longitude[,height] (write -- "
        "before a negative latitude), or a weather file (EPW, TMY3, CSV of twelve months)."
    )
    requires_migrations_checks = False
    without_database = False

    def add_arguments(self, parser: ArgumentParser) -> None:
        """The place, and `--fetch`."""
        parser.add_argument("where", nargs="+", help="site, city, zip code, lat,lon[,height], or a file")
        parser.add_argument(
            "--fetch", action="store_true", help="ask the sources of SHEENWARD_CLIMATE_SOURCES now, for this place only"
        )

    def handle(self, *args: Any, **options: Any) -> None:
        """Print the table."""
        where = " ".join(options["where"])
        try:
            title, climate = self._climate(where, fetch=bool(options["fetch"]))
        except ClimateError as error:
            self.stderr.write(" ".join(str(error).split()))
            raise SystemExit(WRONG) from error
        sea_km = sea_distance_km(climate.place.lat, climate.place.lon)
        self.stdout.write("\n".join(climate_lines(place_climate(climate, map_sea_km=sea_km), title=title)))

    def _climate(self, where: str, *, fetch: bool) -> tuple[str, ClimateYear]:
        path = Path(where)
        if path.suffix.lower() in SUFFIXES or path.is_file():
            of = place_of_file(path)
            if of is None:
                raise ClimateError(f"{path.name} does not say where it holds; add a line: # place: 58.1, 6.7, 20")
            return path.name, climate_from_file(path, of)
        title, place = self._place(where)
        if fetch:
            return title, self._fetched(place)
        rows = self._asked(lambda: store.rows_at(place))
        return title, store.year_of(rows[0], place) if rows else climate_at(place)

    def _place(self, where: str) -> tuple[str, Place]:
        sites = self._asked(lambda: list(Site.objects.filter(name__iexact=where.strip()).select_related("studio")[:2]))
        if len(sites) > 1:
            raise ClimateError(f"Two studios have a site {where!r}; give its latitude, longitude instead.")
        if sites:
            site = sites[0]
            return site.name, Place(site.lat, site.lon, site.height_m, site.sea_distance_m)
        try:
            found = find_place(where)
        except ClimateError as error:
            names = Site.objects.order_by("name").values_list("name", flat=True)
            known = ", ".join(self._asked(lambda: list(names[:10])))
            raise ClimateError(f"{error} Sites here: {known or 'none'}.") from error
        return found.title, found.place

    def _asked(self, ask: Callable[[], Sequence[Row]]) -> Sequence[Row]:
        """Rows of the database, none where it has not been made yet: a place has a climate without any studio."""
        try:
            return ask()
        except (OperationalError, ProgrammingError) as error:
            if not self.without_database:
                self.stderr.write(f"Sites and what was fetched are left out: {str(error).strip()}. Run migrate first.")
            self.without_database = True
            return ()

    def _fetched(self, place: Place) -> ClimateYear:
        """Every source in use is asked in order; the refusals are said, the best answer is printed."""
        answers = []
        for source in enabled():
            try:
                year = source.climate(place)
            except ClimateError as error:
                self.stderr.write(f"{source.name}: {' '.join(str(error).split())}")
                continue
            answers.append(year)
        if not answers:
            raise ClimateError(f"No source answered at {timezone.now():%H:%M}; try again later.")
        return replace(min(answers, key=rank_of), place=place)
