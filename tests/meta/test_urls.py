"""Every address has an access rule, and every page of ours says it itself."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from django.urls import URLPattern, URLResolver, get_resolver

from portal.access.registry import RULES, STARTS, TABLE, access, allows, rule_of


def patterns(found: list, names: tuple[str, ...] = ()) -> Iterator[tuple[str, URLPattern]]:
    for entry in found:
        if isinstance(entry, URLResolver):
            yield from patterns(entry.url_patterns, (*names, *([entry.namespace] if entry.namespace else [])))
        else:
            yield ":".join((*names, entry.name or "")), entry


ALL = list(patterns(get_resolver().url_patterns))


def test_the_walk_finds_the_pages():
    names = {name for name, _ in ALL}
    assert {"home", "healthz", "studio:work", "customer:home", "mail:unsubscribe", "account_login"} <= names
    assert len(ALL) > 40


@pytest.mark.parametrize(("name", "pattern"), ALL, ids=[name or str(entry.pattern) for name, entry in ALL])
def test_every_address_has_a_name_and_a_rule(name, pattern):
    assert name.split(":")[-1], f"{pattern.pattern} has no name, so no row of the registry can speak of it"
    assert rule_of(pattern.callback, name) in RULES


def test_every_row_of_the_table_is_an_address():
    names = {name for name, _ in ALL}
    # Confirmation by link exists only while confirmation by code is off; the row stays for both settings.
    assert set(TABLE) - names == set()
    for start in STARTS:
        assert any(name.startswith(start) for name in names) or start in ("mfa_signup_webauthn",), start


def test_a_view_without_a_rule_has_none():
    def nobody(request): ...

    assert rule_of(nobody, "studio:not_there") is None


def test_an_unknown_rule_is_refused():
    with pytest.raises(ValueError, match="no access rule 'everybody'"):
        access("everybody")


@pytest.mark.parametrize(
    ("rule", "role", "is_customer", "let_in"),
    [
        ("public", None, False, True),
        ("closed", "owner", True, False),
        ("signed_in", None, False, True),
        ("customer", None, True, True),
        ("customer", "owner", False, False),
        ("member", "desk", False, True),
        ("member", None, True, False),
        ("technician", "owner", False, True),
        ("technician", "desk", False, False),
        ("desk", "technician", False, False),
        ("owner", "owner", False, True),
        ("owner", "technician", False, False),
        ("owner", "desk", False, False),
    ],
)
def test_rules(rule, role, is_customer, let_in):
    assert allows(rule, role=role, is_customer=is_customer) is let_in
