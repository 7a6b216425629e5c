"""A way out that remembers, and a clock that stands where a test puts it."""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import datetime
from uuid import UUID

import pytest

from clinic.models import Clinic
from reminders.services import reconciling
from reminders.services.running import RunReport, run_due
from reminders.transports import Outgoing, Transport, TransportError

Answer = Callable[[Outgoing], str]


@dataclass
class Recorder(Transport):
    """Remembers what it was given. answers are used up first; each is an exception to raise or an id to return."""

    sent: list[Outgoing] = field(default_factory=list)
    tried: list[Outgoing] = field(default_factory=list)
    answers: list[BaseException | str] = field(default_factory=list)
    on_send: Callable[[Outgoing], object] = lambda outgoing: None

    def send(self, outgoing: Outgoing) -> str:
        self.tried.append(outgoing)
        self.on_send(outgoing)
        answer = self.answers.pop(0) if self.answers else "id"
        if isinstance(answer, BaseException):
            raise answer
        self.sent.append(outgoing)
        return answer

    @property
    def kinds(self) -> list[str]:
        return [outgoing.kind for outgoing in self.sent]

    @property
    def keys(self) -> list[UUID]:
        return [outgoing.key for outgoing in self.tried]


@dataclass
class Ways:
    """The two ways out of a test, and one pass of the engine through them."""

    sms: Recorder = field(default_factory=Recorder)
    email: Recorder = field(default_factory=Recorder)

    def run(self, at: datetime) -> RunReport:
        return run_due(lambda: at, transports={"sms": self.sms, "email": self.email})


@pytest.fixture
def ways(clinic: Clinic) -> Ways:
    reconciling._told.clear()
    Clinic.objects.update(planned_version=clinic.plan_version)
    return Ways()


def refused(code: int) -> TransportError:
    return TransportError("refused", protocol="smtp", code=code)


def silence(*, handed_over: bool) -> TransportError:
    return TransportError("nothing heard", protocol="smtp", handed_over=handed_over)
