"""A screen that is answered is saved as it is answered, found again, and never overwritten unseen."""

from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client

from clinic.models import Event, Patient, User
from taping.models import ScreenDraft, SkinScreen
from taping.rules.skin import QUESTIONS
from taping.services.screen_drafts import drafts_drop
from tests.factories import PatientFactory, ScreenFactory, UserFactory
from tests.taping.screening import answers

SignedIn = Callable[..., tuple[Client, User]]
KNEE = "region=knee&side=left"
MINE, THEIRS = "5f2b7a0e-8a55-4c5c-9d2e-0a3d6f1c7b11", "6a1c0d9e-1111-4c5c-9d2e-0a3d6f1c7b22"


@pytest.fixture(autouse=True)
def _at_ten(now: datetime) -> Iterator[None]:
    with time_machine.travel(now, tick=False):
        yield


@pytest.fixture
def patient(db: None) -> Patient:
    made: Patient = PatientFactory(full_name="Ada Quill")
    return made


@pytest.fixture
def mira(signed_in: SignedIn) -> Client:
    client, user = signed_in()
    user.full_name = "Mira Vell"
    user.save()
    return client


@pytest.fixture
def tobin(clinic: object) -> Client:
    client = Client()
    client.force_login(UserFactory(full_name="Tobin Ash"), backend="django.contrib.auth.backends.ModelBackend")
    return client


def again(client: Client) -> None:
    """Log in once more, as on another day."""
    client.force_login(User.objects.earliest("id"), backend="django.contrib.auth.backends.ModelBackend")


def address(patient: Patient, query: str = KNEE) -> str:
    return f"/patients/{patient.pk}/screen/?{query}"


def tap(client: Client, patient: Patient, page: str = MINE, **given: str) -> Any:
    """One answer, as the page sends it: the whole form, by htmx."""
    form = {"do": "save", "once": page, **given}
    return client.post(address(patient), form, headers={"HX-Request": "true"})


def seen(client: Client, patient: Patient, query: str = KNEE) -> Any:
    return client.get(address(patient, query))


def on_page(response: Any) -> dict[str, str]:
    """What a page would send back unchanged: its keys, and every answer that stands on it."""
    keys = response.context["keys"]
    return {
        "draft": str(getattr(keys, "pk", "") or ""),
        "version": str(getattr(keys, "version", "") or ""),
        **response.context["form"].typed(),
    }


def test_each_answer_is_saved_with_its_time(mira: Client, patient: Patient) -> None:
    fragment = tap(mira, patient, rash="no").content.decode()
    draft = ScreenDraft.objects.get()
    assert (draft.answers, draft.version, draft.begun_by.full_name) == ({"rash": "no"}, 1, "Mira Vell")
    assert "saved 10:00" in fragment
    assert f'name="draft" value="{draft.pk}"' in fragment
    assert "<form" not in fragment
    assert "<!doctype" not in fragment
    assert Event.objects.get(verb="screen_draft.begun").fields == ["rash"]


def test_nothing_answered_begins_no_draft(mira: Client, patient: Patient) -> None:
    assert tap(mira, patient).status_code == 200
    mira.get(address(patient))
    assert ScreenDraft.objects.count() == 0


def test_same_answer_twice_is_saved_once(mira: Client, patient: Patient) -> None:
    for _ in range(2):
        tap(mira, patient, rash="no")
    assert (ScreenDraft.objects.get().version, Event.objects.filter(verb="screen_draft.saved").count()) == (1, 0)


