"""What the clinic's services tell to whoever listens above them."""

from django.dispatch import Signal

# Sent after commit, without arguments that could go stale: "something that messages depend on has changed".
messages_stale = Signal()

# Sent inside the transaction, with visit: a listener above keeps what hangs on the visit in step with it.
visit_changing = Signal()
