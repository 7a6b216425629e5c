"""Addresses that refused for good: nothing more is sent there until the address, or somebody's mind, changes."""

from django.db import models

from clinic.models.people import Channel


class RefusedAddress(models.Model):
    """A number or mailbox that the other side said does not exist. since: aware UTC."""

    channel = models.CharField(max_length=5, choices=Channel)
    address = models.CharField(max_length=254)
    since = models.DateTimeField()
    why = models.CharField(max_length=200)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["address", "channel"], name="refused_address_once"),
        ]

    def __str__(self) -> str:
        return f"Refused address {self.pk}"
