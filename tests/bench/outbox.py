"""How fast the outbox drains over real SMTP, as a ratio to the bare SMTP loop in the same run.

    python tests/bench/outbox.py [messages] [sqlite] [postgresql]

For each database: invents people whose care windows are open, lets the service plan and write their reminders, then
drains them by `deliver` to an SMTP server in a process of its own on loopback, several times over: by one deliverer in
ten parts, and by two at once, as two workers would. In between, the same mails as finished bytes go through one reused
`smtplib` connection in a bare loop: the ratio is rate by rate. Memory is the resident size of the process.
"""

from __future__ import annotations

import os
import smtplib
import statistics
import subprocess
import sys
import tempfile
import time
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))

from tests.services import servers

ROOT = Path(__file__).resolve().parents[2]
BARE, PARTS, AT_ONCE, ROUNDS = 500, 10, 2, 3


def resident_mib() -> float:
    """Resident memory of this process now."""
    with open("/proc/self/statm", encoding="ascii") as file:
        return int(file.read().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 2**20


def bare_loop(mails: list[tuple[str, str, bytes]], port: int) -> float:
    """Mails a second of nothing but `smtplib` on one connection."""
    with smtplib.SMTP("127.0.0.1", port) as smtp:
        smtp.ehlo()
        start = time.perf_counter()
        for sender, receiver, content in mails:
            smtp.sendmail(sender, [receiver], content)
        return len(mails) / (time.perf_counter() - start)


def measure(count: int, port: int) -> None:
    """Build, drain and print; runs in a process that has the database in its settings."""
    import django

    django.setup()
    from email.utils import parseaddr

    from lifecycle.models import Message
    from lifecycle.reminders.transport import build
    from tests.services import crowd

    start = time.perf_counter()
    crowd.main(count, count)
    written = time.perf_counter() - start
    ready = Message.objects.filter(state="ready").count()
    assert ready == count, f"{ready} messages are ready, not {count}"
    sample = [
        (parseaddr(one.from_email)[1], one.to_email, build(one).message().as_bytes(linesep="\r\n"))
        for one in Message.objects.all()[: min(BARE, count)]
    ]
    print(f"  {count} written in {written:.0f} s; a mail has {len(sample[0][2])} bytes", flush=True)
    alone, together = [], []
    for _ in range(ROUNDS):
        alone.append(by_one(count, sample, port))
        again()
        together.append(by_several(count, sample, port))
        again()
    for name, ratios in (("one deliverer", alone), (f"{AT_ONCE} at once", together)):
        print(f"  {name}: median ratio {statistics.median(ratios):.2f} ({min(ratios):.2f} to {max(ratios):.2f})")


def again() -> None:
    """Put every message back to where it was before it was handed over."""
    from lifecycle.models import Message

    assert set(Message.objects.values_list("state", flat=True)) == {"accepted"}
    Message.objects.update(state="ready", attempts=0)


def by_one(count: int, sample: list[tuple[str, str, bytes]], port: int) -> float:
    """Drain all by this process, in parts, the bare loop between them; returns the ratio of the rates."""
    from lifecycle.reminders.outbox import deliver

    now = datetime.now(UTC)
    bare, memory, rates, work_ms = [bare_loop(sample, port)], [resident_mib()], [], 0.0
    for part in range(PARTS):
        size = count * (part + 1) // PARTS - count * part // PARTS
        start, cpu = time.perf_counter(), time.process_time()
        counts = deliver(at=now, limit=size, for_s=600)
        rates.append(size / (time.perf_counter() - start))
        work_ms += (time.process_time() - cpu) * 1000
        assert counts["accepted"] == size, counts
        memory.append(resident_mib())
        bare.append(bare_loop(sample, port))
    drained = PARTS / sum(1 / rate for rate in rates)
    ratio = drained / statistics.median(bare)
    print(f"  one deliverer: {count} at {drained:.0f}/s ({min(rates):.0f} to {max(rates):.0f}), "
          f"{work_ms / count:.2f} ms of processor each; bare loop {statistics.median(bare):.0f}/s ({min(bare):.0f} to "
          f"{max(bare):.0f}); ratio {ratio:.2f}; MiB before {memory[0]:.1f}, after a tenth {memory[1]:.1f}, in the "
          f"middle {memory[PARTS // 2]:.1f}, at the end {memory[-1]:.1f}", flush=True)  # fmt: skip
    return ratio


def by_several(count: int, sample: list[tuple[str, str, bytes]], port: int) -> float:
    """Drain all by several processes at once; returns the ratio of the rates."""
    bare = [bare_loop(sample, port)]
    command = [sys.executable, __file__, "--deliver"]
    several = [subprocess.Popen(command, stdout=subprocess.PIPE, text=True) for _ in range(AT_ONCE)]
    told = [process.communicate()[0].split() for process in several]
    bare.append(bare_loop(sample, port))
    took = max(float(end) for _, _, end, _ in told) - min(float(begin) for _, begin, _, _ in told)
    assert sum(int(accepted) for accepted, _, _, _ in told) == count, told
    rate, alone = count / took, statistics.mean(bare)
    print(f"  {AT_ONCE} at once: {count} at {rate:.0f}/s, shared {'/'.join(one for one, _, _, _ in told)}; bare loop "
          f"{alone:.0f}/s ({min(bare):.0f} to {max(bare):.0f}); ratio {rate / alone:.2f}; MiB at the end "
          f"{'/'.join(one for _, _, _, one in told)}", flush=True)  # fmt: skip
    return rate / alone


def drain() -> None:
    """One of several deliverers: how many it handed over, from when to when, and its resident MiB."""
    import django

    django.setup()
    from lifecycle.reminders.outbox import deliver

    begin = time.time()
    accepted = deliver(at=datetime.now(UTC), for_s=600)["accepted"]
    print(accepted, begin, time.time(), f"{resident_mib():.1f}")


@contextmanager
def sink():
    """The SMTP server; gives its port."""
    port = servers.free_port()
    with tempfile.TemporaryDirectory(prefix="sheenward-sink-") as folder:
        command = [sys.executable, "-m", "tests.services.sink", str(port)]
        with servers.running(command, port=port, log=Path(folder) / "log", stop=servers.signal.SIGTERM, cwd=ROOT):
            yield port


def main() -> None:
    words = sys.argv[1:]
    count = next((int(word) for word in words if word.isdecimal()), 10_000)
    wanted = [word for word in words if not word.isdecimal()] or ["sqlite", "postgresql"]
    for vendor in wanted:
        print(f"{vendor}:", flush=True)
        with ExitStack() as stack:
            var = Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="sheenward-bench-")))
            port = stack.enter_context(sink())
            url = f"sqlite:///{var}/db.sqlite3" if vendor == "sqlite" else stack.enter_context(servers.postgresql())
            env = os.environ | {
                "DJANGO_SETTINGS_MODULE": "portal.settings", "SHEENWARD_MODE": "test", "SHEENWARD_VAR": str(var),
                "DATABASE_URL": url, "REDIS_URL": "", "SHEENWARD_MAIL": "smtp", "EMAIL_URL": f"smtp://127.0.0.1:{port}",
            }  # fmt: skip
            for arguments in (["manage.py", "migrate", "-v", "0"], [__file__, "--measure", str(count), str(port)]):
                subprocess.run([sys.executable, *arguments], cwd=ROOT, env=env, check=True)


if __name__ == "__main__":
    if sys.argv[1:2] == ["--deliver"]:
        drain()
    elif sys.argv[1:2] == ["--measure"]:
        measure(int(sys.argv[2]), int(sys.argv[3]))
    else:
        main()
