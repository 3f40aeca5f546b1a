"""The care guide: every kind of layer has its lines, each marked; a fresh layer says what to wait with until when."""

from __future__ import annotations

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.urls import reverse

from lifecycle.care import guide
from lifecycle.care.guide_words import TEXTS
from lifecycle.wear.choices import LAYER_KINDS
from lifecycle.wear.marks import TableError
from tests import factories as f
from tests import people
from tests.portal.doors import as_user


@pytest.mark.parametrize("kind", LAYER_KINDS)
def test_every_kind_says_what_to_do_what_to_leave_and_what_to_mind(kind: str) -> None:
    lines = guide.advice_for(kind)
    assert {line.sort for line in lines} == set(guide.SORTS)
    assert all(line.source and line.mark for line in lines)
    assert any("safety data sheet" in line.text for line in lines)


def test_no_line_calls_anything_safe_or_speaks_of_a_warranty() -> None:
    for text in map(str, TEXTS.values()):
        words = text.lower().replace("safety data sheet", "")
        assert "safe" not in words
        assert "warrant" not in words


def test_a_table_with_a_hole_does_not_load(tmp_path: Any, monkeypatch: pytest.MonkeyPatch) -> None:
    whole = guide.TABLE.read_text()
    for broken in (whole.replace("wheel_coat", "", 3), whole.replace("drain,caution", "drain,perhaps"),
                   "\n".join(line for line in whole.splitlines() if not line.startswith("flame"))):  # fmt: skip
        path = tmp_path / "guide.csv"
        path.write_text(broken)
        monkeypatch.setattr(guide, "TABLE", path)
        guide.table.cache_clear()
        with pytest.raises(TableError, match=r"guide"):
            guide.table()
    monkeypatch.undo()
    guide.table.cache_clear()
    assert guide.table()


@pytest.mark.django_db
def test_a_fresh_ceramic_says_until_when_to_wait_with_washing() -> None:
    """A fresh ceramic coat is not washed for 7 days, 5 to 14 (common practice, no source); the later end counts."""
    keeper = people.customer()
    vehicle = f.VehicleFactory(site=f.SiteFactory(studio=keeper.studio), keeper=keeper, powertrain="electric")
    roof, bay = (f.SurfaceFactory(vehicle=vehicle, code=code) for code in ("roof", "engine_bay"))
    layer = f.LayerFactory(surface=roof, kind="ceramic_mid", applied=f.TODAY - timedelta(days=1))
    f.LayerFactory(surface=bay, kind="engine_bay_coating")
    address, client = reverse("customer:guide", args=[vehicle.pk]), as_user(keeper)
    with time_machine.travel(f.NOW, tick=False):
        page = client.get(address).content.decode()
    assert "wait with washing until 15 March 2026" in page
    assert "Wait with washing until 15 March 2026 (at the earliest 6 March 2026)." in page
    assert "common practice" in page
    assert "Orange cables carry high voltage" in page
    assert "No brush tunnel" in page
    layer.applied = f.TODAY - timedelta(days=300)
    layer.save()
    with time_machine.travel(f.NOW, tick=False):
        page = client.get(address).content.decode()
    assert "Nothing on it is in cure." in page
    assert "Wait with washing" not in page
    assert as_user(people.customer()).get(address).status_code == 404
