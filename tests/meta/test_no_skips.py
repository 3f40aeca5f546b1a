"""The CI plugin: a skip fails, but for the reference data that lie beside the checkout."""

from __future__ import annotations

import pytest

from tests.meta.no_skips import refuse


def report(outcome: str, reason: str = "") -> pytest.TestReport:
    return pytest.TestReport(
        nodeid="t", location=("t.py", 1, "t"), keywords={}, outcome=outcome, longrepr=("t.py", 1, reason), when="setup"
    )


@pytest.mark.parametrize(
    ("outcome", "reason", "after"),
    [
        ("skipped", "Skipped: redis-server absent; install: apt-get install redis-server", "failed"),
        ("skipped", "Skipped: ../shared/data/weather/x.epw.gz is absent", "skipped"),
        ("passed", "", "passed"),
        ("failed", "", "failed"),
    ],
)
def test_a_skip_fails_unless_the_reference_data_are_absent(outcome, reason, after):
    one = report(outcome, reason)
    refuse(one)
    assert one.outcome == after


def test_the_reason_is_kept_for_the_reader():
    one = report("skipped", "Skipped: no Chromium")
    refuse(one)
    assert "no Chromium" in one.longrepr


def test_an_expected_failure_is_no_skip():
    one = report("skipped", "Skipped: known")
    one.wasxfail = "known"
    refuse(one)
    assert one.outcome == "skipped"
