"""serve, send_due and send_test: what they say, what they refuse, and how they end."""

import json
import os
import re
import signal
import socket
import subprocess
import sys
import urllib.request
from datetime import datetime, timedelta
from io import StringIO
from pathlib import Path

import pytest
import time_machine
from django.core.exceptions import ImproperlyConfigured
from django.core.management import CommandError, call_command
from pytest_django import Settings

from clinic.models import Clinic
from reminders.models import Message
from reminders.serving import refuse_open_door
from reminders.tasks import run_due_task
from tests.factories import ApplicationFactory

ROOT = Path(__file__).resolve().parents[3]
SURROUNDINGS = {**os.environ, "DJANGO_SETTINGS_MODULE": "clinic.settings"}


def run(*words: str, **environment: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "manage.py", *words],
        cwd=ROOT, env={**SURROUNDINGS, **environment}, capture_output=True, text=True, check=False, timeout=120,
    )  # fmt: skip


def said(*words: str) -> str:
    out = StringIO()
    call_command(*words, stdout=out)
    return out.getvalue().strip()


@pytest.mark.django_db
class TestSendDue:
    def test_one_pass_says_what_it_did(self, clinic: Clinic, now: datetime, settings: Settings, tmp_path: Path) -> None:
        settings.OUTBOX_FOLDER = tmp_path
        ApplicationFactory()
        with time_machine.travel(now, tick=False):
            first, second = said("send_due"), said("send_due")
        assert first.startswith("planned 1, sent 1, said together 0, put off 0, dropped 0, too late 0, not delivered 0")
        assert second.startswith("planned 0, sent 0,")
        assert [path.suffix for path in tmp_path.iterdir()] == [".txt"]

    @pytest.mark.parametrize("pause", ["0", "-1", "3601"])
    def test_a_pause_that_makes_no_sense_is_refused(self, clinic: Clinic, pause: str) -> None:
        with pytest.raises(CommandError, match="more than 0 and at most 3600 seconds") as refused:
            call_command("send_due", "--loop", f"--every={pause}")
        assert refused.value.returncode == 2

    def test_the_task_is_the_same_pass(self, clinic: Clinic, now: datetime, settings: Settings, tmp_path: Path) -> None:
        settings.OUTBOX_FOLDER = tmp_path
        ApplicationFactory()
        with time_machine.travel(now + timedelta(minutes=1), tick=False):
            run_due_task()
        assert Message.objects.filter(state="sent").count() == 1

    def test_the_task_needs_no_broker_and_expires(self) -> None:
        assert (run_due_task.name, run_due_task.expires) == ("reminders.run_due", 1)


@pytest.mark.django_db
class TestSendTest:
    @pytest.mark.parametrize(
        ("to", "ending", "words"), [("ada@example.org", ".eml", "e-mail"), ("+1 212 555 0123", ".txt", "text message")]
    )
    def test_it_goes_through_what_is_set_up(
        self, clinic: Clinic, settings: Settings, tmp_path: Path, to: str, ending: str, words: str
    ) -> None:
        settings.OUTBOX_FOLDER = tmp_path
        assert said("send_test", "--to", to).startswith(f"Handed over on {words}")
        assert [path.suffix for path in tmp_path.iterdir()] == [ending]

    @pytest.mark.parametrize("to", ["ada@", "2125550123", "+1", "nobody", "+1212555"])
    def test_an_address_that_is_none_is_refused(self, clinic: Clinic, to: str) -> None:
        with pytest.raises(CommandError) as refused:
            call_command("send_test", "--to", to)
        assert refused.value.returncode == 2

    def test_a_server_that_is_not_there_is_said_in_one_line(self, clinic: Clinic, settings: Settings) -> None:
        settings.EMAIL_URL = "smtp://127.0.0.1:1"
        with pytest.raises(CommandError, match="Not sent: the mail server did not answer"):
            call_command("send_test", "--to", "ada@example.org")

    @pytest.mark.parametrize(
        ("name", "url"), [("EMAIL_URL", "smtp+ssl://m.example.org:587"), ("SMS_GATEWAY_URL", "http://g.example.org")]
    )
    def test_a_bad_setting_is_named(self, clinic: Clinic, settings: Settings, name: str, url: str) -> None:
        setattr(settings, name, url)
        with pytest.raises(ImproperlyConfigured, match=name):
            call_command("send_test", "--to", "ada@example.org")


