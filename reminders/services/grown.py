"""The grown set-up has conditions that the small one has not."""

from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.db import connection


def refuse_small() -> None:
    """Workers on several hosts cannot share a SQLite file. Raises ImproperlyConfigured."""
    if connection.vendor == "sqlite":
        raise ImproperlyConfigured("Workers need PostgreSQL: set DATABASE_URL to a postgres:// address, or use serve.")
    if not settings.REDIS_URL:
        raise ImproperlyConfigured("Workers need Redis: set REDIS_URL, as in redis://127.0.0.1:6379/0.")
