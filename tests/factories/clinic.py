"""Staff, patients, helpers and visits."""

from datetime import UTC, date, datetime, timedelta

import factory
from factory.django import DjangoModelFactory

from clinic.models import Helper, Patient, User, Visit

NOW = datetime(2027, 3, 10, 15, 0, tzinfo=UTC)  # Wednesday, 10:00 in New York, before the clock change of 14 March
PASSWORD = "a long enough phrase"


class UserFactory(DjangoModelFactory[User]):
    class Meta:
        model = User
        skip_postgeneration_save = True

    username = factory.Sequence(lambda n: f"person{n}")
    full_name = factory.Sequence(lambda n: f"Thea Pist {n}")
    is_therapist = True

    @factory.post_generation  # type: ignore[untyped-decorator]
    def password(self, create: bool, extracted: str | None, **kwargs: object) -> None:
        self.set_password(extracted or PASSWORD)
        if create:
            self.save()

    class Params:
        desk = factory.Trait(is_therapist=False, is_front_desk=True)
        manager = factory.Trait(is_therapist=False, is_manager=True)
        student = factory.Trait(is_therapist=False, is_student=True)


# Never one that a test writes out: a helper's, the clinic's, or what a number is changed to. From 170 on all may be.
NUMBERS = sorted({*range(100, 170)} - {100, 101, 102, 111, 122, 123, 124, 133, 142, 144, 155, 166})


class PatientFactory(DjangoModelFactory[Patient]):
    """An adult who agreed to text messages."""

    class Meta:
        model = Patient

    full_name = factory.Sequence(lambda n: f"Ada Quill {n}")
    call_me = "Ada"
    born = date(1985, 4, 3)
    phone = factory.Sequence(lambda n: f"+1212555{NUMBERS[n % len(NUMBERS)]:04d}")
    email = factory.Sequence(lambda n: f"ada{n}@example.org")
    consents = True
    consent_at = NOW - timedelta(days=30)


class HelperFactory(DjangoModelFactory[Helper]):
    class Meta:
        model = Helper

    patient = factory.SubFactory(PatientFactory)
    full_name = "Hal Per"
    phone = "+12125550177"


class VisitFactory(DjangoModelFactory[Visit]):
    """A booked half hour, a day after NOW."""

    class Meta:
        model = Visit

    patient = factory.SubFactory(PatientFactory)
    therapist = factory.SubFactory(UserFactory)
    starts_at = factory.Sequence(lambda n: NOW + timedelta(days=1, minutes=30 * n))
    ends_at = factory.LazyAttribute(lambda visit: visit.starts_at + timedelta(minutes=30))
    created_at = NOW
    changed_at = NOW
