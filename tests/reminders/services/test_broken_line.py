"""A line to PostgreSQL that breaks under a mark: known as that, so that what went is kept and marked later."""

from typing import Any

import pytest
from django.db import OperationalError, connection

from reminders.services.statements import ids_marked

pytestmark = [
    pytest.mark.django_db(transaction=True),
    pytest.mark.skipif(connection.vendor != "postgresql", reason="needs DATABASE_URL to name a PostgreSQL database"),
]
MARK = "UPDATE reminders_message SET why = why WHERE id = %(pk)s RETURNING id"


def test_it_is_no_fault_of_the_row() -> None:
    """At first the server says why (SQLSTATE 57P01), after that nobody is there to say anything."""
    assert ids_marked(MARK, {"pk": 1}) == set()
    held: Any = connection.connection
    other = connection.copy()
    with other.cursor() as cursor:
        cursor.execute("SELECT pg_terminate_backend(%s, 5000)", [held.info.backend_pid])
    other.close()
    for _ in range(2):
        with pytest.raises(OperationalError):
            ids_marked(MARK, {"pk": 1})
    connection.close()
    assert ids_marked(MARK, {"pk": 1}) == set()
