"""The invented clinic, loaded once for all tests of it and then undone."""

from collections.abc import Iterator
from datetime import UTC, datetime

import pytest
from django.db import transaction
from pytest_django.plugin import DjangoDbBlocker

from reminders.demo.loading import demo_load
from reminders.demo.reading import Fixtures, fixtures_read

LOADED_AT = datetime(2027, 3, 10, 15, 2, tzinfo=UTC)
"""Wednesday 10 March 2027, 10:02 in New York; the clocks change four days later (IANA tz database)."""


class _Over(Exception):
    pass


@pytest.fixture(scope="module")
def demo(django_db_setup: None, django_db_blocker: DjangoDbBlocker) -> Iterator[Fixtures]:
    """The clinic as it stands at LOADED_AT. Its tests are marked django_db, or there would be no database to load."""
    fixtures = fixtures_read()
    with django_db_blocker.unblock():
        try:
            with transaction.atomic():
                demo_load(fixtures, LOADED_AT)
                yield fixtures
                raise _Over
        except _Over:
            return
