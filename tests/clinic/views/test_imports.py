"""Reading a list of patients in the browser: each step, its errors, and what nobody may take away."""

import re
from collections.abc import Callable

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse

from clinic.models import Patient, PatientImport, User
from clinic.services import imports
from clinic.views import imports as views
from tests.factories.clinic import PatientFactory

SignedIn = Callable[..., tuple[Client, User]]
TEXT = "name,born,phone\nAna Reis,1985-03-04,212 555 0123\nBo Lund,36585,\n"
CHOICES = {"codec": "utf-8", "delimiter": ",", "order": "", "column_name": "0", "column_born": "1", "column_phone": "2"}


def upload(client: Client, text: str | bytes = TEXT, name: str = "list.csv") -> PatientImport:
    data = text.encode() if isinstance(text, str) else text
    answer = client.post(reverse("import_begin"), {"file": SimpleUploadedFile(name, data)})
    assert answer.status_code == 302
    return PatientImport.objects.get()


def step(name: str, of: PatientImport) -> str:
    return reverse(name, args=[of.pk])


def checked(client: Client, text: str | bytes = TEXT) -> PatientImport:
    of = upload(client, text)
    client.post(step("import_choose", of), CHOICES)
    client.post(step("import_check", of))
    of.refresh_from_db()
    assert of.state == "checked"
    return of


def test_from_the_file_to_the_patients(signed_in: SignedIn) -> None:
    client, user = signed_in("desk")
    of = upload(client)
    assert of.by == user
    shown = client.get(step("import_page", of)).content.decode()
    assert "Ana Reis" in shown
    answer = client.post(step("import_choose", of), CHOICES, follow=True)
    assert "0 of 2 lines checked" in answer.content.decode()
    answer = client.post(step("import_check", of), follow=True)
    assert "nothing is written yet" in answer.content.decode()
    assert "Write 1 new and 0 changed" in answer.content.decode()
    assert not Patient.objects.exists()
    answer = client.post(step("import_write", of), follow=True)
    assert "Written: 1 new, 0 changed." in answer.content.decode()
    assert Patient.objects.get().full_name == "Ana Reis"


def test_a_double_tap_writes_once(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    of = checked(client)
    for _ in range(2):
        answer = client.post(step("import_write", of), follow=True)
        assert "Written: 1 new, 0 changed." in answer.content.decode()
    assert Patient.objects.count() == 1


@pytest.mark.parametrize(
    ("data", "words"),
    [
        (b"", "This file is empty."),
        (b"\n\n", "it is empty"),
        (b"x" * 20_000, "longer than any heading"),
        (b"PK\x03\x04", "no CSV"),
    ],
)
def test_a_file_that_cannot_be_used_is_said_at_the_field(signed_in: SignedIn, data: bytes, words: str) -> None:
    client, _ = signed_in("desk")
    answer = client.post(reverse("import_begin"), {"file": SimpleUploadedFile("a.csv", data)})
    assert (answer.status_code, words in answer.content.decode()) == (422, True)


def test_no_file_and_a_file_too_large_are_said(signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch) -> None:
    client, _ = signed_in("desk")
    assert "Choose the file." in client.post(reverse("import_begin")).content.decode()
    monkeypatch.setattr(views, "MOST_BYTES", 10)
    answer = client.post(reverse("import_begin"), {"file": SimpleUploadedFile("a.csv", TEXT.encode())})
    assert (answer.status_code, "larger than" in answer.content.decode()) == (422, True)
    assert not PatientImport.objects.exists()


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"column_name": ""}, "Say which column holds the name"),
        ({"column_name": "9"}, "not one of the available choices"),
        ({"codec": "klingon"}, "not one of the available choices"),
        ({"delimiter": "x"}, "not one of the available choices"),
    ],
)
def test_a_wrong_choice_is_said_and_the_others_are_kept(
    signed_in: SignedIn, change: dict[str, str], words: str
) -> None:
    client, _ = signed_in("desk")
    of = upload(client)
    answer = client.post(step("import_choose", of), {**CHOICES, "order": "mdy", **change})
    assert (answer.status_code, words in answer.content.decode()) == (422, True)
    assert answer.context["form"]["order"].value() == "mdy"


