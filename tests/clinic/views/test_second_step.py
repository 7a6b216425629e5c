"""Log-in in two steps, the second factor that managers need, and one's own password."""

from datetime import timedelta
from typing import Any

import pytest
import time_machine
from django.test import Client
from django.urls import reverse
from pytest_django import Settings

from clinic.models import Clinic, Event, User
from clinic.services.second_factor import codes_left, factor_begin, factor_of
from tests.clinic.factor import code_at, factor_for
from tests.factories.clinic import NOW, PASSWORD, UserFactory

pytestmark = [pytest.mark.django_db, pytest.mark.usefixtures("clinic")]
NEW = "kettle spoon garden"


@pytest.fixture
def clock() -> Any:
    with time_machine.travel(NOW, tick=False) as traveller:
        yield traveller


def first_step(client: Client, user: User, **more: str) -> Any:
    return client.post(reverse("log_in"), {"username": user.username, "password": PASSWORD, **more})


def second_step(client: Client, code: str) -> Any:
    return client.post(reverse("log_in_code"), {"code": code})


def is_in(client: Client) -> bool:
    return client.get(reverse("patients")).status_code == 200


class TestTheSecondStep:
    def test_the_password_alone_lets_nobody_in(self, client: Client, clock: time_machine.Traveller) -> None:
        user = UserFactory()
        device, _ = factor_for(user)
        assert first_step(client, user, next="/patients/?q=ada").headers["Location"] == reverse("log_in_code")
        assert not is_in(client)
        key = client.session.session_key
        answer = second_step(client, code_at(device, NOW))
        assert answer.headers["Location"] == "/patients/?q=ada"
        assert is_in(client)
        assert client.session.session_key != key
        assert Event.objects.filter(verb="staff.logged_in", actor=user).count() == 1

    def test_a_wrong_code_says_so_and_hints_at_the_clock(self, client: Client, clock: time_machine.Traveller) -> None:
        user = UserFactory()
        factor_for(user)
        first_step(client, user)
        answer = second_step(client, "12 apples")
        assert answer.status_code == 422
        assert "sets its clock by itself" in answer.content.decode()
        assert not is_in(client)
        assert Event.objects.filter(verb="second_factor.refused", actor=user).count() == 1

    def test_a_recovery_code_lets_in_once(self, client: Client, clock: time_machine.Traveller) -> None:
        user = UserFactory()
        _, codes = factor_for(user)
        first_step(client, user)
        assert second_step(client, codes[0]).status_code == 302
        assert is_in(client)
        client.post(reverse("log_out"))
        first_step(client, user)
        assert second_step(client, codes[0]).status_code == 422
        assert codes_left(user) == 9

    def test_without_the_first_step_there_is_no_second(self, client: Client, clock: time_machine.Traveller) -> None:
        user = UserFactory()
        device, _ = factor_for(user)
        assert second_step(client, code_at(device, NOW)).headers["Location"] == reverse("log_in")
        assert not is_in(client)

    @pytest.mark.parametrize("minutes", [6, -1])
    def test_the_first_step_holds_for_five_minutes(
        self, client: Client, clock: time_machine.Traveller, minutes: int
    ) -> None:
        user = UserFactory()
        device, _ = factor_for(user)
        first_step(client, user)
        clock.shift(minutes * 60)
        assert second_step(client, code_at(device, NOW)).headers["Location"] == reverse("log_in")
        assert not is_in(client)

    def test_who_left_meanwhile_stays_out(self, client: Client, clock: time_machine.Traveller) -> None:
        user = UserFactory()
        device, _ = factor_for(user)
        first_step(client, user)
        User.objects.filter(pk=user.pk).update(is_active=False)
        assert second_step(client, code_at(device, NOW)).headers["Location"] == reverse("log_in")
        assert not is_in(client)

    def test_others_go_on_with_the_password_alone(self, client: Client) -> None:
        user = UserFactory()
        assert first_step(client, user).headers["Location"] == reverse("today")
        assert is_in(client)


