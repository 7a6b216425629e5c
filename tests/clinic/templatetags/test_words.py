"""Times, dates and numbers in the words of the pages."""

from datetime import UTC, date, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
import time_machine
from django import forms
from django.utils import timezone

from clinic.templatetags.words import (
    birth,
    clock,
    control_class,
    date_words,
    day,
    first_control,
    is_tick,
    minutes,
    moment,
    once_field,
    percent,
    telephone,
)
from tests.factories.clinic import NOW

NEW_YORK = ZoneInfo("America/New_York")


class Sample(forms.Form):
    line = forms.CharField()
    tick = forms.BooleanField()
    pick = forms.ChoiceField(choices=[("a", "A")])
    radio = forms.ChoiceField(choices=[("a", "A"), ("b", "B")], widget=forms.RadioSelect)


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (datetime(2027, 3, 10, 15, 47, tzinfo=UTC), "today 10:47"),
        (datetime(2027, 3, 11, 3, 30, tzinfo=UTC), "today 22:30"),  # still today in New York
        (datetime(2027, 3, 11, 13, 0, tzinfo=UTC), "tomorrow 08:00"),
        (datetime(2027, 3, 9, 15, 0, tzinfo=UTC), "yesterday 10:00"),
        (datetime(2027, 3, 15, 14, 0, tzinfo=UTC), "Mon 15 Mar 10:00"),  # after the clocks went forward
        (datetime(2028, 1, 15, 15, 0, tzinfo=UTC), "Sat 15 Jan 2028 10:00"),
        (None, ""),
    ],
)
def test_a_moment_is_said_in_the_clinics_words(value: datetime | None, words: str) -> None:
    with time_machine.travel(NOW, tick=False), timezone.override(NEW_YORK):
        assert moment(value) == words


def test_a_day_and_a_clock_time() -> None:
    with time_machine.travel(NOW, tick=False), timezone.override(NEW_YORK):
        assert day(date(2027, 3, 11)) == "tomorrow"
        assert day(datetime(2027, 3, 11, 3, 30, tzinfo=UTC)) == "today"
        assert clock(NOW) == "10:00"


def test_a_birth_date_has_its_month_in_words_and_the_age() -> None:
    assert birth(date(1985, 4, 3), date(2027, 3, 10)) == "3 April 1985, 41 years old"
    assert birth(date(2008, 2, 29), date(2026, 2, 28)) == "29 February 2008, 17 years old"
    assert birth(date(2008, 2, 29), date(2026, 3, 1)) == "29 February 2008, 18 years old"
    assert birth(None, date(2027, 3, 10)) == date_words(None) == ""


@pytest.mark.parametrize(("seconds", "whole"), [(0, 0), (1, 1), (60, 1), (61, 2), (900, 15)])
def test_minutes_are_rounded_up(seconds: int, whole: int) -> None:
    assert minutes(timedelta(seconds=seconds)) == whole


def test_numbers_for_people() -> None:
    assert (percent(0.256), percent(None)) == ("26 %", "")
    assert (telephone("+12125550123"), telephone("")) == ("+1 212-555-0123", "")


def test_a_summary_links_to_the_first_control() -> None:
    form = Sample()
    assert [first_control(form[name]) for name in ("line", "radio")] == ["id_line", "id_radio_0"]
    assert 'id="id_radio_0"' in str(form["radio"])


def test_controls_get_their_style() -> None:
    form = Sample()
    styles = [control_class(form[name]) for name in ("line", "tick", "pick")]
    assert styles == ["form-control", "form-check-input", "form-select"]
    assert [is_tick(form[name]) for name in ("line", "tick", "radio")] == [False, True, False]


def test_every_form_has_a_key_of_its_own() -> None:
    assert once_field() != once_field()
