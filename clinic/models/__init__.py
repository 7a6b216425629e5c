"""Who works here, who comes, when, and by which rules."""

from clinic.models.clinic import Clinic, Closure, OpeningHours
from clinic.models.events import Event, OnceKey
from clinic.models.people import Helper, Patient, User
from clinic.models.visits import Visit

__all__ = ["Clinic", "Closure", "Event", "Helper", "OnceKey", "OpeningHours", "Patient", "User", "Visit"]
