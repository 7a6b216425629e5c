"""Reads patients, applications and visits of a scenario."""

import re
from collections.abc import Callable
from zoneinfo import ZoneInfo

from clinic.rules.text import UnusableTextError, normalise_line, normalise_name
from reminders.rehearsal.parts import Part
from reminders.rehearsal.scenario import USUAL_MINUTES, ApplicationPart, PatientPart, VisitPart
from reminders.rules.facts import Removal
from taping.rules.places import REGIONS

CHANNELS = ("sms", "email")
SIDES = ("left", "right", "midline")
REMOVALS = tuple(removal.value for removal in Removal)
LONGEST_VISIT = 8 * 60
VISIT_KEYS = ("ref", "patient", "application", "starts_at", "minutes")
_PATIENT_KEYS = ("ref", "name", "call_me", "phone", "email", "prefers", "consents", "time_zone")
_APPLICATION_KEYS = ("ref", "patient", "region", "side", "applied_at", "removal", "caution")
_PHONE = re.compile(r"\+[1-9]\d{6,14}", re.ASCII)  # E.164: at most 15 digits
_EMAIL = re.compile(r"[^@\s]+@[^@\s]+\.[^@\s.]+")


def read_patient(value: object, path: str) -> PatientPart:
    part = Part(value, path, _PATIENT_KEYS)
    phone, email = part.text("phone", "", null=True), part.text("email", "", most=254, null=True)
    if phone and not _PHONE.fullmatch(phone):
        raise part.refuse("phone", "must be an international number such as +12125550123, or empty")
    if email and not _EMAIL.fullmatch(email):
        raise part.refuse("email", "must be an address such as ada@example.org, or empty")
    zone = part.text("time_zone", "", null=True)
    return PatientPart(
        ref=read_ref(part),
        name=_line(part, "name", normalise_name),
        call_me=_line(part, "call_me", lambda text, *, longest: normalise_line(text, longest=80), ""),
        phone=phone,
        email=email,
        prefers=part.choice("prefers", CHANNELS, "sms"),
        consents=part.truth("consents", True),
        time_zone=part.zone("time_zone", zone).key if zone else "",
    )


def read_application(value: object, path: str, zone: ZoneInfo) -> ApplicationPart:
    """zone: the clinic's, for times without an offset."""
    part = Part(value, path, _APPLICATION_KEYS)
    region, side = read_place(part)
    return ApplicationPart(
        ref=read_ref(part),
        patient=part.text("patient"),
        region=region,
        side=side,
        applied_at=part.moment("applied_at", zone),
        removal=part.choice("removal", REMOVALS, "home"),
        caution=part.truth("caution", False),
    )


def read_visit(value: object, path: str, zone: ZoneInfo) -> VisitPart:
    return visit_of(Part(value, path, VISIT_KEYS), zone)


def visit_of(part: Part, zone: ZoneInfo) -> VisitPart:
    """The visit whose keys stand in part, beside others perhaps. zone: the clinic's."""
    return VisitPart(
        ref=read_ref(part),
        patient=part.text("patient"),
        application=part.text("application", "", null=True) or None,
        starts_at=part.moment("starts_at", zone),
        minutes=part.number("minutes", USUAL_MINUTES, 5, LONGEST_VISIT),
    )


def read_ref(part: Part) -> str:
    ref = part.text("ref", most=80)
    if not ref.strip():
        raise part.refuse("ref", "is empty; give it a name of its own")
    return ref


def read_place(part: Part) -> tuple[str, str]:
    """Region and side; without a side, the first that the region has."""
    region = part.choice("region", tuple(REGIONS))
    sides = [side.value for side in REGIONS[region].sides]
    return region, part.choice("side", sides, sides[0])


def _line(part: Part, key: str, normalise: Callable[..., str], *default: str) -> str:
    text = part.text(key, *default)
    try:
        return normalise(text, longest=200)
    except UnusableTextError as unusable:
        raise part.refuse(key, str(unusable)) from unusable
