"""Lists made at random, good and bad cells mixed: after every one of them all of it is on record, or nothing."""

from __future__ import annotations

import pytest
from django.db import transaction
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from lifecycle.care import importing
from lifecycle.errors import DomainError
from lifecycle.models import Customer, ImportKey, ImportMade, JournalEntry
from tests.factories import StudioFactory
from tests.lifecycle.care.import_world import WHO, csv_of, receive, record, stored, take_back

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("stored")]
__all__ = ["stored"]

good = st.tuples(
    st.integers(1, 60).map(lambda n: f"K{n}"),
    st.sampled_from(["Tove Halvarsen", "Osric Pell", "Žofie Nová", "李明", "O’Hara & Sons"]),
    st.integers(1, 60).map(lambda n: f"p{n}@example.org"),
    st.dates().filter(lambda day: 1950 <= day.year < 2026).map(lambda day: day.isoformat()),
)
hostile = st.tuples(
    st.sampled_from(["K1", "", "=1+1", "x" * 300]),
    st.sampled_from(["", "@SUM(A1)", "Tove", "\x07bell"]),
    st.sampled_from(["", "no address", "a@b", "p1@example.org", "P1@EXAMPLE.ORG"]),
    st.sampled_from(["2025-02-31", "31.12.25", "soon", "", "2099-01-01"]),
)


def there() -> tuple[int, ...]:
    return (Customer.objects.count(), ImportKey.objects.count(), ImportMade.objects.count())


@settings(max_examples=30, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.one_of(good, good, good, hostile), min_size=1, max_size=8))
def test_the_whole_list_or_nothing(rows):
    with transaction.atomic():
        studio = StudioFactory()
        file = receive(studio, "customers", csv_of(("number", "name", "email", "since"), *rows))
        assert file.state == "checked"
        assert file.new + file.changed + file.same + file.wrong == file.rows
        assert there() == (0, 0, 0)
        if file.wrong:
            with pytest.raises(DomainError, match="nothing of the file is recorded"):
                importing.apply_import(studio=studio, import_id=file.pk, **WHO)
            assert there() == (0, 0, 0)
            assert not JournalEntry.objects.filter(verb="import recorded").exists()
        else:
            file = record(file)
            assert file.state == "done"
            assert Customer.objects.count() == file.rows
            assert take_back(file).state == "undone"
            assert there() == (0, 0, 0)
        transaction.set_rollback(True)
