"""The texts as staff can read them beforehand, and what each costs."""

from datetime import datetime

import pytest
from pytest_django import Settings

from clinic.models import Clinic, Patient
from reminders.models import Message
from reminders.rules.kinds import MessageKind
from reminders.services.preview import text_previews
from taping.models import Application

pytestmark = pytest.mark.django_db


def test_every_kind_for_patients_is_shown_within_its_segments(clinic: Clinic, now: datetime) -> None:
    shown = text_previews(clinic=clinic, now=now)
    assert [one.kind for one in shown] == [kind.value for kind in MessageKind if not kind.is_for_staff]
    assert {(one.cost.encoding, one.cost.count in (1, 2), bool(one.text)) for one in shown} == {("GSM-7", True, True)}


def test_the_cost_is_that_of_the_whole_text_with_its_link(clinic: Clinic, now: datetime) -> None:
    aftercare = text_previews(clinic=clinic, now=now)[0]
    assert aftercare.text.count("[link]") == 1
    assert aftercare.cost.units > len(aftercare.text) + 40


def test_a_clinic_whose_name_needs_wide_letters_sees_what_that_costs(clinic: Clinic, now: datetime) -> None:
    clinic.name = "Clínica Ñandú ✚"
    costs = {one.cost.encoding for one in text_previews(clinic=clinic, now=now) if one.text}
    assert costs == {"UCS-2"}


def test_a_text_that_cannot_be_made_short_enough_is_said(clinic: Clinic, now: datetime) -> None:
    clinic.name, clinic.telephone = "漢" * 40, "+1 212 555 0100 " * 5
    assert any(not one.text for one in text_previews(clinic=clinic, now=now))


def test_nothing_is_stored(clinic: Clinic, now: datetime) -> None:
    text_previews(clinic=clinic, now=now)
    assert (Message.objects.count(), Patient.objects.count(), Application.objects.count()) == (0, 0, 0)


@pytest.mark.parametrize(("sender", "keyword"), [("", True), ("+12125550100", True), ("TAPECLINIC", False)])
def test_a_name_that_cannot_be_answered_gets_a_link_instead_of_a_keyword(
    clinic: Clinic, now: datetime, settings: Settings, sender: str, keyword: bool
) -> None:
    settings.SMS_SENDER = sender
    texts = {one.kind: one.text for one in text_previews(clinic=clinic, now=now)}
    assert any("STOP" in text or "START" in text for text in texts.values()) is keyword
    assert ("[link]" in texts["visit_booked"]) is not keyword
    assert ("(there you can stop them)" in texts["aftercare"]) is not keyword
