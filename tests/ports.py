"""Ports for servers of a test's own that cannot take port 0 or a socket that is held already."""

import random
import subprocess
from collections.abc import Callable
from pathlib import Path

LEAST = 15_000
HANDED_OUT = int(Path("/proc/sys/net/ipv4/ip_local_port_range").read_text().split()[0])
"""From here on the system gives ports to whoever asks for any: one that was free a moment ago may be taken again."""


def quiet_port() -> int:
    """A port that nobody is given who asks for any; whoever tries it may still find it taken, and tries the next."""
    return random.randrange(LEAST, HANDED_OUT)  # nothing is kept secret by it


def started_on_a_quiet_port(
    start: Callable[[int], "subprocess.Popen[bytes]"], answers: Callable[[int], bool], tries: int = 5
) -> tuple[int, "subprocess.Popen[bytes]"]:
    """The port and the process of a server that was started there. start: it ends where the port is taken.

    answers: waits until the server does, and says whether it did.
    """
    for _ in range(tries):
        port = quiet_port()
        process = start(port)
        if answers(port) and process.poll() is None:
            return port, process
        process.kill()
        process.wait()
    msg = f"no server would start on {tries} ports"
    raise AssertionError(msg)
