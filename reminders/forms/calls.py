"""How a call ended, and what a therapist found on reported skin."""

from datetime import datetime, time, timedelta
from zoneinfo import ZoneInfo

from django import forms

from clinic.rules.local_time import at_clock
from reminders.rules.call_endings import CallEnding
from reminders.services.call_work import MOST_NOTE, CallResult
from taping.models import SkinReport
from taping.rules.clock import local_date
from taping.rules.skin_grades import INJURY_TYPES, TEAR_TYPES
from taping.services.reports import TOLD_WHOM, ReportGrade

AGAIN_CHOICES = (
    ("15m", "in 15 minutes"),
    ("1h", "in an hour"),
    ("3h", "in three hours"),
    ("tomorrow", "tomorrow morning"),
)
_LATER = {"15m": timedelta(minutes=15), "1h": timedelta(hours=1), "3h": timedelta(hours=3)}
_MORNING = time(9)
NOON = time(12)
DAYS_BACK = 10


def try_again_at(choice: str, *, now: datetime, zone: ZoneInfo) -> datetime:
    """The moment a choice of AGAIN_CHOICES means at now (aware); tomorrow is 09:00 in the clinic's zone."""
    if choice in _LATER:
        return now + _LATER[choice]
    return at_clock(local_date(now, zone) + timedelta(days=1), _MORNING, zone)


def off_choices(*, now: datetime, zone: ZoneInfo) -> list[tuple[str, str]]:
    """The clinic's days on which a tape may have come off, today first, for a select."""
    today = local_date(now, zone)
    days = [today - timedelta(days=number) for number in range(DAYS_BACK + 1)]
    words = {0: "today", 1: "yesterday"}
    return [(day.isoformat(), words.get(number, f"{day:%a} {day.day} {day:%b}")) for number, day in enumerate(days)]


class CallForm(forms.Form):
    what = forms.ChoiceField(choices=[(ending.value, ending.value) for ending in CallEnding])
    again = forms.ChoiceField(choices=AGAIN_CHOICES, required=False, label="When nobody answers, try again")
    off_on = forms.DateField(required=False, input_formats=["%Y-%m-%d"], label="Off since")
    note = forms.CharField(
        required=False, max_length=MOST_NOTE, label="Note", widget=forms.Textarea(attrs={"rows": 2, "dir": "auto"})
    )

    def result(self, *, now: datetime, zone: ZoneInfo) -> CallResult:
        """What a valid form says. Where a call was answered and the item stays, it is looked at again tomorrow."""
        what = self.cleaned_data["what"]
        choice = self.cleaned_data["again"] or "1h" if what == CallEnding.NO_ANSWER else "tomorrow"
        off_on = self.cleaned_data["off_on"]
        # On an earlier day nobody remembers the hour; noon keeps the day right.
        off_at = at_clock(off_on, NOON, zone) if off_on and off_on != local_date(now, zone) else now
        return CallResult(what, self.cleaned_data["note"], try_again_at(choice, now=now, zone=zone), off_at)


KIND_CHOICES = (
    ("no_change", "No change seen on the skin today"),
    *((f"injury:{grade.key}", grade.words) for grade in INJURY_TYPES),
    # On its own "no skin is lost" reads like an all-clear.
    *((f"tear:{grade.key}", f"The skin tore. {grade.words}") for grade in TEAR_TYPES),
    ("not_seen", "Not seen here: the patient was seen elsewhere or did not come"),
)


class ReportForm(forms.Form):
    """The therapist's finding on a skin report, what was advised, who was told, and when it is looked at again."""

    kind = forms.ChoiceField(
        choices=KIND_CHOICES,
        label="What was found on the skin",
        widget=forms.RadioSelect,
        error_messages={"required": "Say what was found on the skin."},
    )
    advice = forms.CharField(
        max_length=2000,
        required=False,
        label="What was advised",
        widget=forms.Textarea(attrs={"rows": 3, "dir": "auto"}),
    )
    told_whom = forms.MultipleChoiceField(
        choices=list(TOLD_WHOM.items()),
        label="Who was told?",
        widget=forms.CheckboxSelectMultiple(attrs={"class": "form-check-input"}),
        error_messages={"required": "Say who was told; “nobody” is an answer."},
    )
    told = forms.CharField(max_length=200, required=False, label="Their name, where it helps")
    follow_up_on = forms.DateField(
        required=False,
        label="Look at the skin again on",
        input_formats=["%Y-%m-%d"],
        widget=forms.DateInput(attrs={"type": "date"}, format="%Y-%m-%d"),
        error_messages={"invalid": "Write the date with year, month and day, like 2027-03-16."},
    )

    def grade(self) -> ReportGrade:
        said = self.cleaned_data
        kind, _, grade = said["kind"].partition(":")
        return ReportGrade(kind, grade, said["advice"], said["told"], tuple(said["told_whom"]), said["follow_up_on"])


def form_of(report: SkinReport) -> ReportForm:
    """An empty form; with what a therapist found already, where the report was kept open."""
    if not report.kind:
        return ReportForm()
    return ReportForm(
        initial={
            "kind": f"{report.kind}:{report.grade}" if report.grade else report.kind,
            "advice": report.advised,
            "told_whom": report.told_whom,
            "told": report.told,
            "follow_up_on": report.follow_up_on,
        }
    )
