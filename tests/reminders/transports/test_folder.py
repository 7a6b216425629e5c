"""Messages as files: one a message, whole or not at all, for the owner's eyes."""

import stat
from pathlib import Path

import pytest

from reminders.transports import TransportError
from reminders.transports.folder import FolderTransport
from tests.reminders.transports.conftest import KEY, outgoing

SENDER = "clinic@example.org"


def test_a_text_is_a_text_file_with_the_link_in_it(tmp_path: Path) -> None:
    way_out = FolderTransport(tmp_path / "outbox", "sms", SENDER)
    name = way_out.send(outgoing(to="+12125550123", text="Off today: https://tape.example.org/t/abc/"))
    assert name == f"2027-03-10_1500_removal_day_{KEY.hex}.txt"
    assert (tmp_path / "outbox" / name).read_text() == (
        "To: +12125550123\n\nOff today: https://tape.example.org/t/abc/\n"
    )


def test_a_mail_is_a_mail_file(tmp_path: Path) -> None:
    name = FolderTransport(tmp_path, "email", SENDER).send(outgoing())
    content = (tmp_path / name).read_bytes()
    assert name.endswith(".eml")
    assert b"Subject: Your tape\r\n" in content


def test_the_same_message_again_replaces_its_file(tmp_path: Path) -> None:
    way_out = FolderTransport(tmp_path, "sms", SENDER)
    way_out.send(outgoing(text="first"))
    way_out.send(outgoing(text="second"))
    (file,) = tmp_path.iterdir()
    assert file.read_text().endswith("second\n")


def test_only_the_owner_may_read_it(tmp_path: Path) -> None:
    name = FolderTransport(tmp_path / "outbox", "sms", SENDER).send(outgoing())
    assert stat.S_IMODE((tmp_path / "outbox" / name).stat().st_mode) == 0o600
    assert stat.S_IMODE((tmp_path / "outbox").stat().st_mode) == 0o700


def test_the_file_s_name_gives_nobody_away(tmp_path: Path) -> None:
    name = FolderTransport(tmp_path, "sms", SENDER).send(outgoing(to="+12125550123", kind="../../etc/passwd"))
    assert "0123" not in name
    assert [file.name for file in tmp_path.iterdir()] == [name]


def test_a_full_disk_is_a_silence_before_handing_over_and_leaves_nothing_behind(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(self: Path, target: Path) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(TransportError, match="No space left on device") as refused:
        FolderTransport(tmp_path, "sms", SENDER).send(outgoing())
    assert (refused.value.code, refused.value.handed_over) == (None, False)
    assert list(tmp_path.iterdir()) == []


def test_a_folder_that_cannot_be_made_is_named_as_such(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("in the way")
    with pytest.raises(TransportError, match="outbox folder cannot be written"):
        FolderTransport(tmp_path / "file" / "outbox", "sms", SENDER).send(outgoing())
