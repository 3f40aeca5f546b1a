"""`manage.py explain` with what is no number, or no row."""

from __future__ import annotations

import pytest
from django.core.management import CommandError, call_command

from tests.factories import VehicleFactory

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("what", ["vehicle", "reminder"])
@pytest.mark.parametrize("which", ["²", "999999", "-1", "x", ""])
def test_it_says_that_there_is_none(what, which):
    """U+00B2 is a digit to Unicode but no number to int()."""
    with pytest.raises(CommandError, match=f"There is no {what}"):
        call_command("explain", what, "--", which)


def test_a_plate_that_looks_like_a_number_is_found(capsys):
    vehicle = VehicleFactory(plate="²", description="grey estate")
    call_command("explain", "vehicle", "²")
    assert str(vehicle) in capsys.readouterr().out
