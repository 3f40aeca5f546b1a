"""Servers, and installations on them."""

from __future__ import annotations

import os
import secrets
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from pathlib import Path
from urllib.parse import urlsplit

import psycopg
import pytest
import redis as redis_client

from tests.services import servers
from tests.services.installation import Installation, environment


@dataclass(frozen=True)
class Servers:
    """URLs of a PostgreSQL database that we may create others beside, and of an empty Redis database."""

    postgres: str
    redis: str


@pytest.fixture(scope="session")
def own_servers() -> Iterator[Servers]:
    """The servers that the environment names, else our own."""
    database, broker = os.environ.get("DATABASE_URL", ""), os.environ.get("REDIS_URL", "")
    with ExitStack() as stack:
        if database.startswith("postgres") and broker:
            yield Servers(database, stack.enter_context(empty_redis_database(broker)))
            return
        if reason := servers.missing():
            pytest.skip(reason)
        yield Servers(stack.enter_context(servers.postgresql()), stack.enter_context(servers.redis()))


@contextmanager
def empty_redis_database(url: str) -> Iterator[str]:
    """A numbered database of a given Redis that nobody uses; emptied again afterwards."""
    base = f"redis://{urlsplit(url).netloc}"
    for number in range(15, 0, -1):
        with redis_client.Redis.from_url(f"{base}/{number}") as client:
            if client.dbsize() == 0:
                yield f"{base}/{number}"
                client.flushdb()
                return
    pytest.skip("no empty database in the Redis of REDIS_URL; unset it and the tests start their own")


@pytest.fixture(scope="session")
def migrated(own_servers: Servers, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """The name of a migrated, empty database, as the template of the tests' own."""
    name = f"sheenward_{secrets.token_hex(6)}"
    var = tmp_path_factory.mktemp("template")
    url = servers.create_database(own_servers.postgres, name)
    Installation(environment(var, DATABASE_URL=url), var).python("manage.py", "migrate", "--no-input", "-v", "0")
    yield name
    drop(own_servers, name)


@pytest.fixture
def installation(own_servers: Servers, migrated: str, tmp_path: Path) -> Iterator[Installation]:
    """A migrated, empty installation with folder mail; its database goes again."""
    name = f"sheenward_{secrets.token_hex(6)}"
    url = servers.create_database(own_servers.postgres, name, template=migrated)
    yield Installation(environment(tmp_path, DATABASE_URL=url, REDIS_URL=own_servers.redis), tmp_path)
    with redis_client.Redis.from_url(own_servers.redis) as broker:
        broker.flushdb()
    drop(own_servers, name)


def drop(own_servers: Servers, name: str) -> None:
    """Drop a database, whoever is still connected to it."""
    with psycopg.connect(own_servers.postgres, autocommit=True) as connection:
        connection.execute(f"DROP DATABASE {name} WITH (FORCE)")
