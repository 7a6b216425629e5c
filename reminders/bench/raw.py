"""What the engine is measured against: the least a hand-written loop can do to keep the same states of the same rows.

The same table with the same indexes, claims of the same size, one prepared statement and one commit a message that
marks one as sent and the next as being sent. No last look, no joining, no retries, nothing kept of what was sent, and
nothing done when something goes wrong. On PostgreSQL it commits as the server is set up, and in a measurement apart
as relaxed as the engine's marks.
"""

import smtplib
import sqlite3
from collections.abc import Callable
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any
from uuid import UUID, uuid4

from reminders.bench.sinks import Record

BATCH = 100
LEASE = timedelta(seconds=60)

CLAIM = """
    UPDATE reminders_message SET state = 'claimed', token = %s, lease_until = %s, claims = claims + 1
    WHERE id IN (SELECT id FROM reminders_message WHERE state = 'planned' AND safety AND wake_at <= %s
                 ORDER BY wake_at, id LIMIT 100 FOR UPDATE SKIP LOCKED)
    RETURNING id, key, application_id
"""
MARK = """
    UPDATE reminders_message SET
        state = CASE WHEN id = %(sent)s THEN 'sent' ELSE 'sending' END,
        token = CASE WHEN id = %(sent)s THEN NULL ELSE token END,
        lease_until = CASE WHEN id = %(sent)s THEN NULL ELSE %(lease)s END,
        settled_at = %(now)s
    WHERE id IN (%(sent)s, %(next)s) AND token = %(token)s
"""
RELAXED = " RETURNING set_config('synchronous_commit', 'off', true)"
SEND = Callable[[Any, UUID, int], None]


def postgres(address: str, clock: Callable[[], datetime], send: SEND, *, relaxed: bool = False) -> None:
    """Until nothing is due. send gets the connection, a message's key and its tape's id."""
    import psycopg

    with psycopg.connect(address, autocommit=True, prepare_threshold=0) as connection:
        cursor = connection.cursor()
        while True:
            now, token = clock(), uuid4()
            rows = cursor.execute(CLAIM, [token, now + LEASE, now]).fetchall()
            if not rows:
                return
            sent = 0
            for row in [*rows, (0, None, 0)]:
                now = clock()
                values = {"sent": sent, "next": row[0], "token": token, "lease": now + LEASE, "now": now}
                cursor.execute(MARK + RELAXED if relaxed else MARK, values)
                if row[1] is not None:
                    send(connection, row[1], row[2])
                sent = row[0]


def sqlite(path: str, clock: Callable[[], datetime], send: SEND) -> None:
    """The same on SQLite, which waits for the disk at every commit (synchronous FULL)."""
    connection = sqlite3.connect(path, isolation_level=None, timeout=20)
    for pragma in ("journal_mode=WAL", "synchronous=FULL", "foreign_keys=ON", "cache_size=-8000"):
        connection.execute(f"PRAGMA {pragma}")
    claim = CLAIM.replace("FOR UPDATE SKIP LOCKED", "").replace("%s", "?")
    mark = MARK.replace("%(", ":").replace(")s", "")
    while True:
        now, token = clock(), uuid4().hex
        connection.execute("BEGIN IMMEDIATE")
        rows = connection.execute(claim, [token, _text(now + LEASE), _text(now)]).fetchall()
        connection.execute("COMMIT")
        if not rows:
            break
        sent = 0
        for row in [*rows, (0, None, 0)]:
            now = clock()
            values = {"sent": sent, "next": row[0], "token": token, "lease": _text(now + LEASE), "now": _text(now)}
            connection.execute(mark, values)
            if row[1] is not None:
                send(connection, UUID(row[1]), row[2])
            sent = row[0]
    connection.close()


def _text(moment: datetime) -> str:
    return moment.replace(tzinfo=None).isoformat(" ")


def noted(path: Path) -> SEND:
    """A way out that only writes down."""
    record = Record(path)
    return lambda connection, key, tape: record.add(key.hex)


class Mailer:
    """One SELECT a message for its address, a mail that was built beforehand, one held connection to the mail server.

    The mail is one of the engine's own, so that as many bytes go over the line; key is the one it was built with,
    which gives way to each message's.
    """

    def __init__(self, port: int, mail: bytes, key: UUID) -> None:
        self._server = smtplib.SMTP("127.0.0.1", port, timeout=10)
        self._server.ehlo()
        self._mail = mail
        self._key = key.hex.encode()

    def __call__(self, connection: Any, key: UUID, tape: int) -> None:
        ((address,),) = connection.execute(
            "SELECT p.email FROM taping_application a JOIN clinic_patient p ON p.id = a.patient_id WHERE a.id = %s",
            [tape],
        ).fetchall()
        self._server.sendmail("clinic@example.org", [address], self._mail.replace(self._key, key.hex.encode()))
