"""Loads the invented clinic into an empty database, once, and knows a database that holds it."""

from datetime import datetime, timedelta

from clinic.models import Event, Patient, User
from clinic.services.events import Actor, event_record
from reminders.demo.people import clinic_put, patients_put, staff_put
from reminders.demo.reading import Fixtures
from reminders.demo.story import Cast, happenings
from reminders.rehearsal.clockwork import Clockwork, Course
from reminders.rehearsal.ways import Ways

LOADED = "demo.loaded"
STORY = timedelta(days=13)
TICK = timedelta(minutes=1)


def is_demo() -> bool:
    """Whether this database was made by the demo."""
    return Event.objects.filter(verb=LOADED).exists()


def is_empty() -> bool:
    """Whether nobody works here and nobody was ever entered."""
    return not User.objects.exists() and not Patient.objects.exists()


def demo_load(fixtures: Fixtures, now: datetime) -> None:
    """Fill the empty database and live through the story up to now (aware). Nothing leaves the program.

    Messages of the past are sent to a way out that only writes down; what is due later is left to the ticker.
    """
    begun = (now - STORY).replace(second=0, microsecond=0)
    clinic = clinic_put(fixtures, begun)
    # Marked first: a demo that was stopped half way is still one, and must not be taken for somebody's clinic.
    event_record(actor=Actor(word="demo"), verb=LOADED, subject=clinic, now=begun)
    staff = staff_put(fixtures)
    manager = Actor(user=next(user for user in staff.values() if user.is_manager))
    cast = Cast(clinic, staff, patients_put(fixtures, manager, begun), now)
    Clockwork(Course(begun, now, TICK), Ways()).run(happenings(cast, fixtures.story))
