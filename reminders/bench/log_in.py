"""A normal log-in while nobody guesses passwords and while somebody does, ten thousand times a minute.

Quiet and attacked log-ins go in turn, a few of each, so that whatever else the machine does meets both.
"""

from collections.abc import Callable, Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass, field
from http.client import HTTPConnection
from math import ceil
from pathlib import Path
from statistics import median
from time import perf_counter, sleep
from typing import Any
from urllib.parse import urlencode

from reminders.bench.company import BenchError, Hand, Server, environment_of
from reminders.bench.guessing import LOG_IN, cookies_of, form_of
from reminders.bench.log_in_server import NAME, PASSWORD

SERVER, GUESSER = "reminders.bench.log_in_server", "reminders.bench.guessing"
A_MINUTE = 10_000
ROUNDS = 4
NETWORKS = {"one address": 1, "500 networks": 500}
ELSEWHERE = "127.200.0.1"
NEW = "new browser, known network"
FOUND, TRIES, MOMENT_S = 302, 3, 2
Say = Callable[[str], object]


@dataclass(slots=True)
class Person:
    """Somebody who logs in. known: their browser did so before, and keeps its cookie; address: from where."""

    port: int
    known: bool
    address: str
    device: dict[str, str] = field(default_factory=dict)
    refused: int = 0

    def log_in(self) -> float | None:
        """Milliseconds until they are in, from opening the page on; None for somebody who was refused three times.

        Whoever is asked to try again in a moment does, and the moment counts.
        """
        begun = perf_counter()
        for _ in range(TRIES):
            status, wait_s = self._try()
            if status == FOUND:
                return (perf_counter() - begun) * 1000
            if wait_s > MOMENT_S:
                break
            sleep(wait_s)
        self.refused += 1
        return None

    def _try(self) -> tuple[int, int]:
        """Open the page, send name and password: the status of the answer, and for how long it asks to wait."""
        connection = HTTPConnection("127.0.0.1", self.port, timeout=60, source_address=(self.address, 0))
        connection.request("GET", LOG_IN, headers={"Cookie": _written(self.device)})
        page = connection.getresponse()
        form = {"csrfmiddlewaretoken": form_of(page.read()), "username": NAME, "password": PASSWORD}
        cookies = {**self.device, **cookies_of(page.getheaders())}
        headers = {"Cookie": _written(cookies), "Content-Type": "application/x-www-form-urlencoded"}
        connection.request("POST", LOG_IN, urlencode(form), headers)
        answer = connection.getresponse()
        answer.read()
        connection.close()
        if self.known:
            self.device |= {name: value for name, value in cookies_of(answer.getheaders()).items() if "device" in name}
        return answer.status, int(answer.getheader("Retry-After") or 0)


def _written(cookies: dict[str, str]) -> str:
    return "; ".join(f"{name}={value}" for name, value in cookies.items())


@dataclass(frozen=True, slots=True)
class Attacks:
    """log_ins: of each series. a_minute: guesses."""

    log_ins: int
    a_minute: int = A_MINUTE
    server: str = ""


def measure(attacks: Attacks, folder: Path, say: Say) -> list[dict[str, Any]]:
    """One row for each way of guessing and of logging in. On PostgreSQL where a server is at hand, else on SQLite."""
    with ExitStack() as stack:
        try:
            server = Server(attacks.server)
            stack.callback(server.close)
            address = stack.enter_context(server.database("log_in"))
        except (OSError, ImportError):
            address = f"sqlite:///{folder / 'log_in.sqlite3'}"
        say(f"On {address.partition(':')[0]}, {attacks.a_minute:,} guesses a minute.")
        port = stack.enter_context(_served(address, folder))
        return _measured(attacks, port, folder)


@contextmanager
def _served(address: str, folder: Path) -> Iterator[int]:
    with Hand(SERVER, environment=environment_of(address, folder)) as server:
        line = server.line()
        if "http://" not in line:
            raise BenchError(line)
        yield int(line.partition("127.0.0.1:")[2].partition("/")[0])


def _measured(attacks: Attacks, port: int, folder: Path) -> list[dict[str, Any]]:
    """A known browser stands where the guesses come from, which is the worst place; a new one elsewhere, where
    somebody logged in before, since a truly strange one is kept out by guesses from many networks."""
    people = {"known browser": Person(port, True, "127.0.0.1"), NEW: Person(port, False, ELSEWHERE)}
    taken: dict[tuple[str, str], list[float]] = {}
    told: dict[str, list[dict[str, Any]]] = {name: [] for name in NETWORKS}
    refused: dict[tuple[str, str], int] = {}
    for one in people.values():
        one.log_in()  # the first compiles templates, and makes the browser known
    rounds = min(ROUNDS, attacks.log_ins)
    for _ in range(rounds):
        for attack in ("", *NETWORKS):
            with ExitStack() as stack:
                if attack:
                    told[attack].append({})
                    stack.enter_context(_attacked(attacks, port, NETWORKS[attack], folder, told[attack][-1]))
                for name, person in people.items():
                    before = person.refused
                    times = [person.log_in() for _ in range(ceil(attacks.log_ins / rounds))]
                    taken.setdefault((attack, name), []).extend(ms for ms in times if ms is not None)
                    refused[attack, name] = refused.get((attack, name), 0) + person.refused - before
    return [
        _row(attack, name, taken["", name], taken[attack, name], refused[attack, name]) | _summed(told[attack])
        for attack in NETWORKS
        for name in people
    ]


@contextmanager
def _attacked(attacks: Attacks, port: int, networks: int, folder: Path, told: dict[str, Any]) -> Iterator[None]:
    options = f'{{"port": {port}, "a_minute": {attacks.a_minute}, "networks": {networks}}}'
    with Hand(GUESSER, options, environment=environment_of("sqlite://", folder)) as guesser:
        guesser.answer()
        yield
        guesser.write("")
        told.update(guesser.answer())


def _row(attack: str, name: str, quiet: list[float], attacked: list[float], refused: int) -> dict[str, Any]:
    """Where every log-in was refused there are no times to tell."""
    before, under = _times(quiet), _times(attacked)
    return {
        "guesses_from": attack,
        "log_in_by": name,
        "log_ins": len(attacked),
        "log_ins_refused": refused,
        "quiet_p50_ms": before and before[0],
        "quiet_p95_ms": before and before[1],
        "attacked_p50_ms": under and under[0],
        "attacked_p95_ms": under and under[1],
        "p95_ratio": round(under[1] / before[1], 2) if under and before else None,
    }


def _times(taken: list[float]) -> tuple[float, float] | None:
    if not taken:
        return None
    ordered = sorted(taken)
    return round(median(ordered), 1), round(ordered[ceil(0.95 * len(ordered)) - 1], 1)


def _summed(told: list[dict[str, Any]]) -> dict[str, Any]:
    """What became of the guesses; both people of a row logged in under the same ones."""
    whole = {name: sum(one[name] for one in told) for name in told[0]}
    sent_a_minute = round(60 * whole["sent"] / whole.pop("seconds"))
    return {"guesses_a_minute": sent_a_minute, **{f"guesses_{name}": value for name, value in whole.items()}}
