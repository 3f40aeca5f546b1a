"""A pytest plugin (`-p tests.meta.database_only`): only the tests that may touch the database of the settings.

For a second run on another database: what may not touch one (pytest-django refuses it) says there what it said before.
"""

from __future__ import annotations

import pytest

OPENS = {"django_db_setup", "db", "transactional_db", "django_db_serialized_rollback", "live_server"}


def may_touch(item: pytest.Item) -> bool:
    """Whether a mark or a fixture opens the database to this test."""
    return item.get_closest_marker("django_db") is not None or bool(OPENS & set(getattr(item, "fixturenames", ())))


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    left_out = [item for item in items if not may_touch(item)]
    if left_out:
        config.hook.pytest_deselected(items=left_out)
        items[:] = [item for item in items if may_touch(item)]
