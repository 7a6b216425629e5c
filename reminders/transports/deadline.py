"""One limit for a whole attempt: a socket's own holds for a single read, which one byte now and then never reaches."""

import io
import socket
import time

LONGEST_SECONDS = 40.0
"""Longest attempt, from its first packet to its last: shorter than the lease of the row that is being sent."""


class Deadline:
    """When the attempt in hand is over, however long a single answer might take."""

    def __init__(self, limit: float) -> None:
        self._limit = limit
        self._until = 0.0

    def begin(self, seconds: float) -> None:
        self._until = time.monotonic() + seconds

    def left(self) -> float:
        """How many seconds the next step may take. Raises TimeoutError where none are left."""
        left = self._until - time.monotonic()
        if left <= 0:
            raise TimeoutError("the attempt took too long")
        return min(self._limit, left)


class _Answers(io.RawIOBase):
    def __init__(self, line: socket.socket, deadline: Deadline) -> None:
        super().__init__()
        self._line, self._deadline = line, deadline
        self._raw = line.makefile("rb", buffering=0)

    def readable(self) -> bool:
        return True

    def readinto(self, into: "bytearray | memoryview") -> int | None:  # type: ignore[override]
        self._line.settimeout(self._deadline.left())
        return self._raw.readinto(into)

    def close(self) -> None:
        self._raw.close()
        super().close()


def answers(line: socket.socket, deadline: Deadline) -> io.BufferedReader:
    """What comes in on line, to be read until deadline; a read beyond it raises TimeoutError."""
    return io.BufferedReader(_Answers(line, deadline))
