"""The words a therapist grades with, against the publications they come from."""

import pytest

from taping.rules.skin_grades import INJURY_TYPES, PATCH_READINGS, TEAR_TYPES, Grade, grades_from
from taping.rules.toml_data import DataError

ROW = {"key": "k", "group": "g", "words": "w", "source": "s"}


def test_injury_types_against_mcnichol() -> None:
    # NDNQI training page citing McNichol and others 2013.
    groups: dict[str, list[str]] = {}
    for grade in INJURY_TYPES:
        groups.setdefault(grade.group, []).append(grade.key)
    assert groups == {
        "mechanical": ["skin_stripping", "skin_tear", "tension_injury"],
        "dermatitis": ["irritant_dermatitis", "allergic_dermatitis"],
        "other": ["maceration", "folliculitis"],
    }


def test_skin_tears_against_istap() -> None:
    # ISTAP: 1 no loss, the flap covers the bed; 2 partial loss, it cannot; 3 total loss, the bed fully exposed.
    assert [(grade.group, grade.words) for grade in TEAR_TYPES] == [
        ("1", "No skin is lost: the flap covers the whole bed"),
        ("2", "Part of the flap is lost: it cannot cover the whole bed"),
        ("3", "The whole flap is lost: the bed lies open"),
    ]


@pytest.mark.parametrize(
    ("sign", "score", "finding"),
    [
        # Environ Health 2003;2:3, table 1; scores: BioMed Dermatol 2019, table 1.
        ("−", 0.0, "Nothing"),
        ("?+", 0.5, "Faint redness"),
        ("+", 1.0, "firm swelling, perhaps small bumps"),
        ("++", 2.0, "bumps and small blisters"),
        ("+++", 3.0, "blisters that run together"),
        ("IR", None, "Irritation"),
    ],
)
def test_patch_readings_against_icdrg(sign: str, score: float | None, finding: str) -> None:
    (grade,) = [grade for grade in PATCH_READINGS if grade.group == sign]
    assert grade.score == score
    assert finding in grade.words


def test_there_are_six_patch_readings_in_rising_order() -> None:
    assert [grade.key for grade in PATCH_READINGS] == [
        *("negative", "doubtful", "weak", "strong", "extreme", "irritant"),
    ]


def test_a_doubtful_reading_against_the_us_practice_parameter() -> None:
    # US practice parameter 2006: repeat readings at 3, 4 and 7 days after a doubtful one.
    assert PATCH_READINGS[1].next_step == "No tape meanwhile. Read again at 3, 4 and 7 days."


def test_no_reading_permits_tape() -> None:
    assert PATCH_READINGS[0].next_step.startswith("It does not show that tape is safe")
    assert {grade.next_step.split()[0] + grade.next_step.split()[1] for grade in PATCH_READINGS[1:]} <= {
        *("Notape", "Notape."),
    }


@pytest.mark.parametrize("grade", [*INJURY_TYPES, *TEAR_TYPES, *PATCH_READINGS], ids=lambda grade: grade.key)
def test_every_word_has_a_source(grade: Grade) -> None:
    assert len(grade.source) > 10


def test_a_word_without_next_step_and_score_is_read() -> None:
    assert grades_from([ROW]) == (Grade("k", "g", "w", "", "s", None),)


@pytest.mark.parametrize("field", ["key", "group", "words", "source"])
def test_an_entry_without_one_of_its_fields_is_refused(field: str) -> None:
    with pytest.raises(DataError, match=f"needs a text for '{field}'"):
        grades_from([{name: value for name, value in ROW.items() if name != field}])
