"""What came in by webhook: remembered, so that the same notice twice does nothing the second time."""

from django.db import models
from django.db.models import Q

from reminders.models.messages import Message


class Notice(models.Model):
    """One notice of a gateway or mail server. Holds no number, no address and no patient's words.

    reference is the gateway's name for the message; open: its message is not marked yet, or not known. received_at:
    aware UTC.
    """

    class What(models.TextChoices):
        REPLY = "reply", "a text from a patient"
        RECEIPT = "receipt", "news of a text message"
        BOUNCE = "bounce", "news of a mail"

    what = models.CharField(max_length=7, choices=What)
    notice_id = models.CharField(max_length=100)
    received_at = models.DateTimeField()
    reference = models.CharField(max_length=200, blank=True)
    news = models.CharField(max_length=11, choices=Message.Receipt, blank=True)
    for_good = models.BooleanField(default=False)
    why = models.CharField(max_length=120, blank=True)
    open = models.BooleanField(default=False)

    class Meta:
        constraints = [models.UniqueConstraint(fields=["what", "notice_id"], name="notice_once")]
        indexes = [
            models.Index(fields=["received_at"], name="notice_received"),
            models.Index(fields=["id"], condition=Q(open=True), name="notice_open"),
        ]
