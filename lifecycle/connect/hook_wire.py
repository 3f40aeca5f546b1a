"""One message to one address of another program: signed as Standard Webhooks has it, and only to public addresses.

Host names are looked up here, every address found is checked, and the connection goes to a checked address itself: a
name that points elsewhere a moment later gains nothing. No redirect is followed and no answer is read.
"""

from __future__ import annotations

import base64
import hashlib
import hmac
import http.client
import ipaddress
import socket
import ssl
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from threading import Event, Timer
from typing import Any, Final
from urllib.parse import SplitResult, urlsplit

from django.conf import settings

from lifecycle.errors import DomainError

PREFIX: Final = "whsec_"
TIMEOUT_S: Final = 10.0
WHOLE_S: Final = 20.0
LONGEST_URL: Final = 500
# IPv4 addresses in IPv6 clothes, RFC 6052: a translator would lead to the address inside.
NAT64: Final = ipaddress.IPv6Network("64:ff9b::/96")
Address = ipaddress.IPv4Address | ipaddress.IPv6Address
Resolve = Callable[..., list[tuple[Any, ...]]]


class AddressRefusedError(Exception):
    """The address is none that messages go to."""


@dataclass(frozen=True, slots=True)
class Answer:
    """What came of it. `status` None: there was no answer; `error` "" where it was taken (2xx)."""

    status: int | None
    error: str


def may_be_local() -> bool:
    """Plain http and private addresses, for tests on this machine alone; no other mode listens to the setting."""
    return bool(getattr(settings, "MODE", "") == "test" and getattr(settings, "HOOKS_LOCAL", False))


def signature(secret: str, *, message_id: str, stamp: int, body: str) -> str:
    """The value of webhook-signature: `v1,` and the base64 of HMAC-SHA256 over id, seconds since 1970 and body.

    Source: the Standard Webhooks specification, “Signature scheme”.
    """
    key = base64.b64decode(secret.removeprefix(PREFIX))
    found = hmac.new(key, f"{message_id}.{stamp}.{body}".encode(), hashlib.sha256).digest()
    return f"v1,{base64.b64encode(found).decode()}"


def headers(secrets: tuple[str, ...], *, message_id: str, at: datetime, body: str) -> dict[str, str]:
    """The three headers of a message, signed with each secret that holds."""
    stamp = int(at.timestamp())
    signed = " ".join(signature(secret, message_id=message_id, stamp=stamp, body=body) for secret in secrets)
    return {"webhook-id": message_id, "webhook-timestamp": str(stamp), "webhook-signature": signed}


def is_public(address: Address) -> bool:
    """Whether an address lies in the public internet: no loopback, private, link-local, shared, reserved or multicast
    one (IANA special-purpose registries, RFC 6890), nor one that carries such an IPv4 address inside."""
    if isinstance(address, ipaddress.IPv6Address):
        inner = address.ipv4_mapped or address.sixtofour
        if inner is None and address in NAT64:
            inner = ipaddress.IPv4Address(int(address) & 0xFFFFFFFF)
        if inner is not None:
            return is_public(inner)
        if address.is_site_local or address.teredo is not None:
            return False
    return address.is_global and not (address.is_multicast or address.is_reserved or address.is_unspecified)


def check_url(url: str) -> str:
    """An address as a person typed it, if messages could go there.

    Raises:
        DomainError: what is wrong with it (field "url").
    """
    text = url.strip()
    if len(text) > LONGEST_URL or any(ord(sign) <= 32 or ord(sign) > 126 for sign in text):
        raise DomainError(f"url: write {LONGEST_URL} plain characters at most, without spaces.", field="url")
    try:
        parts = urlsplit(text)
        port = parts.port
    except ValueError as error:
        raise DomainError(f"url: this is no address: {error}.", field="url") from error
    schemes = ("https", "http") if may_be_local() else ("https",)
    if parts.scheme not in schemes or not parts.hostname or port == 0:
        raise DomainError("url: write a whole address that begins with https://.", field="url")
    if parts.username is not None or parts.password is not None or parts.fragment:
        raise DomainError("url: leave out user, password and the part after #; messages are signed.", field="url")
    if not may_be_local() and _is_plainly_local(parts.hostname):
        raise DomainError("url: this is an address of a private network; messages go to public ones only.", field="url")
    return text