class TestServe:
    @pytest.mark.parametrize("host", ["127.0.0.1", "localhost", "::1", "127.8.8.8"])
    def test_this_machine_may_always_be_served(self, settings: Settings, host: str) -> None:
        settings.PUBLIC = False
        refuse_open_door(host)

    @pytest.mark.parametrize("host", ["0.0.0.0", "::", "192.0.2.7", "tape.example.org"])
    def test_other_machines_only_by_a_public_run(self, settings: Settings, host: str) -> None:
        settings.PUBLIC = False
        with pytest.raises(ImproperlyConfigured, match="PUBLIC=true"):
            refuse_open_door(host)
        settings.PUBLIC = True
        refuse_open_door(host)

    @pytest.mark.parametrize("words", [["--port", "70000"], ["--port", "abc"], ["--nonsense"], ["--host", "0.0.0.0"]])
    def test_nonsense_gets_one_line_and_status_two(self, tmp_path: Path, words: list[str]) -> None:
        done = run("serve", *words, DATA_FOLDER=str(tmp_path), DATABASE_URL=f"sqlite:///{tmp_path / 'db'}")
        assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)

    @pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT])
    def test_it_makes_its_database_serves_and_ends_cleanly(self, tmp_path: Path, number: int) -> None:
        data = tmp_path / "data"
        where = f"sqlite:///{data / 'db.sqlite3'}"
        environment = {"DATA_FOLDER": str(data), "DATABASE_URL": where, "LOG_LEVEL": "INFO"}
        with (
            (tmp_path / "log").open("w") as log,
            subprocess.Popen(
                [sys.executable, "manage.py", "serve", "--port", "0"],
                cwd=ROOT, stdout=subprocess.PIPE, stderr=log, text=True, env={**SURROUNDINGS, **environment},
            ) as process,
        ):  # fmt: skip
            assert process.stdout is not None
            address = process.stdout.readline().split()[3]
            with urllib.request.urlopen(f"{address}health/ready/", timeout=20) as answer:
                assert json.load(answer)["ready"] is True
            process.send_signal(number)
            assert process.communicate(timeout=20)[0].strip() == "Stopped."
            assert process.returncode == 0
        log_says = (tmp_path / "log").read_text()
        assert "Traceback" not in log_says
        assert "Nobody can log in yet. Make the first manager's log-in: manage.py staff_add" in log_says
        assert re.search(r"Time-zone data 20\d\d[a-z] \(", log_says)
        assert (data / "db.sqlite3").exists()

    def test_a_clinic_in_a_zone_this_machine_does_not_know_is_said_in_one_line(self, tmp_path: Path) -> None:
        where = {"DATA_FOLDER": str(tmp_path), "DATABASE_URL": f"sqlite:///{tmp_path / 'db'}"}
        assert run("migrate", "--verbosity", "0", **where).returncode == 0
        made = run("shell", "-c", "from clinic.models import Clinic; Clinic(time_zone='Mars/Olympus').save()", **where)
        assert made.returncode == 0, made.stderr
        done = run("serve", "--port", "0", **where)
        assert (done.returncode, done.stdout, done.stderr.count("\n")) == (2, "", 1)
        assert "has no zone called 'Mars/Olympus'" in done.stderr

    def test_a_port_that_is_taken_is_said_in_one_line(self, tmp_path: Path) -> None:
        with socket.create_server(("127.0.0.1", 0)) as taken:
            port = str(taken.getsockname()[1])
            done = run("serve", "--port", port, DATA_FOLDER=str(tmp_path), DATABASE_URL=f"sqlite:///{tmp_path / 'db'}")
        assert (done.returncode, done.stderr.count("\n")) == (2, 1)
        assert "Address already in use" in done.stderr