class TestManagersNeedIt:
    @pytest.fixture(autouse=True)
    def needed(self, settings: Settings) -> None:
        settings.MANAGERS_NEED_CODE = True

    @pytest.mark.parametrize("page", ["/", "/settings/", "/patients/", "/account/"])
    def test_a_manager_without_one_is_led_to_set_it_up(self, client: Client, page: str) -> None:
        first_step(client, UserFactory(manager=True))
        assert client.get(page).headers["Location"] == reverse("account_factor")

    def test_htmx_loads_that_page_whole(self, client: Client) -> None:
        first_step(client, UserFactory(manager=True))
        answer = client.get("/", headers={"HX-Request": "true"})
        assert answer.headers["HX-Redirect"] == reverse("account_factor")

    def test_once_set_up_everything_opens_and_the_codes_are_shown_once(
        self, client: Client, clock: time_machine.Traveller
    ) -> None:
        user = UserFactory(manager=True)
        first_step(client, user)
        page = client.get(reverse("account_factor")).content.decode()
        device = factor_begin(user=user)
        assert "data:image/svg+xml" in page
        assert client.post(reverse("account_factor"), {"code": "nothing"}).status_code == 422
        answer = client.post(reverse("account_factor"), {"code": code_at(device, NOW)})
        shown = answer.content.decode()
        assert shown.count("<li><code>") == 10
        assert "no-store" in answer.headers["Cache-Control"]
        assert client.get("/settings/").status_code == 200
        assert "<li><code>" not in client.get(reverse("account")).content.decode()

    def test_a_session_from_before_the_factor_was_set_up_elsewhere_ends(
        self, client: Client, clock: time_machine.Traveller
    ) -> None:
        user = UserFactory(manager=True)
        first_step(client, user)
        factor_for(user)
        assert client.get("/settings/").headers["Location"] == reverse("account_factor")
        assert client.get(reverse("account_factor")).headers["Location"] == reverse("log_in")
        assert client.get("/settings/").headers["Location"].startswith(reverse("log_in"))

    def test_a_manager_cannot_go_without(self, client: Client, clock: time_machine.Traveller) -> None:
        user = UserFactory(manager=True)
        device, _ = factor_for(user)
        first_step(client, user)
        second_step(client, code_at(device, NOW))
        answer = client.post(reverse("account_factor_off"), {"password": PASSWORD})
        assert answer.headers["Location"] == reverse("account")
        assert factor_of(user) is not None

    def test_a_therapist_need_not(self, client: Client) -> None:
        first_step(client, UserFactory())
        assert is_in(client)

    def test_the_lock_asks_for_the_password_and_not_for_another_code(
        self, client: Client, clock: time_machine.Traveller
    ) -> None:
        user = UserFactory(manager=True)
        device, _ = factor_for(user)
        first_step(client, user)
        second_step(client, code_at(device, NOW))
        client.post(reverse("lock"))
        assert client.get("/settings/").status_code == 302
        client.post(reverse("locked"), {"password": PASSWORD})
        assert client.get("/settings/").status_code == 200


class TestOnesOwnLogIn:
    def test_new_recovery_codes(self, signed_in: Any) -> None:
        client, user = signed_in()
        assert client.post(reverse("account_codes")).headers["Location"] == reverse("account")
        factor_for(user)
        assert client.post(reverse("account_codes"), {"password": PASSWORD}).content.decode().count("<li><code>") == 10

    @pytest.mark.parametrize(("password", "off"), [(PASSWORD, True), ("wrong", False)])
    def test_a_therapist_may_go_without_again(self, signed_in: Any, password: str, off: bool) -> None:
        client, user = signed_in()
        factor_for(user)
        client.post(reverse("account_factor_off"), {"password": password})
        assert (factor_of(user) is None) is off

    def test_a_short_password_must_not_stand_alone(self, signed_in: Any) -> None:
        client, user = signed_in()
        factor_for(user)
        user.set_password("vat kilo")
        user.save()
        client.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        answer = client.post(reverse("account_factor_off"), {"password": "vat kilo"})
        assert "15 characters" in answer.content.decode()
        assert factor_of(user) is not None

    def test_a_first_password_must_be_changed_before_anything_else(self, signed_in: Any) -> None:
        client, user = signed_in()
        User.objects.filter(pk=user.pk).update(must_change_password=True)
        assert client.get("/patients/").headers["Location"] == reverse("account_password")
        answer = change(client)
        assert answer.headers["Location"] == reverse("account")
        assert is_in(client)

    def test_a_new_password_ends_the_other_sessions_and_keeps_this_one(self, signed_in: Any) -> None:
        client, user = signed_in()
        other = Client()
        other.force_login(user, backend="django.contrib.auth.backends.ModelBackend")
        change(client)
        assert (is_in(client), is_in(other)) == (True, False)

    @pytest.mark.parametrize(
        ("changed", "words"),
        [
            ({"old_password": "wrong"}, "not your password until now"),
            ({"again": "something else"}, "two new passwords differ"),
            ({"new_password": "short", "again": "short"}, "15 characters or more"),
            ({"new_password": PASSWORD, "again": PASSWORD}, "choose another one"),
            ({"new_password": ""}, "Write a new password"),
            ({"new_password": "x" * 201, "again": "x" * 201}, "At most 200"),
        ],
    )
    def test_what_is_not_right_is_said_and_no_password_comes_back(
        self, signed_in: Any, changed: dict[str, str], words: str
    ) -> None:
        client, user = signed_in()
        answer = change(client, **changed)
        page = answer.content.decode()
        assert (answer.status_code, words in page) == (422, True)
        assert NEW not in page
        user.refresh_from_db()
        assert user.check_password(PASSWORD)


