"""The call list: what a person has to call about."""

from django.db import models
from django.db.models import Q

from clinic.models import Patient, User
from reminders.models.messages import Message
from taping.models import Application, SkinReport


class CallItem(models.Model):
    """One open or closed reason to call. key names what it is about, so that the same reason never opens twice."""

    class Reason(models.TextChoices):
        SKIN_REPORT = "skin_report", "Skin is reacting"
        CALL_BACK = "call_back", "Asked to be called"
        OVERDUE = "overdue", "Tape should be off"
        UNREACHABLE = "unreachable", "Cannot be reached"
        UNDELIVERED = "undelivered", "Message not delivered"
        UNCERTAIN = "uncertain", "Not known whether a message arrived"
        REPLY = "reply", "Sent a text"
        UNFINISHED = "unfinished", "Draft neither taped nor put away"

    patient = models.ForeignKey(Patient, models.PROTECT, related_name="call_items")
    application = models.ForeignKey(Application, models.PROTECT, null=True, related_name="call_items")
    report = models.ForeignKey(SkinReport, models.PROTECT, null=True, related_name="call_items")
    message = models.ForeignKey(Message, models.PROTECT, null=True, related_name="call_items")
    reason = models.CharField(max_length=12, choices=Reason)
    key = models.CharField(max_length=60)
    since = models.DateTimeField()
    words = models.TextField("the patient's own words", blank=True)
    urgent = models.BooleanField(default=False)
    owner = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    try_again_at = models.DateTimeField(null=True)
    tries = models.PositiveSmallIntegerField(default=0)
    note = models.TextField(blank=True)
    closed_at = models.DateTimeField(null=True)
    closed_by = models.ForeignKey(User, models.PROTECT, null=True, related_name="+")
    closed_how = models.CharField(max_length=40, blank=True)

    class Meta:
        ordering = ["since", "id"]
        indexes = [models.Index(fields=["key"], name="call_item_key")]
        constraints = [
            models.UniqueConstraint(fields=["key"], condition=Q(closed_at=None), name="call_item_open_once"),
        ]
