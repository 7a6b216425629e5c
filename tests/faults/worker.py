"""A worker that can be killed at any of its steps: run by the fault tests as a program of its own.

It loads the product once, in the clinic's own settings, and then obeys one order a line on standard input. Each order
is done by a forked process of its own, with connections of its own, so that a SIGKILL ends what it would end in
earnest. The product knows nothing of this file: the places to stop at are put around its functions from here.
"""

import json
import os
import select
import signal
import sys
import traceback
from collections.abc import Callable
from datetime import datetime, timedelta
from threading import Timer
from typing import Any

import django
from django.conf import settings

Order = dict[str, Any]
Stop = Callable[[str], None]
PATIENCE_SECONDS = 90.0
"""A process that has neither stopped nor ended by then is killed, and its test fails instead of waiting for ever."""


def main() -> None:
    django.setup()
    # Nobody logs in here, and a hundred therapists' passwords would cost a minute.
    settings.PASSWORD_HASHERS = ["django.contrib.auth.hashers.MD5PasswordHasher"]
    from tests.faults import orders  # loads models: only after the set-up

    orders.warm_up()
    working, begun = 0, -1
    for line in sys.stdin:
        order: Order = json.loads(line)
        if order["do"] == "work":
            begun, end = os.pipe()
            working = _forked(lambda order=order, end=end: orders.work(_stop_at(order, end)))  # type: ignore[misc]
            os.close(end)
            _say({"pid": working})
        elif order["do"] == "begun":
            _say({"begun": bool(select.select([begun], [], [], order["patience"])[0])})
        elif order["do"] == "wait":
            answer = _waited(working)
            _say(answer)
            if begun >= 0 and not answer["stopped"]:
                os.close(begun)
                begun = -1
        elif order["do"] == "tune":
            _say(_tune(order["lease_seconds"], order["batch"]))
        else:
            child = _forked(lambda order=order: _say(orders.obey(order)))  # type: ignore[misc]
            status = _status(child)
            if status:
                _say({"broken": f"{order['do']}: status {status}"})


def _tune(lease_seconds: float, batch: int) -> Order:
    """How long a lease runs and how many rows are claimed at once, for every process started from now on."""
    for module in [one for name, one in sys.modules.items() if name.startswith("reminders.")]:
        for name, value in (("LEASE", timedelta(seconds=lease_seconds)), ("BATCH", batch)):
            if hasattr(module, name):
                setattr(module, name, value)
    return {}


def _forked(act: Callable[[], object]) -> int:
    child = os.fork()
    if child:
        return child
    status = 1
    try:
        act()
        status = 0
    except BaseException:  # noqa: BLE001  # whatever it is: the other side reads the status
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(status)


def _say(answer: Order) -> None:
    sys.stdout.write(json.dumps(answer, default=_plain) + "\n")
    sys.stdout.flush()


def _plain(value: object) -> str:
    return value.isoformat() if isinstance(value, datetime) else str(value)


def _waited(pid: int) -> Order:
    """Whether the working process stands still at its place, or by which signal it has ended."""
    status = _status(pid)
    if os.WIFSTOPPED(status):
        return {"stopped": True}
    return {"stopped": False, "signal": os.WTERMSIG(status) if os.WIFSIGNALED(status) else 0}


def _status(pid: int) -> int:
    """Waits until a process has stopped or ended."""
    last = Timer(PATIENCE_SECONDS, os.kill, (pid, signal.SIGKILL))
    last.start()
    _, status = os.waitpid(pid, os.WUNTRACED)
    last.cancel()
    return status


def _stop_at(order: Order, begun: int) -> Stop:
    """Stops this process when it comes to the named place for the nth time; begun is written to at its first claim."""
    name, left = order.get("stop_at", ""), [int(order.get("nth", 1))]

    def stop(place: str) -> None:
        if place == "claimed":
            os.write(begun, b".")
        if place and place == name:
            left[0] -= 1
            if left[0] == 0:
                os.kill(os.getpid(), signal.SIGSTOP)

    return stop


if __name__ == "__main__":
    main()