def test_lost_reply_does_not_make_a_page_a_stranger_to_its_own_draft(mira: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no")  # the reply, and with it the draft's number, never arrived
    fragment = tap(mira, patient, rash="no", sensor="yes", draft="", version="")
    assert "saved 10:00" in fragment.content.decode()
    assert ScreenDraft.objects.get().answers == {"rash": "no", "sensor": "yes"}


def test_page_opened_again_stands_where_it_was_left(mira: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no", note="seen in daylight", goal="ease_pain", made_at="ten past")
    response = seen(mira, patient)
    assert response.context["form"].typed() == {
        "rash": "no", "note": "seen in daylight", "goal": "ease_pain", "made_at": "ten past",
    }  # fmt: skip
    assert "saved 10:00" in response.content.decode()


def test_without_javascript_a_button_saves_and_comes_back(mira: Client, patient: Patient) -> None:
    response = mira.post(address(patient), {"do": "save", "once": MINE, "rash": "no", "note": "a\r\nb"}, follow=True)
    page = response.content.decode()
    assert "Saved at 10:00, not recorded yet." in page
    assert (ScreenDraft.objects.get().answers, ScreenDraft.objects.get().note) == ({"rash": "no"}, "a\nb")
    assert 'value="no" class="" id="id_rash_0" checked' in page or "checked" in page


def test_another_therapist_is_told_who_began_it(mira: Client, tobin: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no")
    page = seen(tobin, patient).content.decode()
    assert "Mira Vell</bdi> began a skin screen of the left knee today 10:00" in page
    assert "Go on with it" in page
    assert "Discard it" in page
    went_on = seen(tobin, patient, f"{KNEE}&go_on=1")
    assert went_on.context["form"].typed() == {"rash": "no"}
    assert "Mira Vell</bdi> began this skin screen" in went_on.content.decode()


def test_patient_page_lists_what_was_begun(mira: Client, tobin: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no")
    for who in (mira, tobin):
        page = who.get(f"/patients/{patient.pk}/").content.decode()
        assert "Begun and not finished" in page
        assert "Mira Vell</bdi> began a skin screen of the left knee today 10:00; not recorded" in page


def test_desk_sees_no_draft(signed_in: SignedIn, mira: Client, patient: Patient) -> None:
    tap(mira, patient, note="very private words")
    desk, _ = signed_in("desk")
    page = desk.get(f"/patients/{patient.pk}/").content.decode()
    assert "very private words" not in page
    assert "Begun and not finished" not in page
    assert desk.post(f"/screen-drafts/{ScreenDraft.objects.get().pk}/discard/").status_code == 403


def test_discarding_ends_it(mira: Client, tobin: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no")
    draft = ScreenDraft.objects.get()
    response: Any = tobin.post(f"/screen-drafts/{draft.pk}/discard/")
    assert response["Location"] == f"/patients/{patient.pk}/"
    assert seen(mira, patient).context["form"].typed() == {}
    assert tobin.get(f"/screen-drafts/{draft.pk}/discard/").status_code == 405


def test_later_save_upon_an_older_version_is_refused_with_both_shown(
    mira: Client, tobin: Client, patient: Patient
) -> None:
    tap(mira, patient, rash="no", note="dry")
    theirs = on_page(seen(tobin, patient, f"{KNEE}&go_on=1"))
    tap(mira, patient, rash="no", note="dry", sensor="no")
    fragment = tap(tobin, patient, THEIRS, **{**theirs, "rash": "yes", "note": "damp"}).content.decode()
    assert "Not saved: Mira Vell saved this draft at 10:00, from another page." in fragment
    assert 'role="alert"' in fragment
    for words in ("Is there a rash here?", ">No<", ">Yes<", "dry", "damp", "Bring both together"):
        assert words in fragment
    stored = ScreenDraft.objects.get()
    assert (stored.answers, stored.note, stored.version) == ({"rash": "no", "sensor": "no"}, "dry", 2)


def test_brought_together_nothing_is_lost_and_nothing_chosen(mira: Client, tobin: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no", note="dry")
    theirs = on_page(seen(tobin, patient, f"{KNEE}&go_on=1"))
    tap(mira, patient, rash="no", note="dry", sensor="no")
    here = {**theirs, "rash": "yes", "note": "damp", "diabetes": "no", "once": THEIRS}
    response: Any = tobin.post(address(patient), {**here, "do": "merge"})
    draft = ScreenDraft.objects.get()
    assert response.status_code == 200
    assert (draft.answers, draft.note, draft.saved_by.full_name) == (
        {"sensor": "no", "diabetes": "no"}, "dry\ndamp", "Tobin Ash",
    )  # fmt: skip
    assert response.context["anew"] == ["Is there a rash here?"]
    assert on_page(response)["version"] == str(draft.version)


def test_stale_page_cannot_record(mira: Client, tobin: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no")
    theirs = on_page(seen(tobin, patient, f"{KNEE}&go_on=1"))
    tap(mira, patient, rash="yes", note="spots")
    response = tobin.post(address(patient), {**answers(), **theirs, "once": THEIRS, "note": "kept words"})
    page = response.content.decode()
    assert response.status_code == 409
    assert "Mira Vell saved this draft at 10:00" in page
    assert "kept words" in page
    assert SkinScreen.objects.count() == 0


def test_one_records_and_the_other_is_told_who_and_when(mira: Client, tobin: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no")
    theirs = on_page(seen(tobin, patient, f"{KNEE}&go_on=1"))
    assert mira.post(address(patient), {**answers(), "once": MINE}).status_code == 302
    response = tobin.post(address(patient), {**answers(), **theirs, "once": THEIRS, "note": "kept words"})
    page = response.content.decode()
    screen = SkinScreen.objects.get()
    assert response.status_code == 409
    assert "Mira Vell recorded this screen at 10:00" in page
    assert f'href="/screens/{screen.pk}/"' in page
    assert "kept words" in page
    assert "Mira Vell recorded this screen" in tap(tobin, patient, THEIRS, **theirs, sensor="no").content.decode()
    assert SkinScreen.objects.count() == 1


def test_discarded_under_ones_hands_can_be_begun_anew(mira: Client, tobin: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no")
    mine = on_page(seen(mira, patient))
    draft = ScreenDraft.objects.get()
    tobin.post(f"/screen-drafts/{draft.pk}/discard/")
    fragment = tap(mira, patient, MINE, **{**mine, "sensor": "no"}).content.decode()
    assert "Tobin Ash discarded this draft at 10:00" in fragment
    page: Any = mira.post(address(patient), {**answers(), **mine, "once": MINE})
    assert (page.status_code, on_page(page)["draft"]) == (409, "")
    again: Any = mira.post(address(patient), {**answers(), **on_page(page), "once": THEIRS})
    assert (again.status_code, SkinScreen.objects.count()) == (302, 1)


def test_recording_closes_the_draft(mira: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no")
    mira.post(address(patient), {**answers(), "once": MINE})
    draft = ScreenDraft.objects.get()
    assert (draft.screen, draft.closed_at is not None) == (SkinScreen.objects.get(), True)
    assert seen(mira, patient, "region=knee&side=left").context["draft"] is None


def test_refused_record_is_kept_as_a_draft(mira: Client, patient: Patient) -> None:
    response = mira.post(address(patient), {**answers(rash=""), "once": MINE, "note": "kept"})
    draft = ScreenDraft.objects.get()
    assert (response.status_code, len(draft.answers), draft.note) == (422, len(QUESTIONS) - 1, "kept")
    assert on_page(response)["version"] == "1"


def test_too_long_a_note_is_said_where_it_stands(mira: Client, patient: Patient) -> None:
    fragment = tap(mira, patient, note="x" * 2001).content.decode()
    assert "The note is longer than 2000 characters. Shorten it." in fragment
    assert 'href="#id_note"' in fragment
    whole = mira.post(address(patient), {"do": "save", "once": MINE, "note": "x" * 2001})
    assert (whole.status_code, list(whole.context["form"].errors)) == (422, ["note"])
    assert "x" * 2001 in whole.content.decode()
    assert ScreenDraft.objects.count() == 0


def test_tampered_answers_are_left_out(mira: Client, patient: Patient) -> None:
    tap(mira, patient, rash="perhaps", goal="win", sensor="no", colour="blue")
    draft = ScreenDraft.objects.get()
    assert (draft.answers, draft.words) == ({"sensor": "no"}, {})


def test_lost_session_is_sent_to_log_in_and_back_to_the_step(client: Client, clinic: object, patient: Patient) -> None:
    response: Any = client.post(
        address(patient),
        {"do": "save", "rash": "no"},
        headers={"HX-Request": "true", "HX-Current-URL": f"http://testserver{address(patient)}"},
    )
    assert (response.status_code, response.content) == (204, b"")
    assert response["HX-Redirect"].startswith("/log-in/?next=/patients/")
    assert "region%3Dknee" in response["HX-Redirect"]


def test_old_security_token_keeps_what_was_answered(patient: Patient, mira: Client) -> None:
    strict = Client(enforce_csrf_checks=True)
    strict.cookies = mira.cookies
    response = strict.post(address(patient), {"do": "save", "rash": "no", "note": "kept words", "once": MINE})
    page = response.content.decode()
    assert response.status_code == 403
    assert "Please send the form once more" in page
    assert "kept words" in page
    assert 'name="do"' in page
    assert f'action="/patients/{patient.pk}/screen/?region=knee&amp;side=left"' in page


def test_drafts_are_dropped_after_two_days(mira: Client, patient: Patient, now: datetime) -> None:
    tap(mira, patient, rash="no")
    with time_machine.travel(now + timedelta(days=2), tick=False):
        again(mira)
        assert drafts_drop(now + timedelta(days=2)) == 0
        assert "Begun and not finished" in mira.get(f"/patients/{patient.pk}/").content.decode()
    third = now + timedelta(days=3)
    with time_machine.travel(third, tick=False):
        again(mira)
        assert "Begun and not finished" not in mira.get(f"/patients/{patient.pk}/").content.decode()
        assert drafts_drop(third) == 1
    assert ScreenDraft.objects.count() == 0
    assert Event.objects.get(verb="screen_draft.dropped").patient_id == patient.pk


def test_old_draft_does_not_stand_in_the_way_of_a_new_one(mira: Client, patient: Patient, now: datetime) -> None:
    tap(mira, patient, rash="no")
    with time_machine.travel(now + timedelta(days=3), tick=False):
        again(mira)
        tap(mira, patient, THEIRS, sensor="no")
    assert ScreenDraft.objects.get().answers == {"sensor": "no"}


def test_queries_stay_few_however_much_was_begun(
    mira: Client, patient: Patient, django_assert_max_num_queries: Any, now: datetime
) -> None:
    user = UserFactory()
    for number in range(30):
        ScreenDraft.objects.create(
            patient=patient, region=f"r{number}", side="left", begun_by=user, begun_at=now, saved_by=user, saved_at=now
        )
        ScreenFactory(patient=patient, region=f"r{number}")
    tap(mira, patient, rash="no")
    with django_assert_max_num_queries(15):
        seen(mira, patient)
    with django_assert_max_num_queries(15):
        mira.get(f"/patients/{patient.pk}/screen/")
    with django_assert_max_num_queries(20):
        tap(mira, patient, rash="no", sensor="no")


def cautions_open(**given: str) -> dict[str, str]:
    """Every stop and everything to put right answered; the cautions are open."""
    asked = {question.key: "no" for question in QUESTIONS if question.weight != "caution"}
    return {**asked, **given}


def test_save_that_arrives_after_its_page_was_left_changes_nothing(mira: Client, patient: Patient) -> None:
    """A tap and the next button at once: the network may turn the two round."""
    tap(mira, patient, **cautions_open())
    left = mira.post(address(patient), {"once": MINE, "none_of_these": "1", **cautions_open()})
    late = tap(mira, patient, **cautions_open(rash="yes")).content.decode()
    assert "Not saved" in late
    recorded = mira.post(address(patient), {"once": THEIRS, **on_page(left)})
    assert recorded.status_code == 302
    assert SkinScreen.objects.get().answers["rash"] == "no"


def test_page_whose_answer_was_lost_may_be_sent_again(mira: Client, patient: Patient) -> None:
    form = {"once": MINE, **cautions_open()}
    first, second = (mira.post(address(patient), {**form, "none_of_these": "1"}) for _ in range(2))
    assert (first.status_code, second.status_code) == (200, 200)
    assert ScreenDraft.objects.get().answers == answers()


def test_save_that_arrives_after_its_page_was_recorded_begins_nothing(mira: Client, patient: Patient) -> None:
    assert mira.post(address(patient), {"once": MINE, **answers()}).status_code == 302
    tap(mira, patient, rash="no")
    assert (SkinScreen.objects.count(), ScreenDraft.objects.filter(closed_at=None).count()) == (1, 0)


def test_refused_screen_is_not_overwritten_by_an_earlier_save_of_its_page(mira: Client, patient: Patient) -> None:
    tap(mira, patient, rash="no", infection="no")
    refused = mira.post(address(patient), {"once": MINE, "rash": "no", "infection": "no"})
    assert refused.status_code == 422
    tap(mira, patient, rash="no")
    assert ScreenDraft.objects.get().answers == {"rash": "no", "infection": "no"}
