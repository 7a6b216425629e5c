"""What keeps skin safe stands on the patient's page and in the mail, whoever takes the tape off."""

from collections.abc import Callable
from datetime import datetime, timedelta
from html import unescape

import pytest
import time_machine
from django.test import Client

from clinic.models import Clinic
from reminders.services.links import link_token, links_keep
from taping.models import SkinReport
from tests.factories import HelperFactory
from tests.reminders.services.test_rendering import message, said

MAILS = ("aftercare", "removal_day", "removal_overdue")
DAYS = {"page": 0, "aftercare": 0, "removal_day": 5, "removal_overdue": 6}
REMOVERS = ("home", "helper", "clinic")
STEPS = (
    "never do it in the bath or shower", "away from flames", "no nut oil, no solvent", "low and slow", "never rip",
)  # fmt: skip
WHO = {
    "home": {
        "page": "take it off at home", "aftercare": "at home", "removal_day": "at home", "removal_overdue": "off today",
    },
    "helper": dict.fromkeys(DAYS, "Flora"),
    "clinic": {
        "page": "do not take it off yourself", "aftercare": "at the clinic", "removal_day": "off here",
        "removal_overdue": "we take it off",
    },
}  # fmt: skip


@pytest.fixture
def words_of(clinic: Clinic, now: datetime, client: Client) -> Callable[..., str]:
    """words_of(where, removal): the page's or the mail's words in one line."""

    def read(where: str, removal: str, signs: tuple[str, ...] = ()) -> str:
        at = now + timedelta(days=DAYS[where])
        row = message("aftercare" if where == "page" else where, now, removal=removal)
        tape = row.application
        assert tape is not None
        if removal == "helper":
            tape.helper = HelperFactory(patient=row.patient, call_me="Flora")
            tape.save()
        if where != "page":
            return " ".join(said(row, clinic, at, "email", signs=signs).text.split())
        links_keep(application=tape, zone=clinic.zone)
        if signs:
            told = {"reported_at": now, "reported_by": "patient", "signs": list(signs), "urgency": "today"}
            SkinReport.objects.create(patient=tape.patient, application=tape, **told)
        with time_machine.travel(at, tick=False):
            return " ".join(unescape(client.get(f"/t/{link_token(tape)}/").content.decode()).split())

    return read


@pytest.mark.django_db
@pytest.mark.parametrize("removal", REMOVERS)
@pytest.mark.parametrize("where", DAYS)
def test_page_and_mail_say_all_that_keeps_skin_safe(words_of: Callable[..., str], where: str, removal: str) -> None:
    text = words_of(where, removal)
    assert WHO[removal][where] in text
    for part in ("throat swell", "adrenaline pen", "cold, blue, pale or numb", "be seen today", "911"):
        assert part in text.lower()
    assert "raw or bleeding skin: no oil and no pulling" in text
    assert "redder, darker or purple compared with the skin around it, warmer, or sore" in text
    has_steps = removal != "clinic" and where != "aftercare"
    assert [step in text.lower() for step in STEPS] == [has_steps] * len(STEPS)


@pytest.mark.django_db
@pytest.mark.parametrize("removal", REMOVERS)
@pytest.mark.parametrize("where", ["removal_day", "removal_overdue"])
def test_the_emergency_stands_before_the_steps(words_of: Callable[..., str], where: str, removal: str) -> None:
    text = words_of(where, removal)
    assert 0 < text.index("911") < text.index("tape off now") < text.index("no oil and no pulling")
    if removal != "clinic":
        assert text.index("tape off now") < text.index("bath or shower")


@pytest.mark.django_db
@pytest.mark.parametrize("removal", REMOVERS)
@pytest.mark.parametrize("where", ["page", "removal_day", "removal_overdue"])
def test_over_skin_reported_sore_nothing_asks_to_take_it_off_as_usual(
    words_of: Callable[..., str], where: str, removal: str
) -> None:
    text = words_of(where, removal, ("blister",)).lower()
    assert "do not pull over the sore place" in text or "over the sore skin: no oil" in text
    assert "take the tape off slowly" not in text
    assert "oil or lotion" not in text
