"""Somebody who guesses passwords: so many tries a minute, each under another name, whether or not the last came back.

A process of its own. It says "ready", guesses until it gets a line, and then tells in JSON what became of the tries.
"""

import asyncio
import json
import re
import sys
from collections import Counter
from dataclasses import dataclass, field
from http.client import HTTPConnection
from time import perf_counter
from urllib.parse import urlencode

MOST_OPEN = 300
"""Tries under way at once; those beyond are counted as not sent."""
TOO_MANY = 429
LOG_IN = "/log-in/"
_TOKEN = re.compile(rb'name="csrfmiddlewaretoken" value="([^"]+)"')


def form_of(page: bytes) -> str:
    """The token that the form on the page carries. Raises ValueError where there is none."""
    found = _TOKEN.search(page)
    if found is None:
        raise ValueError("the log-in page has no form")
    return found[1].decode()


def cookies_of(headers: list[tuple[str, str]]) -> dict[str, str]:
    """What the answer set, without the attributes; a cookie taken away is left out."""
    pairs = (value.partition(";")[0].partition("=") for name, value in headers if name.lower() == "set-cookie")
    return {name: value for name, _, value in pairs if value not in ("", '""')}


@dataclass(slots=True)
class Guesser:
    """networks: 1 tries from one address, more from an address of each of so many networks."""

    port: int
    a_minute: int
    networks: int
    heading: str = ""
    token: str = ""
    seen: Counter[int] = field(default_factory=Counter)
    open: int = 0
    sent: int = 0
    unsent: int = 0
    lost: int = 0

    def begin(self) -> None:
        """Open the log-in page once, as a person would, for its form."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=30)
        connection.request("GET", LOG_IN)
        answer = connection.getresponse()
        self.token = form_of(answer.read())
        cookies = "; ".join(f"{name}={value}" for name, value in cookies_of(answer.getheaders()).items())
        connection.close()
        self.heading = (
            f"POST {LOG_IN} HTTP/1.1\r\nHost: 127.0.0.1:{self.port}\r\nCookie: {cookies}\r\nConnection: close\r\n"
            "Content-Type: application/x-www-form-urlencoded\r\nAccept: text/html\r\nContent-Length: "
        )

    def address(self, number: int) -> str:
        if self.networks == 1:
            return "127.0.0.1"
        return f"127.{1 + number % self.networks // 250}.{1 + number % self.networks % 250}.1"

    async def guess(self, number: int) -> None:
        form = {"csrfmiddlewaretoken": self.token, "username": f"guest{number}", "password": f"guess number {number}"}
        body = urlencode(form)
        self.open += 1
        self.sent += 1
        try:
            own = (self.address(number), 0)
            reader, writer = await asyncio.open_connection("127.0.0.1", self.port, local_addr=own)
            writer.write(f"{self.heading}{len(body)}\r\n\r\n{body}".encode())
            line = await reader.readline()
            while await reader.read(65536):
                pass
            writer.close()
            self.seen[int(line.split()[1])] += 1
        except (OSError, IndexError, ValueError):
            self.lost += 1
        finally:
            self.open -= 1

    async def go(self) -> float:
        """Guess until a line comes; how long that was, in seconds."""
        stop = asyncio.get_running_loop().run_in_executor(None, sys.stdin.readline)
        under_way: set[asyncio.Task[None]] = set()
        begun, number = perf_counter(), 0
        while not stop.done():
            await asyncio.sleep(max(0.0, begun + number * 60 / self.a_minute - perf_counter()))
            if self.open < MOST_OPEN:
                task = asyncio.create_task(self.guess(number))
                under_way.add(task)
                task.add_done_callback(under_way.discard)
            else:
                self.unsent += 1
            number += 1
        lasted = perf_counter() - begun
        if under_way:
            await asyncio.wait(under_way, timeout=20)
        return lasted


def main(words: list[str]) -> None:
    guesser = Guesser(**json.loads(words[0]))
    guesser.begin()
    sys.stdout.write("{}\n")
    sys.stdout.flush()
    lasted = asyncio.run(guesser.go())
    told = {
        "seconds": round(lasted, 2),
        "sent": guesser.sent,
        "refused": guesser.seen[TOO_MANY],
        "looked_at": guesser.seen.total() - guesser.seen[TOO_MANY],
        "unanswered": guesser.sent - guesser.seen.total(),
        "not_sent": guesser.unsent,
    }
    sys.stdout.write(json.dumps(told) + "\n")


if __name__ == "__main__":
    main(sys.argv[1:])