def _is_plainly_local(host: str) -> bool:
    """What needs no look-up to be refused; names are looked up, and all they lead to, before each message."""
    try:
        return not is_public(ipaddress.ip_address(host))
    except ValueError:
        return host == "localhost" or host.endswith((".localhost", ".local", ".internal")) or "." not in host


def addresses(host: str, port: int, *, resolve: Resolve) -> list[str]:
    """The addresses of a host, all of them public.

    Raises:
        AddressRefusedError: one of them is not, or there is none.
    """
    try:
        found = list(dict.fromkeys(str(row[4][0]) for row in resolve(host, port, type=socket.SOCK_STREAM)))
    except (OSError, UnicodeError) as error:
        raise AddressRefusedError(f"the name {host} leads nowhere: {error}") from error
    if not found:
        raise AddressRefusedError(f"the name {host} leads nowhere")
    for text in found:
        try:
            public = is_public(ipaddress.ip_address(text))
        except ValueError:  # such as an address with a zone
            public = False
        if not public and not may_be_local():
            raise AddressRefusedError(f"{host} leads to {text}, which is no public address")
    return found


class _Plain(http.client.HTTPConnection):
    """A connection that goes to the checked address, whatever the name says meanwhile."""

    def __init__(self, parts: SplitResult, address: str) -> None:
        super().__init__(str(parts.hostname), parts.port, timeout=TIMEOUT_S)
        self.address = address

    def connect(self) -> None:
        self.sock = socket.create_connection((self.address, self.port), TIMEOUT_S)


class _Secure(http.client.HTTPSConnection):
    """The same with TLS; the certificate must be of the name."""

    def __init__(self, parts: SplitResult, address: str) -> None:
        self.context = ssl.create_default_context()
        super().__init__(str(parts.hostname), parts.port, timeout=TIMEOUT_S, context=self.context)
        self.address = address

    def connect(self) -> None:
        raw = socket.create_connection((self.address, self.port), TIMEOUT_S)
        self.sock = self.context.wrap_socket(raw, server_hostname=self.host)


def post(url: str, body: str, signed: Mapping[str, str], *, resolve: Resolve = socket.getaddrinfo) -> Answer:
    """Send one message; never raises for what the other side does.

    Args:
        signed: of `headers`.  resolve: looks a name up as `socket.getaddrinfo` does.
    """
    try:
        parts = urlsplit(check_url(url))
        port = parts.port or (443 if parts.scheme == "https" else 80)
        address = addresses(str(parts.hostname), port, resolve=resolve)[0]
    except (DomainError, AddressRefusedError) as error:
        return Answer(None, f"refused: {error}"[:300])
    connection = (_Secure if parts.scheme == "https" else _Plain)(parts, address)
    # Each wait has its limit, but a stream of single bytes has none: after a while the line is cut.
    cut = Event()
    guard = Timer(WHOLE_S, _cut, (connection, cut))
    guard.daemon = True
    guard.start()
    try:
        target = (parts.path or "/") + (f"?{parts.query}" if parts.query else "")
        kind = {"Content-Type": "application/json", "User-Agent": "Sheenward webhooks", "Connection": "close"}
        connection.request("POST", target, body.encode(), {**kind, **signed})
        status = connection.getresponse().status
        return Answer(None, f"no whole answer within {WHOLE_S:g} s") if cut.is_set() else _told(status)
    except (OSError, http.client.HTTPException, ValueError) as error:
        return Answer(None, f"{type(error).__name__}: {error}"[:300])
    finally:
        guard.cancel()
        connection.close()


def _cut(connection: http.client.HTTPConnection, cut: Event) -> None:
    cut.set()
    sock = connection.sock
    if sock is not None:
        try:
            sock.shutdown(socket.SHUT_RDWR)
        except OSError:
            return  # it is closed already


def _told(status: int) -> Answer:
    if 200 <= status < 300:
        return Answer(status, "")
    if 300 <= status < 400:
        return Answer(status, f"answered {status}, which leads elsewhere; give the address it leads to")
    return Answer(status, f"answered {status}")
