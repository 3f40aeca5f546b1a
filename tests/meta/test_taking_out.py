"""No table or column is forgotten where a studio is taken out: each has its words, or a written reason to stay."""

from __future__ import annotations

import pytest
from django.apps import apps
from django.db import models

from lifecycle.taking_out import registry
from lifecycle.taking_out.readme import readme
from tests.factories import NOW
from tests.meta.checkout import ROOT


def test_every_model_is_taken_out_or_has_a_reason():
    taken = {one.model for one in registry.tables()}
    for model in apps.get_models(include_auto_created=True):
        reason = registry.why_left_out(model)
        assert (model in taken) != bool(reason), f"{model._meta.label}: words in tables.csv or a reason in LEFT_OUT"
        assert len(reason) > 20 or not reason, model._meta.label


def test_every_reason_speaks_of_something_that_is_there():
    every = apps.get_models(include_auto_created=True)
    there = {model._meta.label for model in every} | {f"{model._meta.app_label}.*" for model in every}
    assert set(registry.LEFT_OUT) - there == set()
    columns = {
        (registry.table_name(model), field.attname)
        for model in apps.get_app_config("lifecycle").get_models() for field in model._meta.concrete_fields
    }  # fmt: skip
    assert set(registry.COLUMNS_LEFT_OUT) - columns == set()


def test_every_column_has_a_sentence():
    for one in registry.tables():
        left = {name for table, name in registry.COLUMNS_LEFT_OUT if table == one.name}
        assert {column.name for column in one.columns} | left == {
            field.attname for field in one.model._meta.concrete_fields
        }
        assert one.says.endswith("."), one.name
        for column in one.columns:
            assert len(column.says) > 7, f"{one.name}.{column.name}"


def test_what_looks_like_a_secret_is_named_on_purpose():
    """A new column that holds a key must be decided about: left out, or written down here as no key by itself."""
    looks = ("password", "secret", "token", "code_digest", "link_digest", "private", "seed")
    found = {
        (one.name, column.name) for one in registry.tables() for column in one.columns
        if any(word in column.name for word in looks)
    }  # fmt: skip
    assert found == {("report", "token"), ("handover", "token_digest"), ("record_link", "token_digest")}


def test_a_new_column_without_words_does_not_load(monkeypatch):
    field = models.TextField(name="fresh")
    field.set_attributes_from_name("fresh")
    concrete = registry.Studio._meta.concrete_fields
    monkeypatch.setattr(registry.Studio._meta, "concrete_fields", (*concrete, field), raising=False)
    registry.tables.cache_clear()
    try:
        with pytest.raises(LookupError, match=r"no sentence for studio\.fresh"):
            registry.tables()
    finally:
        registry.tables.cache_clear()


def test_words_without_a_column_do_not_load(monkeypatch):
    plain = registry._read
    more = {"columns.csv": {"table": "studio", "column": "gone", "says": "x"},
            "tables.csv": {"table": "gone", "group": "x", "title": "x", "says": "x"}}  # fmt: skip
    for name, row in more.items():
        monkeypatch.setattr(registry, "_read", lambda asked, name=name, row=row: plain(asked) + [row] * (asked == name))
        registry.tables.cache_clear()
        with pytest.raises(LookupError, match="gone"):
            registry.tables()
    registry.tables.cache_clear()


def test_the_readme_of_the_zip_names_every_column_and_every_reason():
    text = readme("North Harbour", NOW)
    for one in registry.tables():
        assert f"\n{one.name.upper()}: {one.title}\n" in text
        for column in one.columns:
            assert f"\n  {column.name}: " in text
    words = " ".join(text.split())
    for why in (*registry.LEFT_OUT.values(), *registry.COLUMNS_LEFT_OUT.values()):
        assert why in words
    assert max(map(len, text.splitlines())) <= 115


@pytest.mark.parametrize("way", ["deploy/systemd/sheenward-web.service", "deploy/Dockerfile", "deploy/demo.py"])
def test_a_long_download_neither_ends_with_the_worker_nor_holds_others_up(way):
    """gunicorn ends a worker without threads that is silent for 30 s, in the middle of its answer (its documentation,
    settings `timeout` and `threads`)."""
    words = (ROOT / way).read_text(encoding="utf-8").replace('"', " ").replace(",", " ").replace("\\", " ").split()
    assert words[words.index("--threads") + 1] == "4"
