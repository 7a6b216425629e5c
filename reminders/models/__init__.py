"""What is said to patients, what came back, and what a person has to do about it."""

from reminders.models.addresses import RefusedAddress
from reminders.models.call_items import CallItem
from reminders.models.leases import Lease
from reminders.models.links import Link
from reminders.models.messages import Message
from reminders.models.notices import Notice
from reminders.models.sheet_batches import BatchSheet, SheetBatch
from reminders.models.stop_links import StopLink

__all__ = ["BatchSheet", "CallItem", "Lease", "Link", "Message", "Notice", "RefusedAddress", "SheetBatch", "StopLink"]
