"""Two writers at once on the default database."""

import threading

import pytest
from django.db import connection, transaction

from clinic.models import Patient
from tests.factories.clinic import PatientFactory


@pytest.mark.django_db(transaction=True)
@pytest.mark.skipif(connection.vendor != "sqlite", reason="about SQLite's lock; PostgreSQL locks rows")
def test_whoever_reads_first_and_writes_later_waits_instead_of_failing() -> None:
    """SQLite refuses such a transaction at once, in spite of its time-out, unless it took the lock as it began."""
    patient, faults = PatientFactory(version=0), list[Exception]()
    both = threading.Barrier(2)

    def raise_version() -> None:
        both.wait()
        try:
            for _ in range(20):
                with transaction.atomic():
                    one = Patient.objects.get(pk=patient.pk)
                    Patient.objects.filter(pk=patient.pk).update(version=one.version + 1)
        except Exception as fault:  # noqa: BLE001  # whatever it is, the test shows it
            faults.append(fault)
        finally:
            connection.close()

    threads = [threading.Thread(target=raise_version) for _ in range(2)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    patient.refresh_from_db()
    assert (faults, patient.version) == ([], 40)
