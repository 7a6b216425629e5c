"""The messages page: did it reach them, what goes next and why."""

from dataclasses import dataclass
from urllib.parse import urlencode

from django.contrib import messages
from django.http import HttpRequest, HttpResponse
from django.shortcuts import get_object_or_404, redirect, render
from django.utils import timezone
from django.views.decorators.http import require_POST, require_safe

from clinic.models.people import Language
from clinic.rules.tongue import LANGUAGES, tongue_of
from clinic.views.access import STAFF, actor_of, clinic_of, for_roles
from clinic.views.posting import back_or, number_in
from reminders.forms.outbox import FilterForm
from reminders.models import Message
from reminders.selectors.outbox import MOST_PAGES, VIEWS, Filters, message_page
from reminders.services.preview import text_previews
from reminders.services.sending_again import NotAgain, message_send_again
from reminders.views import signs


@dataclass(frozen=True, slots=True)
class Tab:
    """One list of messages: its key in the address, its words, and what an empty one says."""

    key: str
    words: str
    empty: str


TABS = (
    Tab("needs", "Need a person", "Every message went, or is still to go. Nothing needs you here."),
    Tab("next", "Go next", "Nothing is planned. Messages are planned when tape goes on or a visit is booked."),
    Tab("went", "Went", "Nothing has been sent yet. Messages go by themselves once they are due."),
    Tab("dropped", "No longer wanted", "No message was dropped. One is dropped when its reason is gone."),
)


@for_roles(*STAFF)
@require_safe
def outbox_page(request: HttpRequest) -> HttpResponse:
    """One list at a time, those that need a person first; filters and page stand in the address."""
    wanted = request.GET.get("show", "")
    tab = next((tab for tab in TABS if tab.key == wanted), TABS[0])
    number = min(max(number_in(request, "page") or 1, 1), MOST_PAGES)
    states = [(state, signs.MESSAGE[state].word) for state in VIEWS[tab.key]]
    form = FilterForm(request.GET, states=states, kinds=signs.KIND.items())
    chosen = form.chosen()
    filters = Filters(zone=clinic_of(request).zone, **chosen)  # type: ignore[arg-type]  # the form named the fields
    kept = urlencode(chosen)
    context = {
        "tabs": [{"key": one.key, "words": one.words, "here": one is tab} for one in TABS],
        "show": tab.key,
        "heading": tab.words,
        "empty": tab.empty,
        "form": form,
        "one_state": len(states) == 1,
        "states": [(signs.MESSAGE[state], signs.MESSAGE_MEANS[state]) for state in VIEWS[tab.key]],
        "filtered": bool(chosen),
        "kept": kept,
        "rest": "&" + urlencode({"show": tab.key} | chosen),
        "here": request.get_full_path(),
        "page": message_page(tab.key, number=number, filters=filters),
    }
    return render(request, "reminders/messages.html", context)


@for_roles(*STAFF)
@require_safe
def message_texts(request: HttpRequest) -> HttpResponse:
    """What the text messages say, and how many segments each costs."""
    clinic = clinic_of(request)
    language = request.GET.get("language", clinic.language)
    language = language if language in LANGUAGES else clinic.language
    context = {
        "previews": text_previews(clinic=clinic, now=timezone.now(), language=language),
        "tongue": tongue_of(language),
        "languages": [(one.value, one.label, one.value == language) for one in Language],
        "label": Language(language).label,
        "is_on": clinic.speaks(language) == language,
    }
    return render(request, "reminders/message_texts.html", context)


@for_roles(*STAFF)
@require_POST
def message_again(request: HttpRequest, pk: int) -> HttpResponse:
    """Send one again that failed or is uncertain, and lead back to where it was asked."""
    message = get_object_or_404(Message, pk=pk)
    try:
        message_send_again(actor=actor_of(request), now=timezone.now(), message=message)
    except NotAgain as refused:
        messages.error(request, str(refused))
    else:
        messages.add_message(
            request, messages.SUCCESS, "It goes again now, unless quiet hours hold.", extra_tags="good"
        )
    return redirect(back_or(request, "messages"))
