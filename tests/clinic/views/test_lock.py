"""A tablet that was put down: it locks, shows nobody's data, and goes on where its owner left off."""

from collections.abc import Callable, Iterator
from datetime import timedelta
from typing import Any
from urllib.parse import unquote

import pytest
import time_machine
from django.conf import settings as running
from django.contrib.sessions.models import Session
from django.db import connection
from django.test import Client
from django.test.utils import CaptureQueriesContext
from django.urls import reverse
from pytest_django import Settings

from clinic.models import Clinic, Patient, User
from clinic.views.session import fields_of
from tests.factories.clinic import NOW, PASSWORD, PatientFactory, UserFactory

FORM = {
    "full_name": "Bea Longstocking", "call_me": "Bea", "born": "1990-05-01", "phone": "(212) 555-0144",
    "email": "bea@example.org", "prefers": "sms", "consents": "yes", "language": "en", "note": "\nTwo\nlines",
}  # fmt: skip
ADD = reverse("patient_add")


@pytest.fixture
def clock(settings: Settings) -> Iterator[time_machine.Traveller]:
    settings.IDLE_LOCK_MINUTES, settings.SESSION_HOURS = 10, 12
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


@pytest.fixture
def thea(clock: object, clinic: Clinic) -> User:
    user: User = UserFactory(username="thea")
    return user


@pytest.fixture
def tablet(client: Client, thea: User) -> Client:
    """A tablet on which thea logged in."""
    assert log_in(client, "thea").status_code == 302
    return client


def log_in(client: Client, username: str, to: str = "") -> Any:
    return client.post(reverse("log_in"), {"username": username, "password": PASSWORD, "next": to})


def unlock(client: Client, password: str = PASSWORD, to: str = "/patients/") -> Any:
    return client.post(reverse("locked"), {"password": password, "next": to})


def locked_at(back: str) -> str:
    return f"/locked/?next={back}"


def test_after_ten_minutes_without_touch_every_page_meets_the_lock(
    tablet: Client, clock: time_machine.Traveller
) -> None:
    PatientFactory(full_name="Ada Quill")
    clock.shift(timedelta(minutes=10))
    answer = tablet.get("/patients/?q=ada")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/locked/?next=/patients/%3Fq%3Dada")
    page = tablet.get(answer.headers["Location"]).content.decode()
    assert "Quill" not in page
    assert "ada" not in page.replace("/patients/?q=ada", "")
    assert "Thea Pist" in page
    assert tablet.get("/").headers["Location"] == locked_at("/")


def test_each_touch_puts_the_lock_off(tablet: Client, clock: time_machine.Traveller) -> None:
    for _ in range(4):
        clock.shift(timedelta(minutes=9))
        assert tablet.get("/patients/").status_code == 200
    clock.shift(timedelta(minutes=9))
    assert tablet.post(reverse("awake")).status_code == 204
    clock.shift(timedelta(minutes=9))
    assert tablet.get("/patients/").status_code == 200


def test_a_page_that_refreshes_itself_is_no_touch(tablet: Client, clock: time_machine.Traveller) -> None:
    for _ in range(9):
        clock.shift(timedelta(minutes=1))
        assert tablet.get("/patients/", headers={"X-Unattended": "1"}).status_code == 200
    clock.shift(timedelta(minutes=1))
    assert tablet.get("/patients/", headers={"X-Unattended": "1"}).status_code == 302


def test_the_password_leads_back_to_the_same_step(tablet: Client, clock: time_machine.Traveller) -> None:
    clock.shift(timedelta(minutes=10))
    tablet.get("/patients/?q=ada")
    before = tablet.session.session_key
    answer = unlock(tablet, to="/patients/?q=ada")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/patients/?q=ada")
    assert tablet.get("/patients/?q=ada").status_code == 200
    assert tablet.session.session_key != before


