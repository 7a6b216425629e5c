"""Codes drawn by chance that can be read out and typed: no letter or digit that looks like another."""

import secrets

_ALPHABET = "abcdefghjkmnpqrstuvwxyz23456789"
_PART = 5


def drawn_code(parts: int) -> str:
    """So many groups of five signs, joined by hyphens; each group is worth 24.7 bits."""
    return "-".join("".join(secrets.choice(_ALPHABET) for _ in range(_PART)) for _ in range(parts))
