"""What to do now, from what a patient or therapist reports about the skin.

It gives an urgency from the signs. The grade is the therapist's, and no skin is ever called fine.
"""

import math
from collections.abc import Collection
from dataclasses import dataclass

from taping.rules.removal import Remover
from taping.rules.report_signs import ADVICE_STEPS, SIGNS, Sign, SignError, TapeAction, signs_named
from taping.rules.steps import Step
from taping.rules.urgency import Urgency, most_urgent

__all__ = ["INJURY_MINUTES", "SIGNS", "Advice", "Sign", "SignError", "Urgency", "advise"]

INJURY_MINUTES = 30
"""Minutes after removal from which a skin change that is still there may be an adhesive injury.

McNichol and others 2013, J WOCN 40(4): "30 minutes or more", so exactly 30 counts; a few pages say "longer than".
"""

_LATE_MINUTES = 24 * 60
"""Minutes after removal from which a skin change speaks for an allergy (24 to 96 hours, from memory)."""

_LATE_SIGNS = frozenset({"rash", "hives", "blister"})


@dataclass(frozen=True, slots=True)
class Advice:
    """How soon somebody has to see the patient, what to do now in order, and why.

    ``injury_possible``: a skin change lasted; ``allergy_possible``: it came late. Neither is a diagnosis.
    """

    urgency: Urgency
    steps: tuple[Step, ...]
    reasons: tuple[str, ...]
    injury_possible: bool = False
    allergy_possible: bool = False


def advise(
    signs: Collection[str],
    tape_on: bool,
    minutes_after_removal: float | None = None,
    *,
    remover: Remover = Remover.HOME,
) -> Advice:
    """Return what to do about ``signs``, emergencies first and the tape second.

    ``minutes_after_removal`` is elapsed time since the tape came off, None while it is on or when nobody knows;
    not knowing never lowers the urgency. ``remover`` is who takes this patient's tape off: where it is not the
    patient, no step says to take it off alone, unless the limb is in danger. A report without any sign is treated
    as one for today, since nobody knows what it is about.

    Raises:
        SignError: when a sign is unknown.
        ValueError: when the minutes are negative or no number, or are given with the tape still on.
    """
    found, remover = signs_named(signs), Remover(remover)
    minutes = _checked_minutes(tape_on, minutes_after_removal)
    if not found:
        nothing = "No sign was ticked: somebody has to ask today what it is."
        # No word about the tape: over a blister the ordinary removal steps would do harm.
        return Advice(Urgency.TODAY, _steps(found, Urgency.TODAY, False, remover), (nothing,))
    fresh = minutes is not None and minutes < INJURY_MINUTES
    lasted = minutes is not None and not fresh and any(sign.skin_change for sign in found)
    late = minutes is not None and minutes >= _LATE_MINUTES and any(sign.key in _LATE_SIGNS for sign in found)
    urgency = most_urgent(*(Urgency.WATCH if fresh and sign.settles else sign.urgency for sign in found))
    reasons = [_reason(sign, fresh and sign.settles) for sign in found] + _time_reasons(lasted, late)
    steps = _steps(found, urgency, tape_on, remover)
    return Advice(urgency, steps, tuple(reasons), injury_possible=lasted, allergy_possible=late)


def _checked_minutes(tape_on: bool, minutes: float | None) -> float | None:
    if minutes is None:
        return None
    if isinstance(minutes, bool) or not isinstance(minutes, int | float) or not math.isfinite(minutes) or minutes < 0:
        raise ValueError(f"the minutes after removal are {minutes!r}; give a number from 0, or None when not known")
    if tape_on:
        raise ValueError(f"the tape is on and {minutes!r} minutes after removal are given; leave one of them out")
    return minutes


def _reason(sign: Sign, settling: bool) -> str:
    if settling:
        return f"{sign.words}: it may settle; less than {INJURY_MINUTES} minutes have passed since removal."
    return f"{sign.words}: {sign.why}"


def _time_reasons(lasted: bool, late: bool) -> list[str]:
    reasons = []
    if lasted:
        reasons.append(
            f"Still there {INJURY_MINUTES} minutes or more after removal: it may be an adhesive injury "
            "(McNichol and others 2013). The therapist grades it."
        )
    if late:
        reasons.append(
            "Here a day or more after removal: it may be an allergy (from memory). "
            "No tape again before a doctor says so."
        )
    return reasons


def _steps(found: tuple[Sign, ...], urgency: Urgency, tape_on: bool, remover: Remover) -> tuple[Step, ...]:
    extra = {sign.extra_step for sign in found}
    keys = ["call_emergency"] if urgency is Urgency.EMERGENCY else []
    keys += [key for key in ("stroke", "adrenaline_pen") if key in extra]
    keys += _tape_steps(found, urgency, remover) if tape_on else []
    keys += [key for key in ("do_not_rub",) if key in extra]
    keys += {
        Urgency.WATCH: ["look_at_thirty"],
        Urgency.SOON: ["call_us"],
        Urgency.TODAY: ["seen_today"],
    }.get(urgency, [])
    keys.append("no_new_tape")
    if urgency is not Urgency.EMERGENCY:
        keys.append("watch_for_emergency")
    return tuple(ADVICE_STEPS[key] for key in keys)


def _tape_steps(found: tuple[Sign, ...], urgency: Urgency, remover: Remover) -> list[str]:
    actions = {sign.tape for sign in found}
    keys = ["tape_after_help"] if urgency is Urgency.EMERGENCY else []
    if TapeAction.OFF_NOW in actions:
        keys.append("tape_off_now")
    if TapeAction.SOAK in actions:
        keys.append("soak")
    if keys:
        return keys
    return ["tape_off" if remover is Remover.HOME else "tape_off_by_us"]
