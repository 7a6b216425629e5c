"""What the services write about a patient, and what messages learn of it."""

from typing import Any

import pytest

from clinic.models import Event, Helper, Patient
from clinic.services.events import Actor
from clinic.services.patients import (
    HelperChanged,
    PatientChanged,
    helper_change,
    helper_remove,
    helper_save,
    patient_add,
    patient_change,
    patient_consent,
)
from clinic.signals import messages_stale
from tests.factories.clinic import NOW, HelperFactory, PatientFactory, UserFactory

pytestmark = pytest.mark.django_db


def stored(patient: Patient) -> Patient:
    return Patient.objects.get(pk=patient.pk)


def change(patient: Patient, version: int = 1, **values: Any) -> Patient:
    return patient_change(actor=Actor(), now=NOW, patient=patient, values=values, version=version)


def test_an_added_patient_has_consent_with_date_and_who_asked() -> None:
    user = UserFactory()
    added = patient_add(actor=Actor(user), now=NOW, values={"full_name": "Bea", "consents": True})
    assert (added.consent_at, added.consent_asked_by, added.search_text) == (NOW, user, "bea")


def test_without_consent_there_is_no_date() -> None:
    added = patient_add(actor=Actor(UserFactory()), now=NOW, values={"full_name": "Bea", "consents": False})
    assert (added.consent_at, added.consent_asked_by) == (None, None)


def test_only_what_differs_is_written() -> None:
    """A job that set another field meanwhile keeps its work: the form writes its own fields and no others."""
    patient = PatientFactory(note="")
    Patient.objects.filter(pk=patient.pk).update(planned_version=7)
    change(patient, note="Likes tea", email=patient.email)
    assert (stored(patient).note, stored(patient).planned_version) == ("Likes tea", 7)
    assert Event.objects.get(verb="patient.changed").fields == ["note"]


def test_nothing_different_writes_nothing() -> None:
    patient = PatientFactory()
    change(patient, email=patient.email)
    assert (stored(patient).version, Event.objects.count()) == (1, 0)


def test_a_stale_version_is_refused_with_the_stored_one() -> None:
    patient = PatientFactory()
    change(patient, note="first")
    with pytest.raises(PatientChanged) as changed:
        change(patient, note="second")
    assert (changed.value.current.note, stored(patient).note) == ("first", "first")


def test_a_new_name_is_found_under_itself() -> None:
    patient = PatientFactory(full_name="Old")
    change(patient, full_name="Zoë")
    assert stored(patient).search_text == "zoe"


def test_messages_are_planned_anew_after_a_change(django_capture_on_commit_callbacks: Any) -> None:
    """Told after commit, and remembered in the row for the case that nobody heard."""
    heard: list[object] = []

    def hear(**kwargs: object) -> None:
        heard.append(kwargs["signal"])

    messages_stale.connect(hear)
    patient = PatientFactory()
    with django_capture_on_commit_callbacks(execute=True):
        change(patient, phone="+12125550199")
        assert heard == []
    messages_stale.disconnect(hear)
    assert (heard, stored(patient).plan_version) == ([messages_stale], patient.plan_version + 1)


def test_withdrawing_keeps_when_consent_was_given() -> None:
    patient = PatientFactory()
    patient_consent(actor=Actor(), now=NOW, patient=patient, consents=False)
    after = stored(patient)
    assert (after.consents, after.consent_at, after.consent_withdrawn_at) == (False, patient.consent_at, NOW)
    assert after.version == 2


def test_withdrawing_twice_is_one_withdrawal() -> None:
    patient = PatientFactory()
    for _ in range(2):
        patient_consent(actor=Actor(), now=NOW, patient=patient, consents=False)
    assert Event.objects.filter(verb="patient.consent_withdrawn").count() == 1


def test_a_consent_given_in_the_form_is_dated_there_too() -> None:
    user, patient = UserFactory(), PatientFactory(consents=False, consent_at=None)
    patient_change(actor=Actor(user), now=NOW, patient=patient, values={"consents": True}, version=1)
    assert (stored(patient).consent_at, stored(patient).consent_asked_by) == (NOW, user)


def test_one_helper_at_most_gets_the_messages() -> None:
    first = HelperFactory(gets_messages=True)
    second = Helper(full_name="Second", phone="+12125550178", gets_messages=True)
    helper_save(actor=Actor(), now=NOW, patient=first.patient, helper=second)
    assert list(first.patient.helpers.filter(gets_messages=True)) == [second]


def test_another_patients_helper_is_left_alone() -> None:
    elsewhere = HelperFactory(gets_messages=True)
    helper_save(actor=Actor(), now=NOW, patient=PatientFactory(), helper=Helper(full_name="X", gets_messages=True))
    elsewhere.refresh_from_db()
    assert elsewhere.gets_messages is True


@pytest.mark.parametrize("verb", ["helper.saved", "helper.removed"])
def test_helpers_come_and_go_with_an_event_and_a_new_plan(verb: str) -> None:
    helper = HelperFactory()
    before = stored(helper.patient).plan_version
    if verb == "helper.saved":
        helper_save(actor=Actor(), now=NOW, patient=helper.patient, helper=helper)
    else:
        helper_remove(actor=Actor(), now=NOW, helper=helper)
    assert Event.objects.get().verb == verb
    assert stored(helper.patient).plan_version == before + 1


def helper_changed(helper: Helper, version: int = 1, **values: Any) -> Helper:
    return helper_change(actor=Actor(), now=NOW, helper=helper, values=values, version=version)


def test_a_change_of_a_helper_writes_what_differs_and_raises_the_version() -> None:
    helper = HelperFactory()
    before = stored(helper.patient).plan_version
    Helper.objects.filter(pk=helper.pk).update(call_me="Hal")
    changed = helper_changed(helper, phone="+12125550199", full_name="Hal Per")
    assert (changed.phone, changed.version) == ("+12125550199", 2)
    assert Helper.objects.get().call_me == "Hal"
    assert Event.objects.get().fields == ["phone"]
    assert stored(helper.patient).plan_version == before + 1


def test_a_helper_saved_unchanged_writes_nothing() -> None:
    helper = HelperFactory()
    helper_changed(helper, full_name="Hal Per")
    assert (Helper.objects.get().version, Event.objects.count()) == (1, 0)


def test_a_stale_form_about_a_helper_is_refused_with_the_stored_one() -> None:
    helper = HelperFactory()
    helper_changed(helper, phone="+12125550199")
    with pytest.raises(HelperChanged) as refused:
        helper_changed(helper, phone="+12125550111")
    assert refused.value.current.phone == "+12125550199"


def test_who_gets_the_messages_no_longer_was_changed_too() -> None:
    """A form about the first one that was opened before must not take the messages back unseen."""
    first = HelperFactory(gets_messages=True)
    second = HelperFactory(patient=first.patient)
    helper_changed(second, gets_messages=True)
    with pytest.raises(HelperChanged):
        helper_changed(first, phone="+12125550199")
    assert list(Event.objects.filter(subject_id=str(first.pk)).values_list("fields", flat=True)) == [["gets_messages"]]
