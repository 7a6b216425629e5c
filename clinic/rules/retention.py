"""How long records are kept."""

from calendar import isleap
from datetime import date

from clinic.rules.ages import ADULT_AT

BOUNDS = {"keep_records_years": (1, 50), "keep_messages_months": (1, 120), "keep_events_years": (1, 50)}
"""Least and greatest of each period; 0 stands for "until somebody decides". Common practice, no source: how long
records must and may be kept is for the law of the place."""

FEBRUARY, LEAP_DAY = 2, 29


def years_later(day: date, years: int) -> date:
    """The same day so many years later (or earlier); for 29 February 1 March in common years."""
    year = day.year + years
    if (day.month, day.day) == (FEBRUARY, LEAP_DAY) and not isleap(year):
        return date(year, 3, 1)
    return day.replace(year=year)


def record_ends(last_contact: date, born: date | None, years: int) -> date:
    """The first day on which a record need not be kept any more: years after the last contact.

    Of somebody who was a minor then, the years begin with the day they come of age. Common practice, no source.
    """
    begins = last_contact if born is None else max(last_contact, years_later(born, ADULT_AT))
    return years_later(begins, years)
