"""What the clinic's services tell to whoever listens above them."""

from django.dispatch import Signal

# Sent after commit, without arguments that could go stale: "something that messages depend on has changed".
messages_stale = Signal()

# Sent inside the transaction, with visit: a listener above keeps what hangs on the visit in step with it.
visit_changing = Signal()

# Sent with before and after, two Clinic rows of which the second is never saved, and now: a listener above answers with
# sentences that say what the change would do.
clinic_change_asked = Signal()

# Sent with patient: a listener above answers with the wear window of the tape that is on, as (first, last, applied,
# whether the clinic takes it off and the visit for that is still to be booked).
wear_window_wanted = Signal()