def change(client: Client, **changed: str) -> Any:
    values = {"old_password": PASSWORD, "new_password": NEW, "again": NEW, **changed}
    return client.post(reverse("account_password"), values)


class TestEverybodyNeedsIt:
    """From a day on that the manager chose; until then they are reminded."""

    def test_before_the_day_log_in_reminds_whoever_has_none(
        self, client: Client, clinic: Clinic, clock: time_machine.Traveller
    ) -> None:
        Clinic.objects.update(codes_from=NOW.date() + timedelta(days=2))
        first_step(client, UserFactory())
        page = client.get("/").content.decode()
        assert "From Friday 12 March on, log-in asks everybody for a code as well." in page

    def test_before_the_day_whoever_has_one_is_not_reminded(
        self, client: Client, clinic: Clinic, clock: time_machine.Traveller
    ) -> None:
        Clinic.objects.update(codes_from=NOW.date() + timedelta(days=2))
        user = UserFactory()
        device, _ = factor_for(user)
        first_step(client, user)
        second_step(client, code_at(device, NOW))
        assert "log-in asks everybody" not in client.get("/").content.decode()

    @pytest.mark.parametrize("role", [{"desk": True}, {}, {"student": True}, {"manager": True}])
    def test_from_the_day_on_it_is_set_up_at_the_log_in_and_nobody_is_locked_out(
        self, client: Client, clinic: Clinic, clock: time_machine.Traveller, role: dict[str, bool]
    ) -> None:
        Clinic.objects.update(codes_from=NOW.date())
        user = UserFactory(**role)
        first_step(client, user)
        assert client.get("/").headers["Location"] == reverse("account_factor")
        page = client.get(reverse("account_factor")).content.decode()
        assert ("Your clinic wants it of everybody" in page) is not user.is_manager
        client.post(reverse("account_factor"), {"code": code_at(factor_begin(user=user), NOW)})
        assert client.get("/").status_code == 200
        assert "Log in without codes again" not in client.get(reverse("account")).content.decode()
        client.post(reverse("account_factor_off"), {"password": PASSWORD})
        assert factor_of(user) is not None

    def test_the_day_is_the_clinic_s_own(self, client: Client, clinic: Clinic, clock: time_machine.Traveller) -> None:
        """NOW is the tenth in New York, and in Auckland the eleventh already."""
        Clinic.objects.update(codes_from=NOW.date() + timedelta(days=1), time_zone="Pacific/Auckland")
        first_step(client, UserFactory())
        assert client.get("/").headers["Location"] == reverse("account_factor")

    def test_whoever_was_at_work_when_the_day_began_finds_the_form_again(
        self, client: Client, clinic: Clinic, clock: time_machine.Traveller
    ) -> None:
        user = UserFactory(desk=True)
        first_step(client, user)
        Clinic.objects.update(codes_from=NOW.date())
        stopped = client.post(reverse("patient_add"), {"full_name": "Bea Long"})
        assert stopped.headers["Location"] == reverse("account_factor")
        assert client.post(reverse("awake")).status_code == 204
        done = client.post(reverse("account_factor"), {"code": code_at(factor_begin(user=user), NOW)})
        assert f'href="{reverse("kept_form")}"' in done.content.decode()
        assert "Bea Long" in client.get(reverse("kept_form")).content.decode()

    def test_the_form_is_there_too_where_codes_were_set_up_on_another_device(
        self, client: Client, clinic: Clinic, clock: time_machine.Traveller
    ) -> None:
        user = UserFactory(desk=True)
        first_step(client, user)
        Clinic.objects.update(codes_from=NOW.date())
        client.post(reverse("patient_add"), {"full_name": "Bea Long"})
        device, _ = factor_for(user)
        assert client.get(reverse("account_factor")).headers["Location"] == reverse("log_in")
        first_step(client, user)
        client.post(reverse("log_in_code"), {"code": code_at(device, NOW)})
        assert "Bea Long" in client.get(reverse("kept_form")).content.decode()
