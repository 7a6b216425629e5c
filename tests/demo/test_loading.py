"""What the demo shows: every state, whom to call, and a past that really happened."""

import re
from collections import Counter
from datetime import timedelta

import pytest

from clinic.models import Clinic, Event, Helper, Patient, User, Visit
from clinic.rules.tongue import unread
from clinic.selectors import clinic_get
from reminders.demo.loading import Holds, database_holds, patient_link
from reminders.demo.reading import Fixtures
from reminders.models import CallItem, Message
from reminders.selectors.tapes import tape_rows, with_reaction
from reminders.services.links import link_find
from taping.models import Application, SkinScreen, StripPlan
from tests.demo.conftest import LOADED_AT

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("demo")]


def test_tape_is_in_every_state() -> None:
    rows = tape_rows(with_reaction(Application.objects.all()), now=LOADED_AT, zone=clinic_get().zone)
    states = Counter("reaction" if row.reaction else row.state.value for row in rows)
    assert states == {"setting": 2, "on": 7, "due": 3, "overdue": 2, "reaction": 1, "off": 4}


def test_the_call_list_has_an_item_of_each_common_kind() -> None:
    reasons = Counter(CallItem.objects.filter(closed_at=None).values_list("reason", flat=True))
    assert reasons == {"overdue": 2, "skin_report": 1, "call_back": 1, "unreachable": 1}
    assert {item.words for item in CallItem.objects.filter(reason="call_back")} == {
        "One corner has come up. May I cut it off?"
    }


def test_what_went_went_in_the_past_and_what_will_go_is_ahead() -> None:
    went = Message.objects.filter(state="sent")
    ahead = Message.objects.filter(state="planned")
    assert (went.count() > 30, went.filter(settled_at__gt=LOADED_AT).count(), went.filter(text="").count()) == (
        True,
        0,
        0,
    )
    assert (ahead.count() > 20, ahead.filter(wake_at__lt=LOADED_AT - timedelta(minutes=1)).count()) == (True, 0)
    assert set(Message.objects.values_list("state", flat=True)) == {"sent", "planned", "dropped"}


def test_it_has_some_twenty_patients_and_a_day_of_visits() -> None:
    assert 18 <= Patient.objects.count() <= 25
    today = Visit.objects.filter(starts_at__date=LOADED_AT.date()).order_by("starts_at")
    assert [visit.purpose for visit in today] == ["follow_up", "taping", "other"]
    assert Application.objects.exclude(removal_visit=None).count() == 1


def test_nothing_in_it_belongs_to_a_real_person() -> None:
    """Numbers of the range kept for fiction (555-0100 to 555-0199, NANPA), addresses of example.org (RFC 2606)."""
    people: list[Patient | Helper] = [*Patient.objects.all(), *Helper.objects.all()]
    phones = [one.phone for one in people if one.phone]
    assert [phone for phone in phones if not re.fullmatch(r"\+1\d{3}55501\d\d", phone)] == []
    mails = [one.email for one in people if one.email] + [Clinic.objects.get().duty_address]
    assert [mail for mail in mails if not mail.endswith("@example.org")] == []


def test_everybody_can_log_in_with_what_is_printed(demo: Fixtures) -> None:
    users = {user.username: user for user in User.objects.all()}
    assert {row["username"]: set(row["roles"]) for row in demo.staff} == {
        name: set(user.roles) for name, user in users.items()
    }
    assert [row["username"] for row in demo.staff if not users[row["username"]].check_password(row["password"])] == []
    assert {role for user in users.values() for role in user.roles} == {
        "front_desk",
        "manager",
        "student",
        "therapist",
    }


def test_its_past_was_written_by_the_services() -> None:
    """Each tape has its screen, plan and strips, and every step its event at the time it happened."""
    started = Event.objects.filter(verb="application.started").values_list("subject_id", "at")
    assert dict(started) == {str(tape.pk): tape.saved_at for tape in Application.objects.all()}
    assert StripPlan.objects.filter(application__isnull=False, strips__isnull=False).distinct().count() == 19
    assert set(SkinScreen.objects.values_list("outcome", flat=True)) == {"clear", "clear_with_care", "do_not_tape"}
    assert Event.objects.filter(at__gt=LOADED_AT).count() == 0


def test_a_childs_tape_comes_off_sooner_and_by_a_helper() -> None:
    """The note says three days; the window ends with them, and the helper gets the messages."""
    tape = Application.objects.get(patient__full_name="Kit Sandalow")
    assert ((tape.closes_on - LOADED_AT.date()).days, tape.removal, tape.shortened_why != "") == (2, "helper", True)
    assert tape.helper is not None
    assert (tape.helper.relation, tape.helper.gets_messages) == ("guardian", True)


def test_a_students_tape_waits_for_the_supervisors_signature() -> None:
    tape = Application.objects.get(therapist__username="sela")
    assert tape.supervisor is not None
    assert (tape.supervisor.username, tape.countersigned_at) == ("mira", None)


def test_whoever_did_not_agree_got_nothing() -> None:
    assert Message.objects.filter(patient__consents=False).exclude(state="dropped").count() == 0


def test_a_patients_page_can_be_opened() -> None:
    found = re.fullmatch(r"http://127\.0\.0\.1:8000/t/([\w-]{43})/", patient_link())
    assert found
    link = link_find(token=found[1], purpose="tape", now=LOADED_AT)
    assert link is not None
    assert (link.application.ended_at, link.application.removal) == (None, "home")


def test_it_is_known_again() -> None:
    assert database_holds() is Holds.DEMO


def test_the_languages_that_are_on_were_approved_as_they_are_now() -> None:
    assert (sorted(clinic_get().languages), unread(clinic_get().languages)) == (["ar", "es"], [])
