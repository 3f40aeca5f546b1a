"""Ask a climate service over HTTP: bounded in time and size, two retries with growing waits, never from a page."""

from __future__ import annotations

import json
import time
import urllib.error
import urllib.request
from collections.abc import Callable
from http import HTTPStatus
from http.client import HTTPException
from typing import Any
from urllib.parse import urlencode, urlsplit

from lifecycle.climate.source import ClimateError

TIMEOUT_S = 10.0
WHOLE_S = 40.0
MOST_BYTES = 12_000_000
WAITS_S = (1.0, 4.0)
_CHUNK = 65_536
_AGENT = "Sheenward climate (twelve months for one place, cached for a year)"


class _TryAgainError(Exception):
    """What may pass: no answer, a server's error, an answer that is no JSON."""


def _read(url: str, *, timeout_s: float, whole_s: float) -> Any:
    until = time.monotonic() + whole_s
    request = urllib.request.Request(url, headers={"Accept": "application/json", "User-Agent": _AGENT})  # noqa: S310
    parts = bytearray()
    try:
        with urllib.request.urlopen(request, timeout=timeout_s) as answer:  # noqa: S310  (scheme checked in get_json)
            while chunk := answer.read1(_CHUNK):
                parts += chunk
                if len(parts) > MOST_BYTES:
                    raise ClimateError(f"the answer is larger than {MOST_BYTES} bytes")
                if time.monotonic() > until:
                    raise _TryAgainError(f"no whole answer within {whole_s:g} s")
    except urllib.error.HTTPError as error:
        said = error.read(300).decode("utf-8", "replace").strip()
        if error.code >= HTTPStatus.INTERNAL_SERVER_ERROR or error.code == HTTPStatus.TOO_MANY_REQUESTS:
            raise _TryAgainError(f"status {error.code}") from error
        raise ClimateError(f"status {error.code}: {said[:200]}") from error
    except TimeoutError as error:
        raise _TryAgainError(f"no answer within {timeout_s:g} s") from error
    except (urllib.error.URLError, HTTPException, OSError) as error:
        reason = getattr(error, "reason", None) or error
        raise _TryAgainError(str(reason)) from error
    try:
        return json.loads(bytes(parts))
    except ValueError as error:
        raise _TryAgainError("the answer is not JSON") from error


def get_json(
    address: str,
    query: dict[str, str],
    *,
    timeout_s: float = TIMEOUT_S,
    whole_s: float = WHOLE_S,
    waits_s: tuple[float, ...] = WAITS_S,
    sleep: Callable[[float], None] = time.sleep,
) -> dict[str, Any]:
    """The JSON object behind an address; as many retries as there are waits.

    Args:
        timeout_s: without a byte, s.  whole_s: for the whole answer, s.  waits_s: before each retry, s.

    Raises:
        ClimateError: the address is not http, the service refused, or it did not answer in all tries.
    """
    host = urlsplit(address).netloc
    if urlsplit(address).scheme not in ("http", "https") or not host:
        raise ClimateError(f"Climate service address {address!r}: give a full http or https address.")
    url = f"{address}?{urlencode(query)}"
    said = ""
    for wait_s in (0.0, *waits_s):
        if wait_s:
            sleep(wait_s)
        try:
            found = _read(url, timeout_s=timeout_s, whole_s=whole_s)
        except _TryAgainError as error:
            said = str(error)
            continue
        except ClimateError as error:
            raise ClimateError(f"{host} refused: {error}. Check the place and the address.") from error
        if isinstance(found, dict):
            return found
        said = "the answer is not a JSON object"
    tries = len(waits_s) + 1
    raise ClimateError(f"{host} gave no answer in {tries} tries, the last: {said}. It is asked again later.")
