"""Messages as files in a folder: the way out of a clinic that has set up no mail server and no gateway yet."""

import os
import re
from pathlib import Path

from reminders.transports.base import Outgoing, Transport, TransportError
from reminders.transports.mail import mail_bytes


class FolderTransport(Transport):
    """Writes one file a message, .eml or .txt; a repeated attempt replaces the file of the first.

    The file holds what the patient would get, the link included, so only the owner may read it.
    """

    def __init__(self, folder: Path, channel: str, sender: str) -> None:
        self._folder = folder
        self._channel = channel
        self._sender = sender

    def send(self, outgoing: Outgoing) -> str:
        path = self._folder / self._name(outgoing)
        try:
            self._folder.mkdir(mode=0o700, parents=True, exist_ok=True)
            _write(path, self._content(outgoing))
        except OSError as refused:
            reason = refused.strerror or "no reason given"
            raise TransportError(f"the outbox folder cannot be written: {reason}", protocol="smtp") from refused
        return path.name

    def _name(self, outgoing: Outgoing) -> str:
        kind = re.sub(r"[^a-z_]", "", outgoing.kind)
        end = "eml" if self._channel == "email" else "txt"
        return f"{outgoing.due_at:%Y-%m-%d_%H%M}_{kind}_{outgoing.key.hex}.{end}"

    def _content(self, outgoing: Outgoing) -> bytes:
        if self._channel == "email":
            return mail_bytes(outgoing, self._sender)
        return f"To: {outgoing.to}\n\n{outgoing.text}\n".encode()


def _write(path: Path, content: bytes) -> None:
    # Whole or not at all: somebody may read the folder at this moment, or the disk may be full.
    draft = path.with_name(f".{path.name}.part")
    try:
        handle = os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(handle, "wb") as file:
            file.write(content)
        draft.replace(path)
    except OSError:
        draft.unlink(missing_ok=True)
        raise
