"""A real HTTP server on this machine that takes messages and answers as it is told."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, HTTPServer


@dataclass
class Receiver:
    """`status` is answered to the next messages; `got` holds headers and body of each."""

    url: str = ""
    status: int = 204
    location: str = ""
    got: list[tuple[dict[str, str], str]] = field(default_factory=list)

    @property
    def bodies(self) -> list[str]:
        return [body for _headers, body in self.got]


@contextmanager
def receiver() -> Iterator[Receiver]:
    told = Receiver()

    class Handler(BaseHTTPRequestHandler):
        def do_POST(self) -> None:
            body = self.rfile.read(int(self.headers["Content-Length"])).decode()
            told.got.append(({name.lower(): value for name, value in self.headers.items()}, body))
            self.send_response(told.status)
            if told.location:
                self.send_header("Location", told.location)
            self.end_headers()

        def log_message(self, *args: object) -> None:
            pass

    server = HTTPServer(("127.0.0.1", 0), Handler)
    told.url = f"http://127.0.0.1:{server.server_port}/told"
    thread = threading.Thread(target=server.serve_forever, kwargs={"poll_interval": 0.02}, daemon=True)
    thread.start()
    try:
        yield told
    finally:
        server.shutdown()
        server.server_close()
        thread.join()