def test_another_separator_finds_the_columns_anew(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    of = upload(client, "name|born,x\nAna Reis|1985-03-04,x\n")
    client.post(step("import_choose", of), {**CHOICES, "delimiter": "|"})
    of.refresh_from_db()
    assert (of.headings, of.mapping) == (["name", "born,x"], {"name": 0})


def test_a_long_check_shows_its_progress_and_goes_on(signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch) -> None:
    client, _ = signed_in("desk")
    monkeypatch.setattr(imports, "CHUNK", 1)
    monkeypatch.setattr(views, "SLICE_S", 1e-9)
    of = upload(client)
    client.post(step("import_choose", of), CHOICES)
    monkeypatch.setattr(views, "monotonic", iter([0.0, 1.0]).__next__)
    answer = client.post(step("import_check", of), headers={"HX-Request": "true"})
    assert (answer.status_code, "1 of 2 lines checked" in answer.content.decode()) == (200, True)
    assert "<html" not in answer.content.decode()
    monkeypatch.undo()
    answer = client.post(step("import_check", of), headers={"HX-Request": "true"})
    assert (answer.status_code, answer.headers["HX-Redirect"]) == (204, step("import_page", of))


def test_a_check_that_goes_on_by_itself_keeps_no_screen_unlocked(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    of = upload(client)
    client.post(step("import_choose", of), CHOICES)
    assert """hx-headers='{"X-Unattended": "1"}'""" in client.get(step("import_page", of)).content.decode()


def test_what_was_left_out_is_a_file(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    of = checked(client)
    answer = client.get(step("import_refused", of))
    assert b"".join(answer).decode() == "\ufeffname,born,phone\r\nBo Lund,36585,\r\n"
    assert answer.headers["Content-Disposition"] == 'attachment; filename="left-out.csv"'
    assert "no-store" in answer.headers["Cache-Control"]


def test_a_line_that_was_left_out_shows_what_its_cells_say(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    of = checked(client, "name,born,phone\nBo Lund,36585,4.474E+11\n")
    page = client.get(step("import_page", of)).content.decode()
    shown = dict(re.findall(r'<td data-name="(\w+)"[^>]*>(?:<bdi[^>]*>)?([^<]*)', page))
    assert (shown["Name"], shown["Born"], shown["Telephone"]) == ("Bo Lund", "36585", "4.474E+11")


def test_the_lines_before_one_that_cannot_be_read_are_shown(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    page = client.get(step("import_page", upload(client, 'name\nAna Reis\n"Bo Lund'))).content.decode()
    assert ("Ana Reis" in page, "Bo Lund" in page) == (True, False)


def test_a_list_can_be_dropped(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    of = checked(client)
    answer = client.post(step("import_drop", of), follow=True)
    assert "are forgotten" in answer.content.decode()
    assert client.get(step("import_page", of)).status_code == 404


def test_columns_of_a_written_list_stay(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    of = checked(client)
    client.post(step("import_write", of))
    assert client.get(step("import_page", of) + "?columns=1").status_code == 404


@pytest.mark.parametrize("lines", [1, 30])
def test_the_page_of_lines_takes_few_queries(
    signed_in: SignedIn, django_assert_max_num_queries: Callable[..., object], lines: int
) -> None:
    client, _ = signed_in("desk")
    of = checked(client, "name,born,phone\n" + "".join(f"Person {n},1985-03-04,\n" for n in range(lines)))
    with django_assert_max_num_queries(8):  # type: ignore[attr-defined]
        assert client.get(step("import_page", of)).status_code == 200


def test_states_and_pages_are_in_the_address(signed_in: SignedIn) -> None:
    client, _ = signed_in("desk")
    of = checked(client, "name,born,phone\n" + "".join(f"Person {n},1985-03-04,\n" for n in range(60)) + "B,1,\n")
    page = client.get(step("import_page", of)).context
    assert (page["state"], len(page["rows"])) == ("refused", 1)
    page = client.get(step("import_page", of) + "?state=new&page=2").context
    assert (page["rows"][0]["line"], len(page["rows"]), page["more"]) == (52, 10, False)
    assert client.get(step("import_page", of) + "?state=new&page=99999999999").status_code == 200


def test_only_a_manager_takes_the_whole_list_away(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    PatientFactory(full_name="Ana Reis")
    answer = client.post(reverse("patients_export"))
    assert "Ana Reis" in b"".join(answer).decode()
    assert "Download every patient" in client.get(reverse("patients")).content.decode()
    client, _ = signed_in("desk")
    assert client.post(reverse("patients_export")).status_code == 403
    assert "Download every patient" not in client.get(reverse("patients")).content.decode()


def test_ten_and_a_hundred_people_leave_in_as_many_queries(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")

    def taken() -> tuple[int, int]:
        with CaptureQueriesContext(connection) as queries:
            lines = b"".join(client.post(reverse("patients_export"))).decode().splitlines()
        return len(lines), len(queries)

    PatientFactory.create_batch(10)
    few = taken()
    PatientFactory.create_batch(90)
    assert [few, taken()] == [(11, few[1]), (101, few[1])]


def test_a_long_list_says_how_long_others_will_wait(signed_in: SignedIn, monkeypatch: pytest.MonkeyPatch) -> None:
    """On SQLite alone: PostgreSQL lets everybody else save meanwhile."""
    client, _ = signed_in("desk")
    of = checked(client)
    waits = "nobody else can save anything meanwhile"
    assert waits not in client.get(step("import_page", of)).content.decode()
    PatientImport.objects.update(counts={**of.counts, "new": 50_000, "changed": 10_000})
    long = client.get(step("import_page", of)).content.decode()
    if connection.vendor == "sqlite":
        assert "about 3 seconds" in long
        assert waits in long
    else:
        assert waits not in long
    client.post(step("import_write", of))
    assert waits not in client.get(step("import_page", of)).content.decode()
