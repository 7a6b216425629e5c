"""Who may be added as staff."""

from typing import Any

import pytest

from clinic.models import Event, User
from clinic.services.events import Actor
from clinic.services.staff import StaffRefused, staff_add
from tests.factories.clinic import NOW, PASSWORD, UserFactory

pytestmark = pytest.mark.django_db


def add(**changed: Any) -> User:
    values = {"username": "thea", "full_name": "Thea Pist", "roles": ["therapist"], "password": PASSWORD}
    return staff_add(actor=Actor(word="test"), now=NOW, **{**values, **changed})


def test_somebody_added_can_log_in_with_their_roles() -> None:
    user = add(roles=["therapist", "manager"])
    assert user.roles == {"therapist", "manager"}
    assert user.check_password(PASSWORD)
    assert Event.objects.get().verb == "staff.added"


@pytest.mark.parametrize(
    ("changed", "why"),
    [
        ({"roles": []}, "none at all"),
        ({"roles": ["doctor"]}, "not doctor"),
        ({"roles": ["therapist", "student"]}, "choose student or therapist"),
        ({"username": " "}, "log-in name is needed"),
        ({"full_name": "\u200b"}, "a name is needed"),
        ({"full_name": "Thea\nPist"}, "cannot be kept"),
        ({"password": "short"}, "too short"),
        ({"password": "1q2w3e4r5t6y7u8i9o0p"}, "too common"),
        ({"username": "a long username", "password": "a long username"}, "too similar"),
    ],
)
def test_nonsense_is_refused_and_nobody_added(changed: dict[str, Any], why: str) -> None:
    with pytest.raises(StaffRefused, match=why):
        add(**changed)
    assert User.objects.count() == 0


def test_a_name_taken_is_taken_whatever_its_case() -> None:
    """Two log-ins that differ in a capital letter only would be mixed up at every shared tablet."""
    UserFactory(username="Thea")
    with pytest.raises(StaffRefused, match="taken"):
        add(username="thea")
