"""Numbers that a rule can believe: finite, of the right sign, and really numbers; and how they are read aloud."""

from math import inf

# Far below what any ruler shows; a smaller number is a slip, and dividing by it would make nonsense look exact.
LEAST = 1e-6
# Far above any length; up to it no sum or product of the rules can overflow.
MOST = 1e12


class BadNumberError(ValueError):
    """A number that no rule can use; the text names it and says what would work."""


def number(value: object, name: str) -> float:
    """Return ``value`` as a float; it may be infinite or NaN.

    Raises:
        BadNumberError: when it is no int or float. True and False are ints in Python, and are refused.
    """
    if isinstance(value, int | float) and not isinstance(value, bool):
        try:
            return float(value)
        except OverflowError:
            raise BadNumberError(f"{name} is too large a number to reckon with") from None
    raise BadNumberError(f"{name} is {value!r}: it takes a number, such as 0.5 or 300")


def positive(value: object, name: str) -> float:
    """Return ``value`` as a float from a millionth to a million million.

    Raises:
        BadNumberError: when it is zero, negative, infinite, NaN, next to nothing, beyond measure, or no number.
    """
    # A float needs no look at its type twice: cuts are computed by the hundred thousand.
    amount = value if type(value) is float else number(value, name)
    if LEAST <= amount <= MOST:
        return amount
    raise BadNumberError(f"{name} is {value!r}: it takes a number above 0, not beyond measure")


def not_negative(value: object, name: str) -> float:
    """Return ``value`` as a float of 0 or more.

    Raises:
        BadNumberError: when it is negative, infinite, NaN, or no number.
    """
    amount = value if type(value) is float else number(value, name)
    if 0.0 <= amount < inf:
        return amount
    raise BadNumberError(f"{name} is {value!r}: it takes 0 or a number above 0")


def in_mm(amount: float) -> str:
    """Return a length in millimetres as it is read aloud: to a tenth, without an empty decimal or a unit."""
    return f"{amount:.1f}".removesuffix(".0")


def in_percent(share: float) -> str:
    """Return a fraction as percent without the sign: whole, or to a tenth where it is not whole (75.2 is not 75)."""
    return f"{share * 100:.1f}".removesuffix(".0")
