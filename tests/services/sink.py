"""`python -m tests.services.sink PORT [LEDGER [MILLISECONDS]]`: an SMTP server in a process of its own.

It takes every mail. Into LEDGER it writes one line a mail, address and Message-ID, before it answers: from then on the
mail is its own affair (RFC 5321, 4.2.5). MILLISECONDS is how long it takes to think.
"""

from __future__ import annotations

import asyncio
import re
import sys
from pathlib import Path
from typing import Any

from aiosmtpd.smtp import SMTP

MESSAGE_ID = re.compile(rb"^message-id:\s*(<[^>]+>)", re.IGNORECASE | re.MULTILINE)


class Sink:
    """Takes everything (RFC 5321, 4.2.3: reply 250)."""

    def __init__(self, ledger: Path | None, wait_s: float) -> None:
        self.ledger = ledger.open("a", buffering=1) if ledger else None
        self.wait_s = wait_s

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:
        if self.ledger:
            found = MESSAGE_ID.search(envelope.content)
            self.ledger.write(f"{envelope.rcpt_tos[0]} {found.group(1).decode() if found else '-'}\n")
        if self.wait_s:
            await asyncio.sleep(self.wait_s)
        return "250 2.0.0 taken"


async def main(port: int, ledger: Path | None, wait_s: float) -> None:
    handler, loop = Sink(ledger, wait_s), asyncio.get_running_loop()
    server = await loop.create_server(lambda: SMTP(handler, hostname="sink.example.org"), "127.0.0.1", port)
    async with server:
        await server.serve_forever()


if __name__ == "__main__":
    given = sys.argv[1:] + [""] * 3
    asyncio.run(main(int(given[0]), Path(given[1]) if given[1] else None, float(given[2] or 0) / 1000))
