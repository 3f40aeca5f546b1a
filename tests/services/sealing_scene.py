"""`python -m tests.services.sealing_scene N`: N inspections sealed by six threads, then one by four."""

from __future__ import annotations

import sys
from concurrent.futures import ThreadPoolExecutor

import django


def seal_all(count: int) -> None:
    """Seal, and print how often each outcome came."""
    from django.db import connections

    from lifecycle.errors import DomainError
    from lifecycle.models import Inspection
    from tests.lifecycle.care.report_world import make_world

    world = make_world()
    inspections = [world.another() for _ in range(count)]

    def seal(inspection: Inspection) -> str:
        try:
            return f"sealed {world.seal(inspection).number}"
        except DomainError as error:
            return error.message
        finally:
            connections.close_all()

    with ThreadPoolExecutor(6) as pool:
        print(*pool.map(seal, inspections), sep="\n")
    with ThreadPoolExecutor(4) as pool:
        print(*pool.map(seal, [world.another()] * 4), sep="\n")


if __name__ == "__main__":
    django.setup()
    seal_all(int(sys.argv[1]))
