"""The clinic's own row, its hours and closed days."""

from datetime import date, time
from typing import Any

import pytest

from clinic.models import Clinic, Closure, Event
from clinic.selectors import clinic_get, clinic_is_open, hours_of
from clinic.services.clinic import clinic_change, closure_add, closure_remove, hours_change
from clinic.services.events import Actor
from tests.factories.clinic import NOW

pytestmark = pytest.mark.django_db
HOLIDAY = date(2027, 3, 29)  # a Monday


def change(**values: Any) -> Clinic:
    return clinic_change(actor=Actor(), now=NOW, values=values)


def test_a_change_of_quiet_hours_plans_messages_anew(clinic: Clinic) -> None:
    change(quiet_from=time(20))
    assert (clinic_get().quiet_from, clinic_get().plan_version) == (time(20), clinic.plan_version + 1)
    assert Event.objects.get().fields == ["quiet_from"]


def test_units_are_shown_only_and_plan_nothing(clinic: Clinic) -> None:
    change(units="in")
    assert (clinic_get().units, clinic_get().plan_version) == ("in", clinic.plan_version)


def test_nothing_different_is_no_event(clinic: Clinic) -> None:
    change(name=clinic.name)
    assert Event.objects.count() == 0


def test_a_clinic_never_set_up_gets_its_row() -> None:
    change(name="New Clinic")
    assert Clinic.objects.get().name == "New Clinic"


def test_hours_are_replaced_whole(clinic: Clinic) -> None:
    hours_change(actor=Actor(), now=NOW, hours={5: [(time(9), time(12)), (time(13), time(15))]})
    assert hours_of(None) == {5: [(time(9), time(12)), (time(13), time(15))]}
    assert clinic_get().plan_version == clinic.plan_version + 1


def test_a_closed_day_is_closed_until_opened_again(clinic: Clinic) -> None:
    closure = closure_add(actor=Actor(), now=NOW, day=HOLIDAY, reason="Holiday")
    assert not clinic_is_open(HOLIDAY)
    closure_remove(actor=Actor(), now=NOW, closure=closure)
    assert clinic_is_open(HOLIDAY)
    assert clinic_get().plan_version == clinic.plan_version + 2


def test_closing_a_day_twice_keeps_the_newer_reason(clinic: Clinic) -> None:
    for reason in ("Holiday", "Flood"):
        closure_add(actor=Actor(), now=NOW, day=HOLIDAY, reason=reason)
    assert list(Closure.objects.values_list("reason", flat=True)) == ["Flood"]
