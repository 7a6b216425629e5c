"""A general-purpose task queue on the same database server: Procrastinate, with a task that does what the no-op way
out does. Its jobs are due at once; two processes of its own worker run them, each ten at a time (by default one).
"""

import asyncio
import json
import sys
from pathlib import Path
from typing import Any

from reminders.bench.sinks import Record

NAME = "procrastinate"
CONCURRENCY = 10


def version() -> str:
    """Its version, or "" where it is not installed."""
    from importlib.metadata import PackageNotFoundError
    from importlib.metadata import version as version_of

    try:
        return version_of(NAME)
    except PackageNotFoundError:
        return ""


def _app(address: str, record: Path | None = None) -> Any:
    from procrastinate import App, PsycopgConnector

    app = App(connector=PsycopgConnector(conninfo=address))
    kept = Record(record) if record else None

    @app.task(name="note")
    async def note(key: str) -> None:
        assert kept is not None  # noqa: S101
        kept.add(key)

    return app


async def fill(address: str, count: int) -> None:
    app = _app(address)
    async with app.open_async():
        await app.schema_manager.apply_schema_async()
        for start in range(0, count, 1000):
            keys = [{"key": f"{number:032x}"} for number in range(start, min(start + 1000, count))]
            await app.configure_task("note").batch_defer_async(*keys)


async def work(address: str, record: Path) -> None:
    app = _app(address, record)
    async with app.open_async():
        print("ready", flush=True)  # noqa: T201
        sys.stdin.readline()
        await app.run_worker_async(wait=False, concurrency=CONCURRENCY, install_signal_handlers=False)


def main(words: list[str]) -> None:
    options = json.loads(words[1])
    if words[0] == "fill":
        asyncio.run(fill(options["address"], options["count"]))
    else:
        asyncio.run(work(options["address"], Path(options["record"])))


if __name__ == "__main__":
    main(sys.argv[1:])
