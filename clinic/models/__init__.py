"""Who works here, who comes, when, and by which rules."""

from clinic.models.backups import Backup
from clinic.models.clinic import Clinic, Closure, OpeningHours
from clinic.models.events import Event, EventDoor, OnceKey
from clinic.models.feeds import CalendarFeed
from clinic.models.imports import ImportLine, ImportPart, PatientImport, RememberedColumns
from clinic.models.people import Helper, Patient, User
from clinic.models.visits import Visit

__all__ = [
    "Backup",
    "CalendarFeed",
    "Clinic",
    "Closure",
    "Event",
    "EventDoor",
    "Helper",
    "ImportLine",
    "ImportPart",
    "OnceKey",
    "OpeningHours",
    "Patient",
    "PatientImport",
    "RememberedColumns",
    "User",
    "Visit",
]
