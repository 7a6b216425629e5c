"""Where measured messages end up: a record on disk that a killed process cannot take back, and a mail server."""

import os
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path
from statistics import quantiles
from typing import Any

from reminders.transports import Outgoing, Transport


class Record:
    """One line a message: its key and when it came. Whole lines, appended by the system: they outlive SIGKILL."""

    def __init__(self, path: Path) -> None:
        self._file = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)

    def add(self, key: str) -> None:
        os.write(self._file, f"{key} {time.time()!r}\n".encode())


class NoWay(Transport):
    """Accepts everything at once and writes down that it came."""

    def __init__(self, record: Record) -> None:
        self._record = record

    def send(self, outgoing: Outgoing) -> str:
        self._record.add(outgoing.key.hex)
        return "noted"


@dataclass(frozen=True, slots=True)
class Arrived:
    """What a record says: how often each key came, and when each first came (seconds since 1970), in order."""

    times: Counter[str] = field(default_factory=Counter)
    firsts: list[float] = field(default_factory=list)

    @classmethod
    def read(cls, *paths: Path) -> "Arrived":
        times: Counter[str] = Counter()
        firsts: dict[str, float] = {}
        for path in paths:
            for line in path.read_text().splitlines() if path.exists() else []:
                key, _, at = line.partition(" ")
                times[key] += 1
                firsts[key] = min(firsts.get(key, float(at)), float(at))
        return cls(times, sorted(firsts.values()))

    def rate(self, begun: float) -> float:
        """Messages a second from the moment they were due (begun) to the last one."""
        return len(self.firsts) / (self.firsts[-1] - begun) if self.firsts else 0.0

    def late(self, due: float) -> tuple[float, float, float]:
        """Seconds after due: the median, the 99th of a hundred, the first."""
        late = [at - due for at in self.firsts]
        parts = quantiles(late, n=100, method="inclusive")
        return parts[49], parts[98], late[0]

    def judged(self, wanted: set[str], cancelled: set[str]) -> dict[str, int]:
        """Counted from what arrived: wanted keys that never came, comings after a first, cancelled keys that came."""
        return {
            "lost": sum(1 for key in wanted if not self.times[key]),
            "doubled": sum(number - 1 for number in self.times.values()),
            "cancelled_sent": sum(1 for key in cancelled if self.times[key]),
        }


class MailSink:
    """A mail server that accepts everything and records each mail's Message-ID. Runs until its process ends."""

    def __init__(self, path: Path) -> None:
        self._record = Record(path)

    async def handle_DATA(self, server: Any, session: Any, envelope: Any) -> str:  # noqa: N802  # the library's name
        head = envelope.content[:2000].decode("ascii", "replace")
        _, _, rest = head.partition("Message-ID: <")
        self._record.add(rest.partition("@")[0])
        return "250 noted"


def serve_mail(path: Path) -> None:
    """Listen on a free port, say which on standard output, and stay."""
    import asyncio

    from aiosmtpd.smtp import SMTP

    async def stay() -> None:
        loop = asyncio.get_running_loop()
        sink = MailSink(path)
        server = await loop.create_server(lambda: SMTP(sink, enable_SMTPUTF8=False), "127.0.0.1", 0)
        print(server.sockets[0].getsockname()[1], flush=True)  # noqa: T201  # the parent waits for it
        await server.serve_forever()

    asyncio.run(stay())