def test_a_wrong_password_keeps_it_locked(tablet: Client, clock: time_machine.Traveller) -> None:
    clock.shift(timedelta(minutes=10))
    answer = unlock(tablet, "a colleague's guess")
    assert answer.status_code == 422
    assert "That is not your password." in answer.content.decode()
    assert "a colleague" not in answer.content.decode()
    assert tablet.get("/patients/").headers["Location"] == locked_at("/patients/")


def test_guessing_at_the_lock_is_throttled(tablet: Client, clock: time_machine.Traveller) -> None:
    clock.shift(timedelta(minutes=10))
    answers = [unlock(tablet, f"guess {number}").status_code for number in range(running.AXES_FAILURE_LIMIT + 1)]
    assert answers[-1] == 429
    assert unlock(tablet).status_code == 429


def test_it_can_be_locked_at_once(tablet: Client) -> None:
    answer = tablet.post(reverse("lock"), {"next": "/patients/"})
    assert answer.headers["Location"] == locked_at("/patients/")
    assert tablet.get("/patients/").status_code == 302
    assert unlock(tablet).headers["Location"] == "/patients/"
    assert tablet.get("/patients/").status_code == 200


@pytest.mark.parametrize("evil", ["https://evil.example/", "//evil.example", "/\\evil.example"])
def test_the_lock_never_leads_off_this_site(tablet: Client, evil: str) -> None:
    assert tablet.post(reverse("lock"), {"next": evil}).headers["Location"] == locked_at("/")
    assert unlock(tablet, to=evil).headers["Location"] == "/"


def test_a_form_kept_for_another_site_is_not_kept(tablet: Client) -> None:
    tablet.post(reverse("lock"), {"next": "/", "kept_address": "//evil.example/x", "kept": "note=a"})
    unlock(tablet, to="/")
    assert tablet.get(reverse("kept_form")).status_code == 302


def test_pages_told_to_be_left_alone_need_no_unlocking(tablet: Client, clock: time_machine.Traveller) -> None:
    """A patient's page on the same tablet is the patient's own, whoever is logged in."""
    clock.shift(timedelta(minutes=10))
    assert tablet.get("/health/").status_code == 200
    assert tablet.get("/t/nobodys-link/").status_code == 404


def test_an_htmx_request_is_told_to_load_the_lock_whole(tablet: Client, clock: time_machine.Traveller) -> None:
    clock.shift(timedelta(minutes=10))
    headers = {"HX-Request": "true", "HX-Current-URL": "http://testserver/patients/7/screen/?region=knee&side=left"}
    answer = tablet.post("/patients/7/screen/", {"goal": "x"}, headers=headers)
    back = "/patients/7/screen/%3Fregion%3Dknee%26side%3Dleft"
    assert (answer.status_code, answer.content, answer.headers["HX-Redirect"]) == (204, b"", locked_at(back))


@pytest.mark.parametrize(
    "evil",
    [
        "https://evil.example//evil.example/x", "https://evil.example/\\evil.example/x", "//evil.example//evil.example",
        "https://evil.example", "javascript:alert(1)", "https://[evil",
    ],
)  # fmt: skip
def test_the_page_that_htmx_names_leads_nowhere_outside(
    tablet: Client, clock: time_machine.Traveller, evil: str
) -> None:
    clock.shift(timedelta(minutes=10))
    answer = tablet.post("/patients/7/screen/", {"goal": "x"}, headers={"HX-Request": "true", "HX-Current-URL": evil})
    lock_page = answer.headers["HX-Redirect"]
    assert lock_page.startswith("/locked/?next=/")
    assert 'name="next" value="/"' in tablet.get(lock_page).content.decode()
    led = unlock(tablet, to=unquote(lock_page.partition("next=")[2])).headers["Location"]
    assert led == "/"


def filled_pairs(page: str) -> list[tuple[str, str]]:
    """What a page that keeps a form would send again, each value with its name."""
    found = []
    for part in page.split('<textarea name="')[1:]:
        name, _, rest = part.partition('" hidden>\n')
        found.append((name, rest.partition("</textarea>")[0]))
    return found


def filled(page: str) -> dict[str, str]:
    """The same, where no name has two values."""
    pairs = filled_pairs(page)
    assert len(dict(pairs)) == len(pairs)
    return dict(pairs)


