"""`python -m tests.services.taking_out_scene`: takes the studio out while somebody else puts a customer on record.

Prints how many customers and how many lines of the journal about them the zip holds, and how many customers there are
then."""

from __future__ import annotations

import io
import json
import zipfile
from threading import Thread

import django


def main() -> tuple[int, int, int]:
    from django.db import connections
    from django.utils import timezone

    from lifecycle.care.register import register_customer
    from lifecycle.models import Customer, Studio
    from lifecycle.taking_out.packing import take_studio

    studio = Studio.objects.get()

    def somebody_else() -> None:
        register_customer(studio=studio, name="Late", email="late@example.org", actor="test", at=timezone.now())
        connections.close_all()

    pieces = take_studio(studio=studio, actor="command", at=timezone.now()).pieces
    taken = [next(pieces)]  # the first table has been read
    other = Thread(target=somebody_else)
    other.start()
    other.join(20)  # nobody waits for the one who reads
    assert not other.is_alive()
    taken += pieces
    with zipfile.ZipFile(io.BytesIO(b"".join(taken))) as found:
        customers = found.read("tables/customer.jsonl").count(b"\n")
        lines = [json.loads(line) for line in found.read("tables/journal_entry.jsonl").splitlines()]
    registered = sum(line["verb"] == "customer registered" for line in lines)
    return customers, registered, Customer.objects.count()


if __name__ == "__main__":
    django.setup()
    print(*main())
