"""Screening in the browser: the place, the questions, the verdict while answering, and what is recorded."""

import re
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Event, Patient, User
from taping.forms.screens import ScreenForm
from taping.models import SkinReport, SkinScreen
from taping.rules.skin import QUESTIONS
from tests.factories import ApplicationFactory, PatientFactory, ScreenFactory, UserFactory, VisitFactory
from tests.taping.screening import answers

SignedIn = Callable[..., tuple[Client, User]]
KNEE = "?region=knee&side=left"


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def patient(db: None) -> Patient:
    made: Patient = PatientFactory(full_name="Ada Quill")
    return made


@pytest.fixture
def therapist(signed_in: SignedIn) -> Client:
    return signed_in()[0]


def post(client: Client, patient: Patient, query: str = KNEE, **given: str) -> Any:
    return client.post(f"/patients/{patient.pk}/screen/{query}", {**answers(), **given})


@pytest.mark.parametrize("role", ["desk", "manager"])
@pytest.mark.parametrize("address", ["/patients/{patient}/screen/", "/screens/{screen}/"])
def test_only_who_tapes_may_open_it(signed_in: SignedIn, patient: Patient, role: str, address: str) -> None:
    screen = ScreenFactory(patient=patient, note="very private words")
    client, _ = signed_in(role)
    response = client.get(address.format(patient=patient.pk, screen=screen.pk))
    assert response.status_code == 403
    assert b"very private words" not in response.content


@pytest.mark.parametrize("role", ["desk", "manager"])
def test_only_who_tapes_may_post(signed_in: SignedIn, patient: Patient, role: str) -> None:
    client, _ = signed_in(role)
    screen = ScreenFactory(patient=patient)
    assert post(client, patient).status_code == 403
    for what in ("plan", "not-taped", "sign"):
        assert client.post(f"/screens/{screen.pk}/{what}/").status_code == 403


def test_student_may_screen(signed_in: SignedIn, patient: Patient) -> None:
    client, user = signed_in("student")
    supervisor = UserFactory()
    assert post(client, patient, supervisor=str(supervisor.pk)).status_code == 302
    screen = SkinScreen.objects.get()
    assert (screen.asked_by, screen.supervisor, screen.countersigned_at) == (user, supervisor, None)


def test_place_comes_first_and_every_side_is_listed(therapist: Client, patient: Patient) -> None:
    page = therapist.get(f"/patients/{patient.pk}/screen/").content.decode()
    assert "Where is the tape to go?" in page
    assert page.count('href="?region=knee&amp;side=left&amp;goal="') == 3  # front, back and the list
    assert page.count('href="?region=lower_back&amp;side=midline&amp;goal="') == 2
    assert Event.objects.filter(verb="patient.read", patient=patient).count() == 1


@pytest.mark.parametrize("query", ["?region=tail&side=left", "?region=knee&side=midline", "?region=knee", "?side=left"])
def test_unknown_place_leads_back_to_the_figure(therapist: Client, patient: Patient, query: str) -> None:
    assert "Where is the tape to go?" in therapist.get(f"/patients/{patient.pk}/screen/{query}").content.decode()


def test_nothing_is_answered_beforehand(therapist: Client, patient: Patient) -> None:
    page = therapist.get(f"/patients/{patient.pk}/screen/{KNEE}").content.decode()
    assert "checked" not in page
    assert f"{len(QUESTIONS)} questions open" in page
    assert page.count("<h1") == 1


def test_goal_of_the_last_time_is_offered(therapist: Client, patient: Patient) -> None:
    page = therapist.get(f"/patients/{patient.pk}/screen/{KNEE}&goal=ease_pain").content.decode()
    assert page.count("checked") == 1


def test_person_is_asked_once_a_day(therapist: Client, patient: Patient, now: datetime) -> None:
    ScreenFactory(patient=patient, side="right", answers={"diabetes": "yes", "rash": "no"})
    page = therapist.get(f"/patients/{patient.pk}/screen/{KNEE}").content.decode()
    assert "asked today at 10:00 for the right knee" in page
    assert page.count("checked") == 1  # diabetes; the rash is of the other knee


def test_person_is_asked_anew_the_next_day(therapist: Client, patient: Patient, now: datetime) -> None:
    ScreenFactory(patient=patient, side="right", made_at=now - timedelta(days=1), answers={"diabetes": "yes"})
    assert "checked" not in therapist.get(f"/patients/{patient.pk}/screen/{KNEE}").content.decode()


