"""The plugin for the second database: what may touch a database stays, all else is left to the first run."""

from __future__ import annotations

from types import SimpleNamespace

from tests.meta.database_only import pytest_collection_modifyitems


def item(name: str, *, marked: bool = False, fixtures: tuple[str, ...] = ()) -> SimpleNamespace:
    return SimpleNamespace(
        name=name, fixturenames=fixtures, get_closest_marker=lambda mark: (marked and mark == "django_db") or None
    )


def test_only_what_may_touch_the_database_stays():
    left_out = []
    config = SimpleNamespace(hook=SimpleNamespace(pytest_deselected=lambda *, items: left_out.extend(items)))
    items = [
        item("marked", marked=True),
        item("pure", fixtures=("tmp_path",)),
        item("by fixture", fixtures=("client", "db")),
        item("whole studio", fixtures=("django_db_setup",)),
    ]
    pytest_collection_modifyitems(config, items)
    assert [one.name for one in items] == ["marked", "by fixture", "whole studio"]
    assert [one.name for one in left_out] == ["pure"]
