"""Holidays suggested, days away, and what is booked on them."""

from datetime import date, timedelta

import pytest
from dateutil.easter import easter

from clinic.models import Clinic, Closure
from clinic.selectors.openings import absences, holidays_ahead, regions_of, visits_on
from tests.factories.clinic import NOW, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db
TODAY = date(2027, 3, 10)


def test_the_holidays_of_a_year_against_the_united_states_code() -> None:
    """5 U.S.C. 6103(a), as read for 2027-03-10 to 2028-03-08; days observed instead are marked so by the package."""
    found = {one.day: one.name for one in holidays_ahead("US", "", TODAY)}
    law = [
        date(2027, 5, 31),  # last Monday in May
        date(2027, 6, 19),
        date(2027, 7, 4),
        date(2027, 9, 6),  # first Monday in September
        date(2027, 10, 11),  # second Monday in October
        date(2027, 11, 11),
        date(2027, 11, 25),  # fourth Thursday in November
        date(2027, 12, 25),
        date(2028, 1, 1),
        date(2028, 1, 17),  # third Monday in January
        date(2028, 2, 21),  # third Monday in February
    ]
    assert [day for day in sorted(found) if "observed" not in found[day]] == law


def test_good_friday_in_germany_against_the_computed_easter() -> None:
    """dateutil.easter (Gregorian) gives Easter; Good Friday and Easter Monday lie two days before and one after."""
    days = {one.day for one in holidays_ahead("DE", "", TODAY)}
    assert {easter(2027) - timedelta(days=2), easter(2027) + timedelta(days=1)} <= days


@pytest.mark.parametrize(
    ("region", "own"),
    [
        ("ENG", ["2027-03-29", "2027-08-30"]),
        ("WLS", ["2027-03-29", "2027-08-30"]),
        ("SCT", ["2027-01-04", "2027-08-02", "2027-11-30"]),
        ("NIR", ["2027-03-17", "2027-03-29", "2027-07-12", "2027-08-30"]),
        ("", []),
        ("CA", []),
    ],
)
def test_bank_holidays_of_2027_in_each_part_of_the_united_kingdom(region: str, own: list[str]) -> None:
    """www.gov.uk/bank-holidays, from memory: the days on which work stops; the package lists weekends besides."""
    everywhere = ["2027-01-01", "2027-03-26", "2027-05-03", "2027-05-31", "2027-12-27", "2027-12-28"]
    found = [one.day for one in holidays_ahead("GB", region, date(2026, 12, 31)) if one.day.weekday() < 5]
    assert [day.isoformat() for day in found] == sorted(everywhere + own)


def test_the_parts_of_a_country_are_called_by_their_names() -> None:
    england, *others = regions_of("GB")
    assert (england, len(others)) == (("ENG", "England"), 3)
    assert dict(regions_of("CA"))["BC"] == "British Columbia"
    assert dict(regions_of("FR"))["971"] == "Guadeloupe"
    assert regions_of("ZZ") == []


def test_days_marked_already_are_not_suggested_and_an_unknown_country_has_none() -> None:
    Closure.objects.create(day=date(2027, 12, 25), therapist=None)
    assert date(2027, 12, 25) not in {one.day for one in holidays_ahead("US", "", TODAY)}
    assert holidays_ahead("ZZ", "", TODAY) == []


def test_a_day_away_is_the_therapist_s_own(clinic: Clinic) -> None:
    one, other = UserFactory(), UserFactory()
    Closure.objects.create(day=TODAY, therapist=one, reason="Course")
    Closure.objects.create(day=TODAY - timedelta(days=1), therapist=one)
    Closure.objects.create(day=TODAY, therapist=None)
    assert [row.reason for row in absences(one, TODAY)] == ["Course"]
    assert list(absences(other, TODAY)) == []


def test_visits_booked_while_somebody_is_away_are_found(clinic: Clinic) -> None:
    visit = VisitFactory(starts_at=NOW + timedelta(days=1), ends_at=NOW + timedelta(days=1, minutes=30))
    cancelled = NOW + timedelta(days=1, hours=2)
    VisitFactory(
        therapist=visit.therapist, starts_at=cancelled, ends_at=cancelled + timedelta(minutes=30), state="cancelled"
    )
    day = TODAY + timedelta(days=1)
    assert visits_on(visit.therapist, {day, day + timedelta(days=20)}, clinic.zone) == [visit]
    assert visits_on(visit.therapist, {day + timedelta(days=1)}, clinic.zone) == []
    assert visits_on(UserFactory(), {day}, clinic.zone) == []
    assert visits_on(visit.therapist, set(), clinic.zone) == []
