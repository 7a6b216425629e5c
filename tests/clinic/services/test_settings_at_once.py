"""Managers press the button for the clinic's settings at once: each change is kept, or its manager is told."""

from collections.abc import Callable, Sequence
from datetime import time, timedelta
from functools import partial

import pytest

from clinic.models import Clinic, Closure, Event, OpeningHours, User
from clinic.selectors import clinic_get, hours_entered
from clinic.services.clinic import (
    SettingsChanged,
    changes_seal,
    clinic_change,
    closure_add,
    closure_remove,
    holidays_close,
    hours_change,
    hours_seal,
)
from clinic.services.events import Actor
from clinic.services.languages import language_approve
from tests.clinic.services.test_visits_at_once import FEW, at_once
from tests.factories.clinic import NOW, UserFactory

pytestmark = pytest.mark.django_db(transaction=True)
BY = Actor(word="manager")


def one_of_two(left: Callable[[], object], right: Callable[[], object], rounds: int = 5) -> None:
    """Both at the same moment, some rounds of it."""
    for _ in range(rounds):
        assert at_once(lambda number: (left, right)[number](), 2) == ["done", "done"]


def test_two_changes_of_different_numbers_are_both_kept(clinic: Clinic) -> None:
    one_of_two(
        lambda: clinic_change(actor=BY, now=NOW, values={"skin_rest_hours": 48}),
        lambda: clinic_change(actor=BY, now=NOW, values={"quiet_from": time(20)}),
    )
    assert (clinic_get().skin_rest_hours, clinic_get().quiet_from) == (48, time(20))


def test_an_approved_language_is_not_undone_by_settings_saved_at_the_same_moment(clinic: Clinic) -> None:
    one_of_two(
        lambda: clinic_change(actor=BY, now=NOW, values={"skin_rest_hours": 48}),
        lambda: language_approve(actor=BY, now=NOW, language="es", name="Ines Vale", on=NOW.date()),
    )
    assert (clinic_get().skin_rest_hours, list(clinic_get().languages)) == (48, ["es"])


def test_of_managers_who_were_shown_the_same_one_saves_and_the_others_are_told(clinic: Clinic) -> None:
    """Each was shown another change of the row that stood then; whoever comes second would undo the first unseen."""
    values = [{"skin_rest_hours": 30 + number, "water_minutes": 60 + number} for number in range(1, FEW + 1)]
    seals = [changes_seal(clinic, one) for one in values]
    outcomes = at_once(lambda number: clinic_change(actor=BY, now=NOW, values=values[number], seal=seals[number]), FEW)
    assert outcomes == [SettingsChanged.__name__] * (FEW - 1) + ["done"]
    stored = {name: getattr(clinic_get(), name) for name in values[0]}
    assert stored in values
    assert Event.objects.filter(verb="clinic.changed").count() == 1


def test_hours_written_at_once_are_one_managers_and_no_mixture(clinic: Clinic) -> None:
    seal = hours_seal(hours_entered(None))
    weeks = [{0: [(time(6 + number), time(20))]} for number in range(FEW)]
    outcomes = at_once(lambda number: hours_change(actor=BY, now=NOW, hours=weeks[number], seal=seal), FEW)
    assert outcomes == [SettingsChanged.__name__] * (FEW - 1) + ["done"]
    assert hours_entered(None) in weeks


def test_a_therapists_hours_written_at_once_are_no_mixture(clinic: Clinic) -> None:
    therapist: User = UserFactory()
    weeks = [{0: [(time(6 + number), time(20))]} for number in range(FEW)]
    at_once(lambda number: hours_change(actor=BY, now=NOW, hours=weeks[number], therapist=therapist), FEW)
    assert hours_entered(therapist) in weeks
    assert OpeningHours.objects.filter(therapist=therapist).count() == 1


def test_days_closed_and_opened_at_once_never_wait_for_each_other_for_good(clinic: Clinic) -> None:
    days = {NOW.date() + timedelta(days=number): "Holiday" for number in range(6)}
    for _ in range(5):
        Closure.objects.all().delete()
        made = closure_add(actor=BY, now=NOW, day=max(days))
        acts: list[Callable[[], object]] = [
            partial(holidays_close, actor=BY, now=NOW, days=days),
            partial(closure_add, actor=BY, now=NOW, day=min(days)),
            partial(closure_remove, actor=BY, now=NOW, closure=made),
        ]
        assert at_once(partial(_run, acts), len(acts)) == ["done"] * len(acts)


def _run(acts: Sequence[Callable[[], object]], number: int) -> object:
    return acts[number]()


def test_a_clinic_never_set_up_gets_one_row_from_several_at_once() -> None:
    changes = [{"name": "New Clinic"}, {"telephone": "(212) 555-0100"}, {"emergency_number": "911"}]

    def act(number: int) -> object:
        if number == len(changes):
            return closure_add(actor=BY, now=NOW, day=NOW.date())
        return clinic_change(actor=BY, now=NOW, values=changes[number])

    assert at_once(act, len(changes) + 1) == ["done"] * (len(changes) + 1)
    stored = Clinic.objects.get()
    assert (stored.name, stored.telephone, stored.emergency_number) == ("New Clinic", "(212) 555-0100", "911")
