"""Reads: the call list, the patient's link, the outbox, the record, tape on the skin, Today, what waits."""
