"""A pytest plugin for CI (`-p tests.meta.no_skips`): a skipped test fails the run, since there everything is present.

The one reason that passes is the absence of the reference data files, which lie beside the checkout, not in it.
"""

from __future__ import annotations

import pytest

ALLOWED = "shared/data"


def reason_of(report: pytest.TestReport | pytest.CollectReport) -> str:
    """The reason of a skip as its author wrote it."""
    return str(report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr)


def refuse(report: pytest.TestReport | pytest.CollectReport) -> None:
    """Turn a skip into a failure, unless its reason is the allowed one or the test is expected to fail."""
    if report.skipped and not hasattr(report, "wasxfail") and ALLOWED not in reason_of(report):
        report.outcome = "failed"
        report.longrepr = f"Skipped where nothing may be skipped: {reason_of(report)}"


@pytest.hookimpl(tryfirst=True)
def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    refuse(report)


@pytest.hookimpl(tryfirst=True)
def pytest_collectreport(report: pytest.CollectReport) -> None:
    refuse(report)
