"""Telephone numbers as people write them. Oracle: E.164 and the numbering plans as the comments say."""

import pytest

from clinic.services.phone_numbers import Phone, UnusablePhone, gets_texts, phone_read, phone_shown

ONE_MOBILE = Phone(number="+447400123456", extension="", gets_texts=True)


@pytest.mark.parametrize(
    "text",
    [
        "07400 123456",
        "00447400123456",
        "+44 (0)7400 123456",
        "０７４００　１２３４５６",  # full width
        "٠٧٤٠٠ ١٢٣٤٥٦",  # Arabic-Indic digits
        "\u202a07400 123456\u202c",  # embedded between direction marks, as pasted from a contact card
        "07400\u2013123456",
        "07400\u00a0123456",
    ],
)
def test_one_number_however_it_is_written(text: str) -> None:
    assert phone_read(text, "GB") == ONE_MOBILE


@pytest.mark.parametrize(
    ("text", "country", "number"),
    [
        ("06 1234 5678", "IT", "+390612345678"),  # Italy keeps its leading zero abroad
        ("+1 212 555 0123", "GB", "+12125550123"),
        ("(212) 555-0123", "US", "+12125550123"),
        ("011 44 7400 123456", "US", "+447400123456"),  # the way to dial abroad from the United States
    ],
)
def test_numbers_of_other_countries_keep_their_digits(text: str, country: str, number: str) -> None:
    assert phone_read(text, country).number == number


@pytest.mark.parametrize("text", ["1-800-FLOWERS", "call mum", "212 555 O123", "+1 212 555 0123 evenings"])
def test_letters_are_refused_and_not_turned_into_digits(text: str) -> None:
    with pytest.raises(UnusablePhone, match="no letters"):
        phone_read(text, "US")


@pytest.mark.parametrize("text", ["5", "123", "+1 212 555 012", "+1 212 555 01234567", "()", "2125550123;", "a\x00b"])
def test_what_is_no_number_is_refused(text: str) -> None:
    with pytest.raises(UnusablePhone):
        phone_read(text, "US")


@pytest.mark.parametrize(("text", "country"), [("555-0123", "US"), ("5550123", "US"), ("7946 0018", "GB")])
def test_a_number_without_its_area_code_is_refused(text: str, country: str) -> None:
    with pytest.raises(UnusablePhone, match="area code"):
        phone_read(text, country)


@pytest.mark.parametrize("text", ["212 555 0123 ext 12", "212 555 0123 x12", "212 555 0123, ext. 12"])
def test_an_extension_is_read_apart_and_gets_no_texts(text: str) -> None:
    assert phone_read(text, "US") == Phone(number="+12125550123", extension="12", gets_texts=False)


@pytest.mark.parametrize(
    ("number", "reached"),
    [
        ("+442079460018", False),  # London, a landline
        ("+447400123456", True),
        ("+12125550123", True),  # North American numbers do not tell mobiles apart
        ("+18005550199", False),  # toll-free
        ("", False),
        ("nonsense", False),
    ],
)
def test_what_cannot_be_a_mobile_is_known(number: str, reached: bool) -> None:
    assert gets_texts(number) is reached


def test_a_stored_number_is_shown_in_groups() -> None:
    assert phone_shown("+12125550123") == "+1 212-555-0123"
    assert phone_shown("not a number") == "not a number"
