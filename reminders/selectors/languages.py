"""How many people want which language."""

from django.db.models import Count, Exists, OuterRef

from clinic.models import Helper, Patient
from clinic.models.people import ASKED_FOR


def people_by_language() -> dict[str, int]:
    """How many people get messages in each language they asked for: a patient, or the helper who gets them.

    Two queries. Not of the language that everybody begins with: whoever has it may only not have been asked, and
    to count them would mean to read all patients.
    """
    helpers = Helper.objects.filter(gets_messages=True)
    own = Patient.objects.filter(ASKED_FOR, erased_at=None).exclude(Exists(helpers.filter(patient=OuterRef("pk"))))
    helpers = helpers.filter(ASKED_FOR)
    found: dict[str, int] = {}
    for rows in (own, helpers):
        for language, count in rows.order_by().values_list("language").annotate(count=Count("pk")):
            found[language] = found.get(language, 0) + count
    return found