def test_record_leads_to_the_screen(therapist: Client, patient: Patient, now: datetime) -> None:
    visit = VisitFactory(patient=patient, starts_at=now + timedelta(minutes=5))
    response = post(therapist, patient, goal="ease_pain")
    screen = SkinScreen.objects.get()
    assert (response.status_code, response["Location"]) == (302, f"/screens/{screen.pk}/")
    assert (screen.region, screen.side, screen.goal, screen.outcome, screen.visit) == (
        "knee",
        "left",
        "ease_pain",
        "clear",
        visit,
    )


def test_two_taps_make_one_screen(therapist: Client, patient: Patient) -> None:
    key = "5f2b7a0e-8a55-4c5c-9d2e-0a3d6f1c7b11"
    first, second = post(therapist, patient, once=key), post(therapist, patient, once=key)
    assert first["Location"] == second["Location"]
    assert SkinScreen.objects.count() == 1


def test_open_questions_are_named_and_everything_is_kept(therapist: Client, patient: Patient) -> None:
    response = post(therapist, patient, rash="", diabetes="not_known", note="seen in daylight")
    page = response.content.decode()
    assert response.status_code == 422
    assert "<title>Error: Skin screen, left knee" in page
    assert page.count("Not answered yet: Is there a rash here?") == 1  # in the summary
    assert beside(page, "rash") == "Not answered yet."
    assert beside(page, "diabetes") == ""
    assert '<a href="#id_rash_0">' in page
    assert "seen in daylight" in page
    assert page.count("checked") == len(QUESTIONS) - 1
    assert SkinScreen.objects.count() == 0


def beside(page: str, name: str) -> str:
    """What stands as an error beside a question."""
    found = page.partition(f'<div id="id_{name}_error">')[2].partition("</div>")[0]
    return re.sub(r"<[^>]+>", "", found).removeprefix("Error: ").strip()


def summary(page: str) -> str:
    return page.partition('<div class="error-summary"')[2].partition("</div>")[0]


def test_empty_screen_counts_what_is_open_by_group_and_leads_to_each_question(
    therapist: Client, patient: Patient
) -> None:
    response = therapist.post(f"/patients/{patient.pk}/screen/{KNEE}", {})
    found = summary(response.content.decode())
    shown = re.sub(r"<details>.*?</details>", "", found, flags=re.DOTALL)
    counted = re.findall(r'<li><a href="#id_(\w+)_0">([\w ,]+): (\d+) not answered yet</a>', shown)
    groups = [(group.fields[0].name, group.head, str(len(group.fields))) for group in ScreenForm().groups()]
    assert (response.status_code, counted, shown.count("<li>")) == (422, groups, len(groups))
    # Each question in the list that opens beneath its group; the first also beside the count.
    assert set(re.findall(r'href="#id_(\w+)_0"', found)) == {question.key for question in QUESTIONS}
    assert SkinScreen.objects.count() == 0


def test_what_is_not_known_or_left_out_in_ones_and_twos_is_named_by_itself(therapist: Client, patient: Patient) -> None:
    given = dict.fromkeys(("rash", "open_wound", "oil_or_lotion"), "")
    page = post(therapist, patient, consent_missing="not_known", **given).content.decode()
    named = re.findall(r'<a href="#id_(\w+)_0">(Not \w+)', summary(page))
    assert "<details>" not in summary(page)
    assert named == [
        ("consent_missing", "Not known"), ("open_wound", "Not answered"), ("rash", "Not answered"),
        ("oil_or_lotion", "Not answered"),
    ]  # fmt: skip


@pytest.mark.parametrize("said", ["yes", "not_known"])
def test_caution_that_was_found_is_no_error_while_other_questions_are_open(
    therapist: Client, patient: Patient, said: str
) -> None:
    form = post(therapist, patient, rash="", diabetes=said).context["form"]
    assert list(form.errors) == ["rash"]


def test_cautions_without_a_note_are_not_recorded(therapist: Client, patient: Patient) -> None:
    response = post(therapist, patient, diabetes="yes")
    assert response.status_code == 422
    assert response.content.decode().count("Write down how the cautions are met before recording the screen.") == 2


def test_tampered_answer_is_an_error_not_a_crash(therapist: Client, patient: Patient) -> None:
    response = post(therapist, patient, rash="perhaps", goal="win")
    assert response.status_code == 422
    assert SkinScreen.objects.count() == 0


