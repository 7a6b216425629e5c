"""Members of staff changed, let in again and sent away; somebody always stays who may set the rules."""

from collections.abc import Sequence
from functools import partial

import pytest

from clinic.models import Event, User
from clinic.services.events import Actor
from clinic.services.second_factor import factor_of
from clinic.services.staff import (
    StaffRefused,
    first_password,
    password_change,
    staff_change,
    staff_factor_remove,
    staff_first_password,
    staff_invite,
)
from tests.clinic.factor import factor_for
from tests.clinic.services.test_visits_at_once import at_once
from tests.factories.clinic import NOW, PASSWORD, UserFactory

pytestmark = pytest.mark.django_db
ACTOR = Actor(word="test")
EIGHT = "vat kilo"


def change(user: User, **changed: object) -> User:
    values = {"full_name": user.full_name, "roles": sorted(user.roles), "is_active": user.is_active, **changed}
    return staff_change(actor=ACTOR, now=NOW, user=user, **values)  # type: ignore[arg-type]


def test_somebody_invited_logs_in_with_the_password_told_and_must_change_it() -> None:
    user, password = staff_invite(actor=ACTOR, now=NOW, username="mira", full_name="Mira Holm", roles=["front_desk"])
    assert user.check_password(password)
    assert user.must_change_password
    assert password not in str(Event.objects.values().get())


def test_first_passwords_are_drawn_by_chance() -> None:
    assert len({first_password() for _ in range(50)}) == 50


def test_a_change_writes_only_what_differs() -> None:
    user = change(UserFactory(), roles=["front_desk", "manager"])
    assert User.objects.get(pk=user.pk).roles == {"front_desk", "manager"}
    event = Event.objects.get()
    assert (event.verb, event.fields) == ("staff.changed", ["is_front_desk", "is_manager", "is_therapist"])
    change(user)
    assert Event.objects.count() == 1


@pytest.mark.parametrize("changed", [{"is_active": False}, {"roles": ["therapist"]}])
def test_the_last_manager_stays_one(changed: dict[str, object]) -> None:
    manager = UserFactory(manager=True)
    UserFactory(manager=True, is_active=False)
    with pytest.raises(StaffRefused, match="nobody else is a manager"):
        change(manager, **changed)
    assert User.objects.get(pk=manager.pk).is_manager
    UserFactory(manager=True)
    change(manager, **changed)


@pytest.mark.parametrize("roles", [[], ["student", "therapist"], ["doctor"]])
def test_roles_that_cannot_be(roles: list[str]) -> None:
    with pytest.raises(StaffRefused):
        change(UserFactory(), roles=roles)


def test_a_short_password_is_enough_only_beside_a_second_factor() -> None:
    user = UserFactory()
    with pytest.raises(StaffRefused, match="15 characters"):
        password_change(actor=ACTOR, now=NOW, user=user, password=EIGHT)
    factor_for(user)
    password_change(actor=ACTOR, now=NOW, user=user, password=EIGHT)
    assert user.check_password(EIGHT)
    with pytest.raises(StaffRefused, match="8 characters"):
        password_change(actor=ACTOR, now=NOW, user=user, password=EIGHT[:7])


@pytest.mark.parametrize("password", ["x" * 201, "password-password", "Thea Pist Thea Pist", "wearwindow-clinic"])
def test_passwords_that_are_refused(password: str) -> None:
    with pytest.raises(StaffRefused):
        password_change(actor=ACTOR, now=NOW, user=UserFactory(full_name="Thea Pist"), password=password)


def test_a_lost_factor_goes_together_with_the_password() -> None:
    user = UserFactory()
    assert staff_factor_remove(actor=ACTOR, now=NOW, user=user) is None
    assert user.check_password(PASSWORD)
    factor_for(user)
    password = staff_factor_remove(actor=ACTOR, now=NOW, user=user)
    assert factor_of(user) is None
    assert password is not None
    assert user.check_password(password)
    assert user.must_change_password


def test_a_chosen_password_ends_the_first_one() -> None:
    user = UserFactory()
    first = staff_first_password(actor=ACTOR, now=NOW, user=user)
    password_change(actor=ACTOR, now=NOW, user=user, password="another long phrase")
    assert not user.check_password(first)
    assert not user.must_change_password


def _resign(managers: Sequence[User], number: int) -> User:
    return change(managers[number], roles=["therapist"])


@pytest.mark.django_db(transaction=True)
def test_of_two_managers_who_take_each_other_s_role_away_at_once_one_stays() -> None:
    for _ in range(5):
        User.objects.update(is_manager=False)
        pair = [UserFactory(manager=True), UserFactory(manager=True)]
        assert at_once(partial(_resign, pair), 2) == [StaffRefused.__name__, "done"]
        assert User.objects.filter(is_manager=True).count() == 1
