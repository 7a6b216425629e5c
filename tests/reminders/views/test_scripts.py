"""A script in a name or comment is letters wherever it is shown: mails, the call list, reports, the patient's page."""

from collections.abc import Callable
from datetime import datetime

import pytest
from django.test import Client

from clinic.models import Clinic, User
from reminders.models import CallItem
from reminders.rules.kinds import MessageKind
from reminders.services.rendering import render
from reminders.services.wording import Saying
from taping.models import Application, SkinReport
from tests.factories import MessageFactory

SignedIn = Callable[..., tuple[Client, User]]
SCRIPT = "<script>alert(1)</script>"
LETTERS = "&lt;script&gt;alert(1)&lt;/script&gt;"


@pytest.mark.parametrize("kind", [MessageKind.AFTERCARE, MessageKind.REMOVAL_DAY, MessageKind.SKIN_CHECK])
def test_in_a_mail(tape: Application, clinic: Clinic, now: datetime, kind: MessageKind) -> None:
    tape.patient.call_me = clinic.name = SCRIPT
    row = MessageFactory(kind=kind.value, application=tape, planned_for=now)
    words = render(Saying(row, (), tape.patient, clinic, now), "email")
    assert LETTERS in words.html
    assert "<script" not in words.html.lower()
    assert SCRIPT in words.text  # plain text shows what was typed


def test_from_the_patients_form_to_every_page_of_staff(
    client: Client, signed_in: SignedIn, tape: Application, token: str
) -> None:
    tape.patient.full_name = tape.patient.call_me = SCRIPT
    tape.patient.save()
    client.post(f"/t/{token}/skin/", {"send": "yes", "signs": ["blister"], "words": SCRIPT})
    report, item = SkinReport.objects.get(), CallItem.objects.get()
    staff, _ = signed_in("therapist")
    addresses = ["/", f"/reports/{report.pk}/", f"/patients/{tape.patient_id}/", f"/applications/{tape.pk}/"]
    for address in [*addresses, f"/calls/{item.pk}/", f"/t/{token}/"]:
        page = staff.get(address).content.decode()
        assert LETTERS in page, address
        assert "<script>" not in page, address
