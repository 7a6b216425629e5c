"""The backups that were made, so that somebody can be told when the last one is old."""

from django.db import models


class Backup(models.Model):
    """One backup that was read again after it was written. made_at: aware UTC; size in bytes.

    name is that of the file, without its folder: where backups lie is nobody's business who reads this table.
    """

    made_at = models.DateTimeField()
    name = models.CharField(max_length=120)
    size = models.PositiveBigIntegerField()
    rows = models.PositiveBigIntegerField()
    encrypted = models.BooleanField()

    class Meta:
        ordering = ["-made_at", "-id"]
        indexes = [models.Index(fields=["-made_at"], name="backup_made")]

    def __str__(self) -> str:
        return self.name
