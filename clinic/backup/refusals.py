"""The one way in which a backup or a restore says no."""


class BackupRefused(ValueError):
    """Nothing was changed; the text is one line and says what to do."""
