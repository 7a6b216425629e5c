"""Who may run the ticker just now."""

from django.db import models


class Lease(models.Model):
    """One row a job. until is aware UTC; one that ends later than a length ahead is dead (the clock was set back)."""

    name = models.CharField(max_length=40, primary_key=True)
    holder = models.CharField(max_length=80)
    until = models.DateTimeField()
    last_good_at = models.DateTimeField(null=True)
