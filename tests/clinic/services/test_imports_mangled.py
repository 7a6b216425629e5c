"""What a spreadsheet did to a list before it came here: numbers shown by their power of ten, cells over two lines."""

from collections.abc import Callable
from datetime import datetime

import pytest

from clinic.models import Clinic, Patient, PatientImport
from clinic.services.events import Actor
from clinic.services.import_writing import import_write

pytestmark = pytest.mark.django_db
ACTOR = Actor(word="test")
HEAD = "name,born,phone,email,external_id,note\n"


def states(of: PatientImport) -> list[tuple[int, str]]:
    return list(of.judged.values_list("line", "state"))


def written(of: PatientImport, now: datetime) -> PatientImport:
    return import_write(actor=ACTOR, now=now, of=of)


@pytest.mark.parametrize(
    ("country", "phone", "state", "words"),
    [
        ("GB", "7400123456", "new", ""),
        ("GB", "447400123456", "new", ""),
        ("GB", "447400000000", "doubtful", "may have been rounded"),
        ("GB", "+447400000000", "doubtful", "may have been rounded"),
        ("GB", "440000000000", "doubtful", "may have been rounded"),
        ("GB", "7400000000", "doubtful", "may have been rounded"),
        ("GB", "7400120000", "doubtful", "may have been rounded"),
        ("GB", "4.474E+11", "refused", "rounded by a spreadsheet"),
        ("GB", "7.40012E+09", "refused", "rounded by a spreadsheet"),
        ("US", "12125600000", "doubtful", "may have been rounded"),
        ("US", "212-555-0100", "new", ""),
        ("DE", "447400000000", "doubtful", "may have been rounded"),
        ("DE", "15112345678.0", "refused", "has decimals"),
    ],
)
def test_what_a_spreadsheet_does_to_a_number_makes_it_nobody_s(
    checked: Callable[..., PatientImport],
    clinic: Clinic,
    now: datetime,
    country: str,
    phone: str,
    state: str,
    words: str,
) -> None:
    """Six digits shown by their power of ten, as spreadsheets do from twelve digits on: from memory."""
    Clinic.objects.update(country=country)
    of = checked(HEAD + f"Ana Reis,,{phone},,,\n")
    assert (of.judged.get(line=2).state, words in of.judged.get(line=2).reason) == (state, True)
    written(of, now)
    right = {"212-555-0100": "+12125550100"}.get(phone, "+447400123456")
    assert list(Patient.objects.values_list("phone", flat=True)) == ([right] if state == "new" else [])


def test_a_quoted_cell_over_two_lines_is_one_line_of_the_list(
    checked: Callable[..., PatientImport], now: datetime
) -> None:
    """RFC 4180, section 2, 6: a quoted field may hold a line break. A note keeps it, a name has none."""
    head = HEAD.replace("\n", "\r\n")
    of = written(checked(head + '"Ana\r\nReis",,,,,\r\nBo Lund,,,,,"likes\r\ncats"\r\n'), now)
    assert states(of) == [(2, "refused"), (4, "new")]
    assert of.judged.get(line=2).reason == "Name: the character U+000D cannot be kept in a single line: remove it."
    assert list(Patient.objects.values_list("full_name", "note")) == [("Bo Lund", "likes\ncats")]
