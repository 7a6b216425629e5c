"""How a patient with tape on can be reached."""

from django.db.models import Exists, OuterRef, Q, QuerySet

from clinic.models import Helper, Patient
from clinic.models.people import Channel
from clinic.selectors import recipient_of
from reminders.models import RefusedAddress
from reminders.rules.leaving import Ways
from taping.models import Application

Refused = set[tuple[str, str]]


def with_refusals(tapes: QuerySet[Application]) -> QuerySet[Application]:
    """Tapes that say (any_refused) whether an address of the patient or a helper was refused: mostly none was."""
    helpers = Helper.objects.filter(patient=OuterRef(OuterRef("patient")))
    of_patient = Q(address=OuterRef("patient__phone")) | Q(address=OuterRef("patient__email"))
    of_helper = Q(address__in=helpers.values("phone")) | Q(address__in=helpers.values("email"))
    return tapes.annotate(any_refused=Exists(RefusedAddress.objects.filter(of_patient | of_helper)))


def ways_of(application: Application) -> Ways:
    """The ways to reach the patient of this tape, or to have it taken off.

    No query where helpers are prefetched and with_refusals says that nothing was refused.
    """
    patient = application.patient
    helpers = list(patient.helpers.all())
    people: list[Patient | Helper] = [patient, *helpers]
    refused = _refused(people) if getattr(application, "any_refused", True) else set()
    return Ways(
        telephone=any(one.phone and (Channel.SMS, one.phone) not in refused for one in people),
        messages=patient.consents and _works(recipient_of(patient), refused),
        helper=application.removal == Application.Removal.HELPER and application.helper_id is not None,
        visit=application.removal_visit_id is not None,
    )


def _refused(people: list[Patient | Helper]) -> Refused:
    listed = {address for one in people for address in (one.phone, one.email) if address}
    return set(RefusedAddress.objects.filter(address__in=listed).values_list("channel", "address"))


def _works(one: Patient | Helper, refused: Refused) -> bool:
    both = ((Channel.SMS, one.phone), (Channel.EMAIL, one.email))
    return any(address and (channel, address) not in refused for channel, address in both)
