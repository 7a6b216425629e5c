"""manage.py import_patients and export_patients, as somebody types them."""

import json
from pathlib import Path

import pytest
from django.core.management import CommandError, call_command

from clinic.models import Clinic, Patient, PatientImport

pytestmark = pytest.mark.django_db
TEXT = (
    "name,born,phone,email,external_id,note\nAna Reis,1985-03-04,212 555 0123,ana@example.org,7,\nBo Lund,36585,,,8,\n"
)


@pytest.fixture
def file(tmp_path: Path, clinic: Clinic) -> Path:
    path = tmp_path / "list.csv"
    path.write_text(TEXT)
    return path


def lines(capsys: pytest.CaptureFixture[str]) -> list[dict[str, object]]:
    return [json.loads(line) for line in capsys.readouterr().out.splitlines()]


def test_a_dry_run_tells_every_line_and_writes_nothing(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as ended:
        call_command("import_patients", str(file), "--dry-run", "--json")
    ana, bo, total = lines(capsys)
    assert ended.value.code == 1
    assert ana == {
        "line": 2,
        "state": "new",
        "reason": "",
        "patient": {
            "name": "Ana Reis",
            "born": "1985-03-04",
            "phone": "+12125550123",
            "email": "ana@example.org",
            "external_id": "7",
        },
    }
    assert (bo["line"], bo["state"], bo["patient"]) == (
        3,
        "refused",
        {"name": "Bo Lund", "born": "36585", "phone": "", "email": "", "external_id": "8"},
    )
    assert total == {"total": {"new": 1, "same": 0, "changed": 0, "doubtful": 0, "refused": 1}}
    assert not Patient.objects.exists()
    assert not PatientImport.objects.exists()


def test_it_writes_and_says_so(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file.write_text(TEXT.replace("36585", "1990-01-02"))
    call_command("import_patients", str(file))
    assert capsys.readouterr().out == "2 new, 0 same, 0 changed, 0 doubtful, 0 refused. Written.\n"
    assert Patient.objects.count() == 2


def test_columns_encoding_separator_and_order_can_be_said(file: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file.write_bytes("wer|wann\nZo\u00eb|03/04/1985\n".encode("cp1252"))
    choices = ("--encoding", "cp1252", "--dates", "mdy", "--column", "name=wer", "--column", "born=wann")
    call_command("import_patients", str(file), *choices)
    patient = Patient.objects.get()
    assert (patient.full_name, str(patient.born)) == ("Zoë", "1985-03-04")


@pytest.mark.parametrize(
    "arguments",
    [
        ("nowhere.csv",),
        ("{file}", "--dates", "ydm"),
        ("{file}", "--delimiter", "dot"),
        ("{file}", "--encoding", "klingon"),
        ("{file}", "--column", "shoe=name"),
        ("{file}", "--column", "born=when"),
        (),
    ],
)
def test_nonsense_is_one_line_and_status_2(file: Path, arguments: tuple[str, ...]) -> None:
    with pytest.raises(CommandError) as refused:
        call_command("import_patients", *(word.format(file=file) for word in arguments))
    assert refused.value.returncode == 2
    assert "\n" not in str(refused.value)
    assert not PatientImport.objects.exists()


def test_a_list_without_names_says_what_is_missing(file: Path) -> None:
    file.write_text("born\n1985-03-04\n")
    with pytest.raises(CommandError, match="which column holds the name"):
        call_command("import_patients", str(file))


def test_what_is_exported_is_imported_again(file: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file.write_text(TEXT.replace("36585", "1990-01-02"))
    call_command("import_patients", str(file))
    out = tmp_path / "out.csv"
    call_command("export_patients", str(out))
    assert out.stat().st_mode & 0o777 == 0o600
    capsys.readouterr()
    call_command("import_patients", str(out), "--json")
    assert [line.get("state") for line in lines(capsys)] == ["same", "same", None]
    with pytest.raises(CommandError, match="exists already"):
        call_command("export_patients", str(out))
