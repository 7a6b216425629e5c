"""Who may open the clinic's own pages; a new address must be entered here."""

from collections.abc import Callable

import pytest
from django.test import Client
from django.urls import URLPattern, reverse

from clinic.models import Closure, User
from clinic.services.events import Actor
from clinic.services.imports import import_begin
from clinic.views.urls import urlpatterns
from tests.factories.clinic import NOW, HelperFactory, UserFactory, VisitFactory

SignedIn = Callable[..., tuple[Client, User]]
EVERYBODY = {"desk", "therapist", "student", "manager"}
ROLES = sorted(EVERYBODY)
ACCESS = {
    "patients": EVERYBODY, "patient_add": EVERYBODY, "patient_change": EVERYBODY, "patient_consent": EVERYBODY,
    "walk_in": EVERYBODY,
    "import_begin": EVERYBODY, "import_page": EVERYBODY, "import_choose": EVERYBODY, "import_check": EVERYBODY,
    "import_write": EVERYBODY, "import_drop": EVERYBODY, "import_refused": EVERYBODY, "patients_export": {"manager"},
    "helper_add": EVERYBODY, "helper_change": EVERYBODY, "helper_remove": EVERYBODY,
    "settings": {"manager"}, "settings_hours": {"manager"}, "settings_closures": {"manager"},
    "settings_closure_open": {"manager"}, "settings_holidays": {"manager"}, "therapist_hours": {"manager"},
    "therapist_away": {"manager"}, "therapist_back": {"manager"},
    "my_calendar": {"therapist"},
    "events": {"manager"}, "events_export": {"manager"}, "patient_seen": {"manager"},
    "diary": EVERYBODY, "visit_book": EVERYBODY, "visit_page": EVERYBODY, "visit_move": EVERYBODY,
    "visit_state": EVERYBODY, "visit_calendar": EVERYBODY,
    "account": EVERYBODY, "account_password": EVERYBODY, "account_factor": EVERYBODY, "account_codes": EVERYBODY,
    "account_factor_off": EVERYBODY, "account_log_ins": EVERYBODY,
    "staff": {"manager"}, "staff_add": {"manager"}, "staff_person": {"manager"}, "staff_password": {"manager"},
    "staff_factor": {"manager"}, "staff_log_out": {"manager"},
    "lock": EVERYBODY, "locked": EVERYBODY, "change_user": EVERYBODY, "awake": EVERYBODY, "kept_form": EVERYBODY,
}  # fmt: skip
OPEN = {"log_in", "log_in_code", "log_out", "icon", "feed"}


def patterns() -> list[URLPattern]:
    return [pattern for pattern in urlpatterns if isinstance(pattern, URLPattern)]


def address(name: str) -> str:
    """The address of a page, of something that exists."""
    made: dict[str, Callable[[], int]] = {
        "patient": lambda: HelperFactory().patient.pk,
        "helper": lambda: HelperFactory().pk,
        "visit": lambda: VisitFactory().pk,
        "import": lambda: (
            import_begin(actor=Actor(word="test"), now=NOW, file_name="list.csv", pieces=[b"name\nAda Quill\n"]).pk
        ),
        "therapist": lambda: UserFactory().pk,
        "staff": lambda: UserFactory().pk,
        "therapist_back": lambda: Closure.objects.create(day="2027-12-24", therapist=UserFactory()).pk,
        "settings": lambda: Closure.objects.create(day="2027-12-24").pk,
    }
    pattern = next(one for one in patterns() if one.name == name)
    special = {"helper_add": "patient", "therapist_back": "therapist_back"}
    noun = special.get(name, name.partition("_")[0])
    return reverse(name, args=[made[noun]()] if pattern.pattern.converters else [])


def test_every_address_is_in_the_table() -> None:
    assert {str(pattern.name) for pattern in patterns()} == OPEN | set(ACCESS)


@pytest.mark.django_db
@pytest.mark.parametrize("name", sorted(ACCESS))
@pytest.mark.parametrize("method", ["get", "post", "delete"])
def test_a_stranger_is_sent_to_log_in(client: Client, clinic: object, name: str, method: str) -> None:
    answer = getattr(client, method)(address(name))
    assert (answer.status_code, answer.headers["Location"][:9]) == (302, "/log-in/?")


@pytest.mark.parametrize("role", ROLES)
@pytest.mark.parametrize("name", sorted(ACCESS))
def test_each_role_sees_what_the_table_says(signed_in: SignedIn, name: str, role: str) -> None:
    client, _ = signed_in(role)
    answer = client.get(address(name))
    assert (answer.status_code == 403) is (role not in ACCESS[name])
    assert answer.status_code in {200, 302, 403, 405}


@pytest.mark.parametrize("name", sorted(name for name in ACCESS if name.startswith("settings")))
def test_nobody_else_can_post_settings(signed_in: SignedIn, name: str) -> None:
    client, _ = signed_in("desk")
    assert client.post(address(name), {"confirm": "1"}).status_code == 403


@pytest.mark.parametrize("role", ROLES)
def test_the_navigation_shows_only_pages_that_open(signed_in: SignedIn, role: str) -> None:
    client, _ = signed_in(role)
    shown = client.get(reverse("patients")).context["navigation"]
    assert [entry["word"] for entry in shown if entry["here"]] == ["Patients"]
    assert ("Settings" in {entry["word"] for entry in shown}) is (role == "manager")
