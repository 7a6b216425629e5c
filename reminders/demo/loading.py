"""Loads the invented clinic into an empty database, once, and knows a database that holds it."""

from datetime import datetime, timedelta
from enum import Enum, auto

from django.db import connection, transaction
from django.db.migrations.recorder import MigrationRecorder
from django.db.models import Model

from clinic.models import Clinic, Event, Patient, User
from clinic.services.events import Actor, event_record
from reminders.demo.people import clinic_put, patients_put, staff_put
from reminders.demo.reading import Fixtures
from reminders.demo.story import Cast, happenings
from reminders.rehearsal.clockwork import Clockwork, Course
from reminders.rehearsal.ways import Ways
from reminders.services.links import link_address
from taping.models import Application

LOADED = "demo.loaded"
"""The event that marks a database as the demo's."""

STORY = timedelta(days=13)
TICK = timedelta(minutes=1)


class Holds(Enum):
    """NOTHING: no table, or nobody works here and nobody was ever entered."""

    NOTHING = auto()
    DEMO = auto()
    OTHER = auto()


def database_holds() -> Holds:
    """What the database at hand holds. Looks at its tables first and changes nothing: it may be anybody's."""
    tables = set(connection.introspection.table_names())
    ours = set(connection.introspection.django_table_names()) | {MigrationRecorder.Migration._meta.db_table}
    if not tables <= ours:
        return Holds.OTHER
    if Event._meta.db_table in tables and Event.objects.filter(verb=LOADED).exists():
        return Holds.DEMO
    people: tuple[type[Model], ...] = (User, Patient, Clinic)
    entered = (one._default_manager.exists() for one in people if one._meta.db_table in tables)
    return Holds.OTHER if any(entered) else Holds.NOTHING


@transaction.atomic
def demo_load(fixtures: Fixtures, now: datetime) -> None:
    """Fill the empty database and live through the story up to now (aware). Nothing leaves the program.

    Messages of the past are sent to a way out that only writes down; what is due later is left to the ticker.
    Whole or not at all: half a demo would be neither empty nor of any use.
    """
    begun = (now - STORY).replace(second=0, microsecond=0)
    clinic = clinic_put(fixtures, begun)
    event_record(actor=Actor(word="demo"), verb=LOADED, subject=clinic, now=begun)
    staff = staff_put(fixtures)
    manager = Actor(user=next(user for user in staff.values() if user.is_manager))
    cast = Cast(clinic, staff, patients_put(fixtures, manager, begun), now)
    Clockwork(Course(begun, now, TICK), Ways()).run(happenings(cast, fixtures.story))


def patient_link() -> str:
    """The address of the page of a patient whose tape is on the skin, or "" where none is worn any more."""
    worn = Application.objects.filter(ended_at=None, removal=Application.Removal.HOME, links__isnull=False)
    latest = worn.order_by("-applied_at", "-id").first()
    return link_address(latest) if latest else ""
