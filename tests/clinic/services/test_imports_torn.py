"""A stray quotation mark joins lines of several people: whatever column it stands in, nobody gets what is another's."""

from collections.abc import Callable

import pytest

from clinic.models import PatientImport

pytestmark = pytest.mark.django_db
HEAD = "name,born,phone,email,external_id,note\n"


@pytest.mark.parametrize("between", [0, 1, 3])
@pytest.mark.parametrize(("width", "place"), [(width, place) for width in range(2, 7) for place in range(width)])
@pytest.mark.parametrize("closing", ['"ok"', 'ok"', '"'])
def test_a_stray_mark_in_any_column_gives_nobody_what_is_another_s(
    checked: Callable[..., PatientImport], between: int, place: int, width: int, closing: str
) -> None:
    heads = ["name", "note", "born", "email", "phone", "id"][:width]

    def line(number: int, cell: str = "") -> str:
        cells = [f"Person {number}", "x", "1985-03-04", f"p{number}@example.org", f"212 555 010{number}", f"{number}"]
        return ",".join(cell if cell and at == place else one for at, one in enumerate(cells[:width]))

    lines = [
        ",".join(heads),
        line(1),
        line(2, '"see'),
        *(line(3 + n) for n in range(between)),
        line(7, closing),
        line(8),
    ]
    of = checked("\n".join(lines) + "\n")
    kept = [row.values.get("full_name") for row in of.judged.filter(state="new")]
    assert kept == ["Person 1", "Person 8"]
    assert of.judged.get(line=3).state in {"doubtful", "refused"}


@pytest.mark.parametrize(
    ("heading", "lines"),
    [
        (
            "name,note,phone,email",
            'Ana R,"tall,2125550111,a@example.org,\nBo L,x 10",2125550122,b@example.org,\n',
        ),
        (
            "name,note,phone,email",
            'Ana R,"tall,2125550111,a@example.org\n\nBo L,x 10",2125550122,b@example.org\n',
        ),
        (
            "name,note,phone,email",
            '"Reis, Ana","tall,2125550111,a@example.org\nBo L,x 10",2125550122,b@example.org\n',
        ),
        ("name,note,phone,email", 'Ana R,"tall,2125550111\nBo L,x 10",2125550122,b@example.org\n'),
        ("name,note,phone,email", 'Ana Reis,"tall,2125550111,a@example.org\nBo Lund,x 10",2125550122\n'),
        ("name,phone", '"Ana Reis,2125550111\n\nBo Lund",2125550122\n'),
        ("name,note,phone", 'Ana Reis,"tall,2125550111\n\nBo Lund,x 10",2125550122\n'),
    ],
)
def test_a_mark_that_an_inch_sign_closes_gives_nobody_another_s_number(
    checked: Callable[..., PatientImport], heading: str, lines: str
) -> None:
    """Lines of unequal length, blank ones between them and quoted commas before the mark hide what was swallowed."""
    of = checked(f"{heading}\n{lines}")
    assert of.judged.filter(state="new").count() == 0
    assert {row.state for row in of.judged.all()} <= {"doubtful", "refused"}


def test_notes_of_several_lines_with_marks_and_commas_are_read(checked: Callable[..., PatientImport]) -> None:
    notes = ['one "two"\nthree, four', "one\n\ntwo; three", 'a, b, c\n"quoted"\nend']
    rows = "".join(f"Person {n},1985-03-04,,,{n},{quoted(note)}\n" for n, note in enumerate(notes))
    of = checked(HEAD + rows)
    assert [(row.state, row.values["note"]) for row in of.judged.all()] == [("new", note) for note in notes]


def quoted(cell: str) -> str:
    return '"' + cell.replace('"', '""') + '"'
