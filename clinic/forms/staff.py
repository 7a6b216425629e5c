"""The forms about members of staff and their own log-in."""

from typing import Any

from django import forms

from clinic.forms.fields import LineField, NameField
from clinic.services.password_checks import LONGEST
from clinic.services.staff import LONGEST_USERNAME, ROLES

ROLE_WORDS = {
    "front_desk": "Front desk: visits, contact details, call list",
    "therapist": "Therapist: screens skin, tapes, grades skin reports",
    "student": "Student: as a therapist, under a supervisor who signs",
    "manager": "Manager: settings, staff, message texts, event log",
}


class StaffForm(forms.Form):
    """Name and roles of a member of staff."""

    full_name = NameField(label="Full name", error_messages={"required": "Write the person's name."})
    roles = forms.MultipleChoiceField(
        label="What they do here",
        choices=[(role, ROLE_WORDS[role]) for role in ROLES],
        widget=forms.CheckboxSelectMultiple,
        error_messages={"required": "Tick at least one."},
    )
    is_active = forms.BooleanField(label="Works here and may log in", required=False, initial=True)


class StaffAddForm(StaffForm):
    """A new member of staff."""

    username = LineField(
        label="Log-in name",
        longest=LONGEST_USERNAME,
        help_text="Short, without spaces. It stays.",
        error_messages={"required": "Write a log-in name."},
    )
    is_active = None  # type: ignore[assignment]  # Django's way to leave a field out


def _password(label: str, autocomplete: str, missing: str, **more: Any) -> forms.CharField:
    return forms.CharField(
        label=label,
        strip=False,
        max_length=LONGEST,
        widget=forms.PasswordInput(attrs={"autocomplete": autocomplete}),
        error_messages={"required": missing, "max_length": f"At most {LONGEST} characters fit."},
        **more,
    )


class PasswordForm(forms.Form):
    """A new password of one's own."""

    old_password = _password("Password until now", "current-password", "Write the password you logged in with.")
    new_password = _password(
        "New password",
        "new-password",
        "Write a new password.",
        help_text="15 characters or more; 8 are enough with a second factor. Several words are easier to keep than "
        "signs. It may be pasted from a password keeper.",
    )
    again = _password("The new password again", "new-password", "Write the new password a second time.")

    def clean(self) -> dict[str, Any]:
        found = super().clean() or {}
        if found.get("again") and found.get("new_password") and found["again"] != found["new_password"]:
            self.add_error("again", "The two new passwords differ.")
        return found


class CodeForm(forms.Form):
    """A code of the app, or a recovery code."""

    code = forms.CharField(
        label="Code",
        max_length=40,
        widget=forms.TextInput(attrs={"autocomplete": "one-time-code", "autofocus": True, "spellcheck": "false"}),
        error_messages={"required": "Write the code.", "max_length": "A code is shorter."},
    )


class OwnPasswordForm(forms.Form):
    """The password of whoever is logged in, written again before something that others would misuse."""

    password = _password("Your password", "current-password", "Write your password.")


class ProvedCodeForm(CodeForm):
    """A code of the app, and the password, where that was written a while ago."""

    password = _password("Your password", "current-password", "Write your password.")
