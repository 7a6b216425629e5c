"""Whether a line is about somebody known: sure, not at all, or a person has to decide."""

from datetime import date
from typing import Any

import pytest

from clinic.rules.import_match import Known, LineState, match

BORN, OTHER = date(1985, 4, 3), date(1990, 1, 2)


def known(**values: Any) -> Known:
    stored = {
        "full_name": "Ada Quill",
        "born": BORN,
        "phone": "",
        "email": "",
        "external_id": None,
        "note": "",
        "call_me": "",
    }
    return Known(id=7, values=stored | values)


@pytest.mark.parametrize(
    ("line", "by_name", "state"),
    [
        ({"born": BORN}, [], "new"),
        ({"born": OTHER}, [known()], "new"),
        ({"born": BORN}, [known()], "same"),
        ({"born": BORN, "external_id": "9"}, [known()], "changed"),
        ({"born": BORN, "external_id": "9"}, [known(external_id="8")], "doubtful"),
        ({"born": BORN}, [known(), known()], "doubtful"),
        ({"born": BORN}, [known(born=None)], "doubtful"),
        ({}, [known()], "doubtful"),
        ({}, [known(born=None)], "same"),
        ({"phone": "+12125550123"}, [known(born=None)], "doubtful"),
        ({}, [known(born=None), known(born=None)], "doubtful"),
        ({"born": BORN}, [known(born=None), known()], "same"),
    ],
)
def test_by_name_and_birth_date(line: dict[str, Any], by_name: list[Known], state: str) -> None:
    assert match({"full_name": "Ada Quill", **line}, by_number=None, by_name=by_name).state == state


@pytest.mark.parametrize(
    ("line", "stored", "state"),
    [
        ({"full_name": "Ada Quill", "born": BORN}, known(external_id="9"), "same"),
        ({"full_name": "Ada Quill-Reis", "born": BORN}, known(external_id="9"), "changed"),
        ({"full_name": "Ada Quill"}, known(external_id="9"), "same"),
        ({"full_name": "Ada Quill", "born": BORN}, known(external_id="9", born=None), "changed"),
        ({"full_name": "Ada Quill", "born": OTHER}, known(external_id="9"), "doubtful"),
        ({"full_name": "Bo Lund", "born": OTHER}, known(external_id="9"), "doubtful"),
        ({"full_name": "Bo Lund"}, known(external_id="9"), "doubtful"),
    ],
)
def test_by_the_number_of_the_other_system(line: dict[str, Any], stored: Known, state: str) -> None:
    assert match({"external_id": "9", **line}, by_number=stored, by_name=[]).state == state


def test_what_changes_is_named_and_an_empty_cell_changes_nothing() -> None:
    found = match(
        {"full_name": "Ada Quill", "born": BORN, "phone": "+12125550199"},
        by_number=None,
        by_name=[known(phone="+12125550123", note="likes cats")],
    )
    assert (found.state, found.changes, found.id) == (LineState.CHANGED, ("phone",), 7)
    assert found.reason == "Changes: telephone."


def test_every_state_but_the_plain_ones_has_a_reason() -> None:
    assert match({"full_name": "Ada Quill"}, by_number=None, by_name=[known()]).reason
    assert match({"full_name": "Ada Quill"}, by_number=None, by_name=[]).reason == ""
