"""Ports for servers of a test's own that cannot take port 0 or a socket that is held already."""

import random
import subprocess
from collections.abc import Callable
from pathlib import Path

LEAST, USUAL = 10_000, 32_768
RANGE = Path("/proc/sys/net/ipv4/ip_local_port_range")


def quiet_port() -> int:
    """A port below those that the system gives to whoever asks for any: one of these may be taken again at any moment.

    Whoever tries it may still find it taken, and tries the next.
    """
    handed_out = int(RANGE.read_text().split()[0]) if RANGE.exists() else USUAL
    return random.randrange(LEAST, max(handed_out, LEAST + 1000))  # nothing is kept secret by it


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
