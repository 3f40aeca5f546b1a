"""The API against its own document, by requests that schemathesis makes up (schemathesis.readthedocs.io)."""

from __future__ import annotations

import hypothesis
import pytest
import schemathesis
from django.core import signals
from django.core.wsgi import get_wsgi_application
from django.db import close_old_connections
from schemathesis import GenerationMode
from schemathesis.specs.openapi.checks import positive_data_acceptance

from lifecycle.connect import tokens
from tests import people
from tests.factories import SiteFactory, StudioFactory
from tests.portal.api.test_reads import row
from tests.portal.api.world import made_token

pytestmark = pytest.mark.django_db
EXAMPLES = 25
READ = {"GET /api/v1/vehicles", "GET /api/v1/due", "GET /api/v1/offers", "GET /api/v1/outlook"}


@pytest.fixture
def one_connection():
    """Requests end without closing the connection, in which the test's own rows wait to be taken back; Django's own
    test client does the same."""
    ends = (signals.request_started, signals.request_finished)
    for signal in ends:
        signal.disconnect(close_old_connections)
    yield
    for signal in ends:
        signal.connect(close_old_connections)


@pytest.fixture
def bearer(one_connection, monkeypatch):
    member = people.owner(StudioFactory(zone="UTC"))
    row(SiteFactory(studio=member.studio))
    monkeypatch.setitem(tokens.count.__kwdefaults__, "most", 10**6)
    return {"Authorization": f"Bearer {made_token(member).secret}"}


@pytest.mark.parametrize("mode", list(GenerationMode))
def test_every_answer_is_as_the_document_says(bearer, mode):
    """Whatever is sent, right or wrong: no 5xx, no status, type or shape that the document does not name, nothing
    wrong taken and nothing right refused as wrong."""
    schema = schemathesis.openapi.from_wsgi("/api/v1/openapi.json", get_wsgi_application())
    schema.config.generation.update(with_security_parameters=False)  # the token is ours to send
    tried: dict[str, set[int]] = {}
    for found in schema.get_all_operations():
        operation = found.ok()
        if mode is GenerationMode.POSITIVE or list(operation.iter_parameters()):
            _ask(operation, mode, bearer, tried.setdefault(operation.label, set()))
    assert len(tried) >= 11
    if mode is GenerationMode.NEGATIVE:
        assert all(statuses & {400, 422} for statuses in tried.values()), tried
    else:
        assert {label for label, statuses in tried.items() if 200 in statuses} >= READ, tried


def _ask(operation, mode, headers, statuses: set[int]) -> None:
    @hypothesis.given(case=operation.as_strategy(generation_mode=mode))
    @hypothesis.settings(
        max_examples=EXAMPLES, deadline=None, derandomize=True, database=None,
        suppress_health_check=list(hypothesis.HealthCheck),
    )  # fmt: skip
    def ask(case):
        # A good form is no good deed: the record may refuse it (422), so that check is for reads alone.
        left_out = [positive_data_acceptance] if operation.method.upper() == "POST" else []
        statuses.add(case.call_and_validate(headers=headers, excluded_checks=left_out).status_code)

    ask()