@pytest.mark.parametrize("how", ["locked", "over", "session row gone"])
def test_a_form_that_met_the_end_is_kept_whole_for_its_owner(
    tablet: Client, clock: time_machine.Traveller, how: str
) -> None:
    """Nothing is half saved, every value comes back, and one press sends it."""
    if how == "session row gone":
        Session.objects.all().delete()
    clock.shift({"locked": timedelta(minutes=10), "over": timedelta(hours=12)}.get(how, timedelta(0)))
    answer = tablet.post(ADD, FORM)
    assert (answer.status_code, Patient.objects.count()) == (302, 0)
    back = unlock(tablet, to="/kept-form/") if how == "locked" else log_in(tablet, "thea", ADD)
    assert back.headers["Location"] == "/kept-form/"
    page = tablet.get("/kept-form/").content.decode()
    assert filled(page) == FORM
    assert f'action="{ADD}"' in page
    assert tablet.post(ADD, FORM).status_code == 302
    assert Patient.objects.get().full_name == "Bea Longstocking"
    assert tablet.get("/kept-form/").headers["Location"] == "/"


def test_a_kept_form_keeps_each_of_several_values_of_one_name(tablet: Client, clock: time_machine.Traveller) -> None:
    clock.shift(timedelta(minutes=10))
    tablet.post(ADD, {"full_name": "Bea", "roles": ["student", "therapist", "student"], "note": ""})
    unlock(tablet, to="/kept-form/")
    pairs = [("full_name", "Bea"), ("roles", "student"), ("roles", "therapist"), ("roles", "student"), ("note", "")]
    assert sorted(filled_pairs(tablet.get("/kept-form/").content.decode())) == sorted(pairs)


@pytest.mark.parametrize("how", ["locked", "over"])
def test_the_page_s_own_beat_takes_no_place_of_a_kept_form(
    tablet: Client, clock: time_machine.Traveller, how: str
) -> None:
    clock.shift(timedelta(minutes=10) if how == "locked" else timedelta(hours=12))
    tablet.post(ADD, FORM)
    tablet.post(reverse("awake"))
    assert (unlock(tablet) if how == "locked" else log_in(tablet, "thea", ADD)).status_code == 302
    assert filled(tablet.get("/kept-form/").content.decode()) == FORM


def test_only_what_proves_somebody_is_left_out_of_a_kept_form() -> None:
    fields = ["codes_from", "codec", "code", "old_password", "new_password", "csrfmiddlewaretoken", "quiet_from"]
    assert [name for name, _ in fields_of([(name, ["x"]) for name in fields])] == ["codes_from", "codec", "quiet_from"]


@pytest.mark.parametrize("how", ["locked", "over"])
def test_somebody_else_sees_nothing_of_it(tablet: Client, clock: time_machine.Traveller, how: str) -> None:
    UserFactory(username="tom")
    clock.shift(timedelta(minutes=10) if how == "locked" else timedelta(hours=12))
    tablet.post(ADD, FORM)
    if how == "locked":
        assert tablet.post(reverse("change_user")).headers["Location"] == reverse("log_in")
    assert log_in(tablet, "tom", "" if how == "locked" else ADD).headers["Location"] == reverse("today")
    assert tablet.get("/kept-form/").headers["Location"] == reverse("today")
    assert "Longstocking" not in tablet.get(ADD).content.decode()
    assert "Longstocking" not in str(dict(tablet.session.items()))


def test_a_form_being_typed_when_the_screen_locks_comes_along(tablet: Client) -> None:
    kept = "full_name=Bea+Longstocking&note=a%26b&password=secret&csrfmiddlewaretoken=old"
    answer = tablet.post(reverse("lock"), {"next": ADD, "kept_address": ADD, "kept": kept})
    assert answer.headers["Location"] == locked_at("/kept-form/")
    unlock(tablet, to="/kept-form/")
    page = tablet.get("/kept-form/").content.decode()
    assert filled(page) == {"full_name": "Bea Longstocking", "note": "a&amp;b"}


