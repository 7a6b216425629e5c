"""What Django asks before a password is set."""

from typing import Any

from django.core.exceptions import ValidationError

from clinic.models import Clinic, User
from clinic.rules.passwords import is_made_of, least_length
from clinic.services.second_factor import factor_of

LONGEST = 200
"""Characters; longer ones would only cost time to hash."""
OURS = ("wearwindow", "tape", "taping", "clinic", "password", "welcome", "letmein", "admin", "staff")


class LongEnough:
    """At least 15 characters, or 8 for somebody with a second factor."""

    def validate(self, password: str, user: User | None = None) -> None:
        least = self._least(user)
        if len(password) < least:
            raise ValidationError(
                f"This password is too short: write {least} characters or more.", "password_too_short"
            )
        if len(password) > LONGEST:
            raise ValidationError(f"This password is too long: {LONGEST} characters fit.", "password_too_long")

    def get_help_text(self) -> str:
        return "At least 15 characters, or 8 with a second factor. Several words are easier to keep than signs."

    @staticmethod
    def _least(user: Any) -> int:
        return least_length(with_code=bool(user and user.pk and factor_of(user)))


class NotOurWords:
    """Not only words that everybody here would try."""

    def validate(self, password: str, user: User | None = None) -> None:
        names = [user.username, user.full_name] if user else []
        clinic = Clinic.objects.values_list("name", "address").first() or ()
        if is_made_of(password, [*OURS, *clinic, *names]):
            raise ValidationError(
                "This password is made only of words that anybody would try here. Add other words.", "password_ours"
            )

    def get_help_text(self) -> str:
        return "Not only the names of the clinic, of this program or of yourself."
