"""The file itself: lines of JSON, compressed, and encrypted in the age format where there is a key.

The first line is the heading (version, migrations), then come the tables, each between a line that opens it and one
that closes it with its count and digest, and the last line is the manifest. A file without its last line was cut off.
Encryption is age's own (age-encryption.org/v1): any program of that format opens the file with the key.
"""

import gzip
import io
import json
import os
import threading
import zlib
from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import IO, Any

import pyrage

from clinic.backup.refusals import BackupRefused

PIECE = 1 << 16
_AGE, _GZIP = b"age-encryption.org/", b"\x1f\x8b"


def key_make() -> str:
    """A new key: whoever has it can read every backup made with it."""
    return str(pyrage.x25519.Identity.generate())


def key_read(text: str) -> Any:
    """The key in text, or None where text is empty. Raises BackupRefused."""
    if not text:
        return None
    try:
        return pyrage.x25519.Identity.from_str(text)
    except pyrage.IdentityError as wrong:
        raise BackupRefused("BACKUP_KEY is no key. Make one with: manage.py backup --new-key FILE") from wrong


def pack(lines: Iterable[bytes], out: IO[bytes], key: Any) -> None:
    """Write lines to out. What goes wrong while the lines are made is raised as it was."""
    source = _Lines(lines)
    if key is None:
        while piece := source.read(PIECE):
            out.write(piece)
        return
    try:
        pyrage.encrypt_io(io.BufferedReader(source, PIECE), out, [key.to_public()])
    except pyrage.EncryptError as fault:
        # It wraps what our own side raised: a full disk must be told as one, a database that went away as that.
        raise source.fault or OSError(str(fault)) from fault


@contextmanager
def unpack(path: Path, key: Any) -> Iterator[Iterator[bytes]]:
    """The lines of a file. Raises BackupRefused where it is no backup, is encrypted with another key, or is torn."""
    with _opened(path) as file:
        begins = file.read(len(_AGE))
        file.seek(0)
        if begins == _AGE:
            if key is None:
                raise BackupRefused(f"{path.name} is encrypted: set BACKUP_KEY or BACKUP_KEY_FILE.")
            with _decrypted(file, key, path.name) as plain:
                yield _lines(plain, path.name)
        elif begins.startswith(_GZIP):
            yield _lines(file, path.name)
        else:
            raise BackupRefused(f"{path.name} is no backup of this program.")


def _opened(path: Path) -> IO[bytes]:
    try:
        return path.open("rb")
    except OSError as fault:
        raise BackupRefused(f"{path} cannot be read: {fault.strerror or fault}.") from fault


def _lines(file: IO[bytes], name: str) -> Iterator[bytes]:
    try:
        with gzip.GzipFile(fileobj=file, mode="rb") as plain:
            yield from plain
    except (EOFError, zlib.error, gzip.BadGzipFile) as torn:
        raise BackupRefused(f"{name} is not whole: it was cut off or changed. Take another backup.") from torn


@contextmanager
def _decrypted(file: IO[bytes], key: Any, name: str) -> Iterator[IO[bytes]]:
    """Decrypts in a thread into a pipe: the clear text lies neither on the disk nor in memory as a whole."""
    reading, writing = os.pipe()
    faults: list[Exception] = []

    def decrypt() -> None:
        try:
            with open(writing, "wb") as out:
                pyrage.decrypt_io(file, out, [key])
        except (pyrage.DecryptError, OSError) as fault:
            faults.append(fault)

    thread = threading.Thread(target=decrypt, name="decrypt", daemon=True)
    thread.start()
    try:
        with open(reading, "rb") as plain:
            if not plain.peek(1):
                thread.join()
                raise BackupRefused(f"{name} cannot be opened: it was encrypted with another key, or is damaged.")
            yield plain
    finally:
        thread.join()


class _Lines(io.RawIOBase):
    """A file that gives the compressed lines as they are made."""

    def __init__(self, lines: Iterable[bytes]) -> None:
        self._pieces = _compressed(lines)
        self._rest = memoryview(b"")
        self.fault: BaseException | None = None

    def readable(self) -> bool:
        return True

    def readinto(self, buffer: Any) -> int:
        try:
            while not self._rest:
                self._rest = memoryview(next(self._pieces, b""))
                if not self._rest:
                    return 0
        except BaseException as fault:
            self.fault = fault
            raise
        count = min(len(buffer), len(self._rest))
        buffer[:count] = self._rest[:count]
        self._rest = self._rest[count:]
        return count


def _compressed(lines: Iterable[bytes]) -> Iterator[bytes]:
    """Never an empty piece: whoever reads would take it for the end."""
    press = zlib.compressobj(level=1, wbits=31)
    for line in lines:
        if piece := press.compress(line):
            yield piece
    yield press.flush()


def line_of(value: dict[str, Any]) -> bytes:
    return (json.dumps(value, ensure_ascii=False, separators=(",", ":")) + "\n").encode()
