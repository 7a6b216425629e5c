"""Reading the data files beside the rules, and the steps in them."""

import pytest

from taping.rules.steps import Step, steps_from
from taping.rules.toml_data import DataError, load_table, text_of


def test_a_data_file_is_found_by_its_name() -> None:
    assert set(load_table("policy")) == {"number"}


def test_a_data_file_that_is_missing_is_not_taken_for_an_empty_one() -> None:
    with pytest.raises(FileNotFoundError):
        load_table("missing")


def test_line_breaks_of_typing_are_not_part_of_a_text() -> None:
    assert text_of({"text": " one\n   two "}, "text") == "one two"


@pytest.mark.parametrize("value", ["", "  ", None, 3])
def test_a_missing_or_empty_text_is_refused_by_entry_and_field(value: object) -> None:
    with pytest.raises(DataError, match="entry 'k' needs a text for 'words'"):
        text_of({"key": "k", "words": value}, "words")


def test_a_text_with_a_default_may_be_missing_or_empty_but_not_a_number() -> None:
    assert text_of({}, "who", default="") == ""
    assert text_of({"who": ""}, "who", default="nobody") == ""
    with pytest.raises(DataError, match="needs a text for 'who'"):
        text_of({"who": 3}, "who", default="")


def test_steps_keep_their_order_and_may_lack_a_picture() -> None:
    rows = [{"key": "b", "text": "Sit.", "source": "s"}, {"key": "a", "text": "Go.", "picture": "p", "source": "s"}]
    assert steps_from(rows) == (Step("b", "Sit.", "", "s"), Step("a", "Go.", "p", "s"))


@pytest.mark.parametrize("field", ["key", "text", "source"])
def test_a_step_without_one_of_its_fields_is_refused(field: str) -> None:
    row = {"key": "k", "text": "t", "source": "s"}
    with pytest.raises(DataError, match=f"needs a text for '{field}'"):
        steps_from([{name: value for name, value in row.items() if name != field}])
