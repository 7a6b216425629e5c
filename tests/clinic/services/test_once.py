"""One tap, one record."""

from uuid import uuid4

import pytest

from clinic.models import OnceKey
from clinic.services.once import once
from tests.factories.clinic import NOW


@pytest.mark.django_db
def test_the_second_tap_is_led_to_what_the_first_made() -> None:
    key, made = uuid4(), []

    def make() -> str:
        made.append(1)
        return f"/made/{len(made)}/"

    assert once(key=key, now=NOW, make=make) == ("/made/1/", True)
    assert once(key=key, now=NOW, make=make) == ("/made/1/", False)
    assert len(made) == 1


@pytest.mark.django_db
def test_a_failure_leaves_the_key_unused() -> None:
    """The person puts the form right and sends it again with the same key."""
    key = uuid4()

    def fail() -> str:
        raise ValueError("not this time")

    with pytest.raises(ValueError, match="not this time"):
        once(key=key, now=NOW, make=fail)
    assert OnceKey.objects.count() == 0
    assert once(key=key, now=NOW, make=lambda: "/made/") == ("/made/", True)