def test_after_twelve_hours_the_log_in_ends_whatever_was_touched(tablet: Client, clock: time_machine.Traveller) -> None:
    for _ in range(80):
        clock.shift(timedelta(minutes=9))
        last = tablet.get("/patients/?q=ada")
    assert (last.status_code, last.headers["Location"]) == (302, "/log-in/?next=/patients/%3Fq%3Dada")
    assert log_in(tablet, "thea", "/patients/?q=ada").headers["Location"] == "/patients/?q=ada"
    assert tablet.get("/patients/").status_code == 200


def test_a_session_that_ran_out_leads_nobody_else_to_its_page(tablet: Client, clock: time_machine.Traveller) -> None:
    UserFactory(username="tom")
    clock.shift(timedelta(hours=12))
    assert tablet.get("/patients/?q=ada").status_code == 302
    assert log_in(tablet, "tom", "/patients/?q=ada").headers["Location"] == reverse("today")


def test_a_form_with_an_old_token_is_kept_through_the_log_in(thea: User, client: Client) -> None:
    strict = Client(enforce_csrf_checks=True)
    log_in(client, "thea")
    for name in (running.SESSION_COOKIE_NAME, "wearwindow-last"):
        strict.cookies[name] = client.cookies[name].value
    client.session.flush()
    page = strict.post(ADD, FORM | {"csrfmiddlewaretoken": "stale"})
    assert (page.status_code, Patient.objects.count()) == (403, 0)
    assert "Longstocking" not in page.content.decode()
    token = strict.get(reverse("log_in")).context["csrf_token"]
    answer = strict.post(
        reverse("log_in"), {"username": "thea", "password": PASSWORD, "csrfmiddlewaretoken": str(token)}
    )
    assert answer.headers["Location"] == "/kept-form/"
    assert filled(strict.get("/kept-form/").content.decode()) == FORM


def test_a_stranger_cannot_store_forms_here(client: Client, clinic: Clinic) -> None:
    client.cookies["wearwindow-last"] = "1:forged"
    assert client.post(ADD, FORM).status_code == 302
    assert Session.objects.count() == 0


def test_log_out_forgets_who_was_here(tablet: Client, clock: time_machine.Traveller) -> None:
    tablet.post(reverse("log_out"))
    assert tablet.cookies["wearwindow-last"].value == ""
    tablet.post(ADD, FORM)
    log_in(tablet, "thea")
    assert tablet.get("/kept-form/").headers["Location"] == "/"


def test_the_lock_page_shows_no_word_left_over_from_the_page_before(tablet: Client) -> None:
    """A notice such as "Ada Quill: arrived" waits for its owner."""
    patient = PatientFactory(full_name="Ada Quill")
    tablet.post(reverse("patient_consent", args=[patient.pk]), {"consents": "no"})
    tablet.post(reverse("lock"), {"next": "/patients/"})
    page = tablet.get(locked_at("/patients/")).content.decode()
    assert "Quill" not in page
    assert "<nav" not in page
    assert "data-idle-seconds" not in page


def test_a_page_says_after_how_long_it_hides(tablet: Client) -> None:
    assert 'data-idle-seconds="600"' in tablet.get("/patients/").content.decode()


def test_a_touch_within_the_minute_costs_no_write(
    tablet: Client, clock: time_machine.Traveller, django_assert_num_queries: Callable[..., Any]
) -> None:
    def writes() -> int:
        with CaptureQueriesContext(connection) as queries:
            tablet.get(reverse("patients"))
        return sum("UPDATE" in query["sql"] for query in queries.captured_queries)

    clock.shift(59)
    assert writes() == 0
    clock.shift(2)
    assert writes() == 1


def test_an_icon_is_found_where_browsers_look_for_one(client: Client, clinic: Clinic) -> None:
    answer = client.get("/favicon.ico")
    assert (answer.status_code, answer.headers["Location"]) == (302, "/static/svg/mark.svg")
