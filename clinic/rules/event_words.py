"""What stands in the event table, in words."""

WORDS: dict[str, str] = {
    "application.changed": "Record of a tape corrected",
    "application.countersigned": "Tape signed by the supervisor",
    "application.described": "How a tape came off written down",
    "application.ended": "Tape ended",
    "application.handed_over": "Tape handed over",
    "application.read": "Record of a tape looked at",
    "application.remover_settled": "Who takes a tape off settled",
    "application.removal_moved": "Removal day moved",
    "application.reopened": "End of a tape taken back",
    "application.skin_looked": "Skin looked at after a tape",
    "application.started": "Tape put on",
    "backup.made": "Backup made",
    "backup.restored": "Clinic restored from a backup",
    "call.closed": "Call closed by itself",
    "call.opened": "Put on the call list",
    "call.reopened": "Call taken up again",
    "clinic.changed": "Settings changed",
    "closure.added": "Day closed",
    "closure.removed": "Day opened again",
    "day_list.printed": "Printed on a list of the day",
    "duty.told": "Duty address told of a skin report",
    "events.exported": "Event log downloaded",
    "events.read": "Event log looked at",
    "events.removed": "Old events removed",
    "feed.made": "Own calendar address made",
    "feed.stopped": "Own calendar address stopped",
    "helper.removed": "Helper removed",
    "helper.saved": "Helper added or changed",
    "hours.changed": "Hours changed",
    "import.columns_chosen": "List of patients: columns chosen",
    "import.dropped": "List of patients dropped",
    "import.uploaded": "List of patients uploaded",
    "import.written": "List of patients written",
    "language.approved": "Language approved by name",
    "language.chosen": "Clinic's own language chosen",
    "language.withdrawn": "Language switched off",
    "link.revoked": "Patient's link made new",
    "message.sent_again": "Message sent again",
    "message.undelivered": "Message did not arrive",
    "messages.emptied": "Words and addresses of old messages removed",
    "pain.corrected": "Pain score corrected",
    "pain.recorded": "Pain score recorded",
    "patient.added": "Patient added",
    "patient.changed": "Details changed",
    "patient.consent_withdrawn": "Agreement to reminders withdrawn",
    "patient.consented": "Agreement to reminders recorded",
    "patient.erased": "Record erased",
    "patient.exported": "Record handed out as a file",
    "patient.read": "Record looked at",
    "patient.seen_read": "List of who saw the record looked at",
    "patients.exported": "Every patient downloaded",
    "plan.started": "Strip plan begun",
    "report.closed": "Skin report closed",
    "report.graded": "Skin report judged",
    "report.read": "Skin report looked at",
    "report.saved": "Skin report made",
    "retention.changed": "Periods of keeping changed",
    "roll.added": "Roll of tape added",
    "roll.measured": "Roll of tape measured",
    "roll.put_away": "Roll of tape put away",
    "roll.returned": "Roll of tape in use again",
    "screen.countersigned": "Skin screen signed by the supervisor",
    "screen.not_taped": "Screen marked as not taped",
    "screen.recorded": "Skin screen recorded",
    "screen_draft.begun": "Skin screen begun",
    "screen_draft.discarded": "Begun skin screen discarded",
    "screen_draft.dropped": "Begun skin screen dropped by itself",
    "screen_draft.saved": "Begun skin screen saved",
    "sheet.printed": "Sheet printed",
    "sheets.started": "Sheets made",
    "sheets.stopped": "Making of sheets stopped",
    "second_factor.code_used": "Recovery code used",
    "second_factor.codes_made": "Recovery codes made",
    "second_factor.refused": "Wrong code of a second factor",
    "second_factor.removed": "Second factor removed",
    "second_factor.set_up": "Second factor set up",
    "staff.added": "Member of staff added",
    "staff.changed": "Member of staff changed",
    "staff.log_in_refused": "Wrong password at the log-in",
    "staff.log_ins_ended": "Log-ins ended",
    "staff.logged_in": "Logged in",
    "staff.logged_out": "Logged out",
    "staff.page_refused": "Page refused",
    "staff.password_changed": "Own password changed",
    "staff.password_given": "New password given to a member of staff",
    "strip.taken_back": "Note about a strip taken back",
    "texts.changed": "Message texts changed",
    "time_off.added": "Time off entered",
    "visit.booked": "Visit booked",
    "visit.changed": "Visit changed",
    "visit.moved": "Visit moved",
}

KINDS: dict[str, tuple[str, frozenset[str]]] = {
    "seen": ("Looked at, printed or downloaded", frozenset()),
    "person": ("Details, helpers, agreement", frozenset({"patient", "helper"})),
    "taping": (
        "Screens, tapes, skin",
        frozenset({"screen", "screen_draft", "plan", "application", "strip", "pain", "report"}),
    ),
    "visit": ("Visits", frozenset({"visit"})),
    "contact": ("Calls, messages, links", frozenset({"call", "message", "messages", "link", "duty"})),
    "lists": ("Lists of patients", frozenset({"import"})),
    "house": (
        "Settings, staff, backups",
        frozenset(
            {
                "clinic",
                "language",
                "texts",
                "closure",
                "hours",
                "time_off",
                "staff",
                "roll",
                "backup",
                "retention",
                "events",
                "sheets",
                "second_factor",
                "feed",
            }
        ),
    ),
}
"""Key to its words and the nouns whose events it holds; what only looks is of the first kind, whatever its noun."""

_SEEING = frozenset({"read", "printed", "exported", "seen_read"})
SEEN = frozenset(verb for verb in WORDS if verb.partition(".")[2] in _SEEING)


def event_words(verb: str) -> str:
    """verb in words; one that has none yet is taken apart at its full stop."""
    if verb in WORDS:
        return WORDS[verb]
    noun, _, done = verb.partition(".")
    return f"{noun}: {done}".replace("_", " ").capitalize()


def nouns_of(kind: str) -> frozenset[str]:
    """The nouns of a kind; none for the first kind and for one that is not known."""
    return KINDS[kind][1] if kind in KINDS else frozenset()
