"""Plays an invented clinic, or the coming days of this one, with a moving clock through the real engine."""
