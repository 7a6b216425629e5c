"""Setting up a new clinic: what is needed, what is done, and where to do the rest."""

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils import timezone
from django.views.decorators.http import require_safe

from clinic.views.access import clinic_of, for_roles
from reminders.selectors.first_steps import steps_of
from reminders.services.ways_out import FOLDER


def _places() -> dict[str, str]:
    """Where each step is done; what is set where the program runs has no page."""
    form, staff = reverse("settings"), reverse("staff")
    fields = ("name", "telephone", "emergency_number", "out_of_hours_advice", "duty_address")
    return {
        **{name: f"{form}#id_{name}" for name in fields},
        "hours": f"{form}#opening-hours",
        "therapist": staff,
        "second_manager": staff,
        "roll": reverse("rolls"),
    }


@for_roles("manager")
@require_safe
def steps(request: HttpRequest) -> HttpResponse:
    """Every step with its reason, those not done first in sight."""
    places = _places()
    clinic = clinic_of(request)
    steps_found = steps_of(
        clinic,
        sends_mail=not settings.EMAIL_URL.startswith(FOLDER),
        sends_texts=not settings.SMS_GATEWAY_URL.startswith(FOLDER),
    )
    shown = [(step, places.get(step.key, "")) for step in steps_found]
    context = {
        "required": [one for one in shown if one[0].required],
        "advised": [one for one in shown if not one[0].required],
        "time_zone": clinic.time_zone,
        "clock": timezone.localtime(),
        "country": clinic.country,
        "left": sum(step.required and not step.done for step in steps_found),
    }
    return render(request, "reminders/first_steps.html", context)
