"""The outbox: one row a message, and the row is the truth."""

import uuid

from django.db import models
from django.db.models import Q

from clinic.models import Patient, Visit
from clinic.models.people import Channel
from taping.models import Application


class Message(models.Model):
    """One reminder to one person on one channel. All times aware UTC.

    subject is "application:7", "visit:3" or "patient:2"; (subject, kind, ordinal) is unique, which makes planning
    repeatable. slot is the ordinal the plan gave: where a message has gone and is due again on a new date, the new
    row keeps the slot and takes the next free ordinal. planned_for is the moment the plan gave; wake_at is when to
    look at the row next (a retry moves it). claims counts how often the row was taken and not got through with;
    repeats how often it was sent again after nothing was heard; refused_on names the channels that refused it.
    key is the idempotency key for good: the mail's Message-ID and the SMS request's header are made from it.
    text is what was sent, with "[link]" where the patient's link stood. receipt is what the gateway or mail server
    told afterwards, at receipt_at; empty where it told nothing.
    """

    class State(models.TextChoices):
        PLANNED = "planned", "will go"
        CLAIMED = "claimed", "about to go"
        SENDING = "sending", "going now"
        SENT = "sent", "sent"
        DROPPED = "dropped", "no longer wanted"
        MISSED = "missed", "too late to send"
        FAILED = "failed", "not delivered"
        UNCERTAIN = "uncertain", "not known whether it arrived"

    class Receipt(models.TextChoices):
        DELIVERED = "delivered", "arrived"
        UNDELIVERED = "undelivered", "did not arrive"
        DELAYED = "delayed", "the other side is still trying"

    patient = models.ForeignKey(Patient, models.PROTECT, related_name="messages")
    application = models.ForeignKey(Application, models.PROTECT, null=True, related_name="messages")
    visit = models.ForeignKey(Visit, models.PROTECT, null=True, related_name="messages", db_index=False)
    subject = models.CharField(max_length=32)
    kind = models.CharField(max_length=20)
    ordinal = models.PositiveSmallIntegerField(default=1)
    slot = models.PositiveSmallIntegerField(default=1)
    safety = models.BooleanField(default=False)
    planned_for = models.DateTimeField()
    wake_at = models.DateTimeField()
    expires_at = models.DateTimeField()
    reasons = models.JSONField(default=list)
    state = models.CharField(max_length=9, choices=State, default=State.PLANNED)
    why = models.CharField(max_length=200, blank=True)
    token = models.UUIDField(null=True)
    lease_until = models.DateTimeField(null=True)
    claims = models.PositiveSmallIntegerField(default=0)
    attempts = models.PositiveSmallIntegerField(default=0)
    repeats = models.PositiveSmallIntegerField(default=0)
    refused_on = models.CharField(max_length=12, blank=True)
    channel = models.CharField(max_length=5, choices=Channel, blank=True)
    address = models.CharField(max_length=254, blank=True)
    key = models.UUIDField(default=uuid.uuid4)
    gateway_id = models.CharField(max_length=120, blank=True)
    text = models.TextField(blank=True)
    joined_to = models.ForeignKey("self", models.SET_NULL, null=True, related_name="joined", db_index=False)
    settled_at = models.DateTimeField(null=True)
    receipt = models.CharField(max_length=11, choices=Receipt, blank=True)
    receipt_at = models.DateTimeField(null=True)

    class Meta:
        ordering = ["planned_for", "id"]
        constraints = [
            models.UniqueConstraint(fields=["subject", "kind", "ordinal"], name="message_planned_once"),
        ]
        # Conditions name no state where that can be avoided: SQLite sees that a comparison of a column implies that it
        # is not null, but not that a state given as a parameter is one of a list.
        indexes = [
            models.Index(fields=["-safety", "wake_at"], condition=Q(state="planned"), name="message_due"),
            models.Index(fields=["lease_until"], condition=Q(lease_until__isnull=False), name="message_leased"),
            models.Index(fields=["patient", "kind"], condition=Q(state="planned"), name="message_of_patient_due"),
            models.Index(fields=["wake_at"], condition=Q(state="uncertain"), name="message_uncertain"),
            models.Index(fields=["state", "-planned_for", "-id"], name="message_page"),
            models.Index(fields=["visit"], condition=Q(visit__isnull=False), name="message_of_visit"),
            models.Index(fields=["joined_to"], condition=Q(joined_to__isnull=False), name="message_joined"),
            # For receipts that name a message by its key or by the gateway's id. The first holds every row: a condition
            # on the channel, which is written when a message goes, would be work at each of them.
            models.Index(fields=["key"], name="message_key"),
            models.Index(fields=["gateway_id"], condition=~Q(gateway_id=""), name="message_gateway_id"),
        ]

    def __str__(self) -> str:
        return f"Message {self.pk}"
