"""A clinic in one file: made while the clinic works, checked by reading it again, brought back into an empty place."""
