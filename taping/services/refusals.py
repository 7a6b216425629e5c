"""How the taping services say no."""


class TapingRefused(ValueError):
    """What was asked for cannot be saved. message: why, and what would work; field: where it stands, or ""."""

    def __init__(self, message: str, field: str = "") -> None:
        super().__init__(message)
        self.message = message
        self.field = field
