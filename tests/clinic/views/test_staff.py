"""Who works here, on the manager's pages."""

from collections.abc import Callable
from typing import Any

import pytest
from django.test import Client
from django.urls import reverse
from pytest_django import DjangoAssertNumQueries

from clinic.models import User
from clinic.services.second_factor import factor_of
from tests.clinic.factor import factor_for
from tests.factories.clinic import NOW, PASSWORD, UserFactory, VisitFactory

pytestmark = pytest.mark.django_db
SignedIn = Callable[..., tuple[Client, User]]


def shown_password(answer: Any) -> str:
    return str(answer.content.decode().partition('<code class="big-word long-words">')[2].partition("<")[0])


def test_somebody_added_logs_in_with_what_was_shown_once(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    answer = client.post(
        reverse("staff_add"), {"username": "mira", "full_name": "Mira Holm", "roles": ["front_desk", "therapist"]}
    )
    password = shown_password(answer)
    mira = User.objects.get(username="mira")
    assert mira.roles == {"front_desk", "therapist"}
    assert mira.check_password(password)
    assert password not in client.get(reverse("staff_person", args=[mira.pk])).content.decode()
    hers = Client()
    hers.post(reverse("log_in"), {"username": "mira", "password": password})
    assert hers.get("/").headers["Location"] == reverse("account_password")


@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"username": "thea"}, "The log-in name thea is taken"),
        ({"roles": []}, "Tick at least one"),
        ({"roles": ["student", "therapist"]}, "choose student or therapist"),
        ({"full_name": ""}, "Write the person&#x27;s name"),
        ({"username": ""}, "Write a log-in name"),
    ],
)
def test_what_is_not_right_is_said_and_kept(signed_in: SignedIn, changed: dict[str, Any], words: str) -> None:
    client, _ = signed_in("manager")
    UserFactory(username="thea")
    values = {"username": "mira", "full_name": "Mira <Holm>", "roles": ["front_desk"], **changed}
    answer = client.post(reverse("staff_add"), values)
    page = answer.content.decode()
    assert (answer.status_code, words in page) == (422, True)
    assert "full_name" in changed or "Mira &lt;Holm&gt;" in page
    assert not User.objects.filter(username="mira").exists()


def test_who_does_not_work_here_any_more_is_out_at_once(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    thea, hers = UserFactory(), Client()
    hers.force_login(thea, backend="django.contrib.auth.backends.ModelBackend")
    assert hers.get("/").status_code == 200
    answer = client.post(
        reverse("staff_person", args=[thea.pk]), {"full_name": thea.full_name, "roles": ["therapist"]}, follow=True
    )
    assert "logged out now" in answer.content.decode()
    assert hers.get("/").status_code == 302


def test_the_last_manager_cannot_remove_himself(signed_in: SignedIn) -> None:
    client, manager = signed_in("manager")
    for values in ({"roles": ["manager"]}, {"roles": ["therapist"], "is_active": "on"}):
        answer = client.post(reverse("staff_person", args=[manager.pk]), {"full_name": "Max Boss", **values})
        assert "Nobody else is a manager" in answer.content.decode()
    assert User.objects.get(pk=manager.pk).roles == {"manager"}


def test_visits_booked_with_somebody_who_leaves_are_told(signed_in: SignedIn) -> None:
    client, _ = signed_in("manager")
    visit = VisitFactory()
    page = client.get(reverse("staff_person", args=[visit.therapist.pk])).content.decode()
    assert "1 visit</a> is booked" in page


def test_a_new_first_password_ends_the_old_one(signed_in: SignedIn) -> None:
    client, manager = signed_in("manager")
    thea = UserFactory()
    password = shown_password(client.post(reverse("staff_password", args=[thea.pk])))
    thea.refresh_from_db()
    assert (thea.check_password(password), thea.check_password(PASSWORD)) == (True, False)
    own = client.post(reverse("staff_password", args=[manager.pk]))
    assert own.headers["Location"] == reverse("account_password")


def test_a_lost_telephone(signed_in: SignedIn) -> None:
    client, manager = signed_in("manager")
    thea = UserFactory()
    assert client.post(reverse("staff_factor", args=[thea.pk])).status_code == 302
    factor_for(thea)
    password = shown_password(client.post(reverse("staff_factor", args=[thea.pk])))
    thea.refresh_from_db()
    assert (factor_of(thea), thea.check_password(password)) == (None, True)
    factor_for(manager)
    client.post(reverse("staff_factor", args=[manager.pk]))
    assert factor_of(manager) is not None


@pytest.mark.parametrize("people", [1, 30])
def test_the_list_asks_as_much_for_thirty_as_for_one(
    signed_in: SignedIn, django_assert_num_queries: DjangoAssertNumQueries, people: int
) -> None:
    client, _ = signed_in("manager")
    for number in range(people):
        factor_for(UserFactory(username=f"one{number}"), NOW)
    client.get(reverse("staff"))
    with django_assert_num_queries(5):
        page = client.get(reverse("staff")).content.decode()
    assert page.count("password and code") == people