def test_verdict_follows_the_answers_and_records_nothing(therapist: Client, patient: Patient) -> None:
    once = "5f2b7a0e-8a55-4c5c-9d2e-0a3d6f1c7b11"

    def verdict(given: dict[str, str]) -> str:
        form = {**given, "do": "save", "once": once}
        address = f"/patients/{patient.pk}/screen/{KNEE}"
        return therapist.post(address, form, headers={"HX-Request": "true"}).content.decode()

    one = verdict({"infection": "yes"})
    assert "Do not tape." in one
    assert "To be seen today: a doctor." in one
    assert "1 question open" in verdict(answers(rash=""))
    assert "clear" in verdict(answers())
    assert SkinScreen.objects.count() == 0


def test_none_of_these_waits_for_stops_and_preparations(therapist: Client, patient: Patient) -> None:
    response = post(therapist, patient, none_of_these="1", rash="")
    assert response.status_code == 422
    assert "Answer every stop and everything to put right first" in response.content.decode()


def test_none_of_these_answers_open_cautions_and_records_nothing(therapist: Client, patient: Patient) -> None:
    response = post(therapist, patient, none_of_these="1", diabetes="", pregnancy="yes", note="asked twice")
    page = response.content.decode()
    assert response.status_code == 200
    assert page.count("checked") == len(QUESTIONS)
    assert 'name="pregnancy" value="yes" class="" id="id_pregnancy_1" checked' in page or "pregnant" in page
    assert "asked twice" in page
    assert SkinScreen.objects.count() == 0


def test_hold_shows_why_what_was_advised_and_who_must_see_them(therapist: Client, patient: Patient) -> None:
    post(therapist, patient, hot_joint="yes", note="sent to the emergency department")
    page = therapist.get(f"/screens/{SkinScreen.objects.get().pk}/").content.decode()
    assert "Yes: Is a joint here hot and swollen?" in page
    assert "To be seen today:</strong> a doctor." in page
    assert "sent to the emergency department" in page
    assert "Plan the strips" not in page


def test_clear_screen_leads_to_the_strips(therapist: Client, patient: Patient) -> None:
    screen = ScreenFactory(patient=patient)
    assert "Plan the strips" in therapist.get(f"/screens/{screen.pk}/").content.decode()
    response = therapist.post(f"/screens/{screen.pk}/plan/")
    assert response["Location"] == f"/plans/{screen.plans.get().pk}/"
    assert therapist.post(f"/screens/{screen.pk}/plan/")["Location"] == response["Location"]


def test_recorded_screen_is_not_so_far(therapist: Client, patient: Patient) -> None:
    page = therapist.get(f"/screens/{ScreenFactory(patient=patient).pk}/").content.decode()
    assert "Nothing found in the answers.</p>" in page
    assert "so far" not in page


def test_screen_of_yesterday_offers_a_new_one(therapist: Client, patient: Patient, now: datetime) -> None:
    screen = ScreenFactory(patient=patient, made_at=now - timedelta(days=1))
    page = therapist.get(f"/screens/{screen.pk}/").content.decode()
    assert "Plan the strips" not in page
    assert f'/patients/{patient.pk}/screen/?region=knee&amp;side=left&amp;goal=ease_pain"' in page
    assert therapist.post(f"/screens/{screen.pk}/plan/")["Location"] == f"/screens/{screen.pk}/"
    assert screen.plans.count() == 0


def test_tape_and_open_report_of_the_place_are_said(therapist: Client, patient: Patient, now: datetime) -> None:
    worn = ApplicationFactory(patient=patient)
    SkinReport.objects.create(
        patient=patient, application=worn, reported_at=now, reported_by="patient", urgency="today"
    )
    page = therapist.get(f"/patients/{patient.pk}/screen/{KNEE}").content.decode()
    assert "There is tape on the left knee already." in page
    assert "A skin report is open: left knee" in page


@pytest.mark.parametrize("address", ["/screens/999/", "/patients/999/screen/"])
def test_unknown_rows_are_not_found(therapist: Client, patient: Patient, address: str) -> None:
    assert therapist.get(address).status_code == 404


def test_queries_stay_few(
    therapist: Client, patient: Patient, django_assert_max_num_queries: Any, now: datetime
) -> None:
    for number in range(30):
        other = ScreenFactory(patient=patient, side="right", made_at=now - timedelta(minutes=number))
        ApplicationFactory(patient=patient, region=f"r{number}", ended_at=now, ended_how="off")
    with django_assert_max_num_queries(15):
        therapist.get(f"/patients/{patient.pk}/screen/{KNEE}")
    with django_assert_max_num_queries(15):
        therapist.get(f"/screens/{other.pk}/")
    assert UserFactory() is not None
