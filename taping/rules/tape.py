"""The tape itself: what a roll can do, and the names of its tensions."""

from bisect import bisect_left
from dataclasses import dataclass
from typing import Self

from taping.rules.amounts import BadNumberError, not_negative, number, positive
from taping.rules.toml_data import load_table, text_of

# Decimals kept of a ruler reading's ratio: more than a ruler gives, fewer than a division's last bits.
_RATIO_DECIMALS = 12


@dataclass(frozen=True, slots=True)
class Band:
    """A name for a tension: ``upper_share`` (0 to 1, included) is where it ends."""

    name: str
    upper_share: float
    meaning: str
    elsewhere: str
    source: str


@dataclass(frozen=True, slots=True)
class Tape:
    """One kind of tape, by its ruler.

    ``pre_stretch`` is how much longer it lies on the backing than relaxed (0.10 = a tenth), ``limit`` the most it
    can be stretched from relaxed (0.40 = to 140 %), both fractions; the printed squares, width and roll are in
    millimetres. The defaults are rough: makes, colours and lots differ (Selva 2019, BMC Musculoskelet Disord
    20:153), and published figures run from under 5 to 15 % and from 30 to 60 %.

    Raises:
        BadNumberError: for anything that is no positive number (``pre_stretch`` may be 0), and for a
            ``pre_stretch`` above the ``limit``, since tape cannot lie on its backing longer than it goes.
    """

    pre_stretch: float = 0.10
    limit: float = 0.40
    square_mm: float = 50.0
    width_mm: float = 50.0
    roll_mm: float = 5000.0

    def __post_init__(self) -> None:
        not_negative(self.pre_stretch, "the stretch on the backing")
        for name, value in (
            ("the most the tape can be stretched", self.limit),
            ("the printed square", self.square_mm),
            ("the width of the tape", self.width_mm),
            ("the length of the roll", self.roll_mm),
        ):
            positive(value, name)
        if self.pre_stretch > self.limit:
            raise BadNumberError(
                f"the tape would lie on its backing stretched by {self.pre_stretch:g}, more than the "
                f"{self.limit:g} it can be stretched: measure relaxed and full length again"
            )

    @property
    def paper_off_share(self) -> float:
        """The share of its possible stretch that the tape has as it comes off the backing."""
        return self.pre_stretch / self.limit

    @classmethod
    def measured(cls, paper_mm: float, relaxed_mm: float, full_mm: float, **rest: float) -> Self:
        """Return the tape of a clinic's own roll from three readings of one piece, all in the same unit.

        ``paper_mm`` is read on the backing, ``relaxed_mm`` peeled and left alone, ``full_mm`` stretched until it
        gives no more. ``rest`` is passed on (square, width, roll).

        Raises:
            BadNumberError: when the readings cannot belong to one piece.
        """
        paper = positive(paper_mm, "the length on the backing")
        relaxed = positive(relaxed_mm, "the relaxed length")
        full = positive(full_mm, "the fully stretched length")
        if paper < relaxed:
            raise BadNumberError(
                f"{relaxed:g} relaxed is longer than {paper:g} on the backing: peeled tape never grows, so measure "
                "both on the same piece, and let it lie a moment before the second reading"
            )
        if full <= relaxed or full < paper:
            raise BadNumberError(
                f"{full:g} fully stretched is not longer than {max(relaxed, paper):g} before: stretch the same piece "
                "until it gives no more, and read it while it is held"
            )
        return cls(
            pre_stretch=round(paper / relaxed - 1, _RATIO_DECIMALS),
            limit=round(full / relaxed - 1, _RATIO_DECIMALS),
            **rest,
        )


def _load_bands() -> tuple[Band, ...]:
    rows = load_table("bands")["band"]
    return tuple(
        Band(
            name=text_of(row, "name"),
            upper_share=float(row["upper_share"]),
            meaning=text_of(row, "meaning"),
            elsewhere=text_of(row, "elsewhere"),
            source=text_of(row, "source"),
        )
        for row in rows
    )


BANDS: tuple[Band, ...] = _load_bands()
_ENDS: tuple[float, ...] = tuple(band.upper_share for band in BANDS)


def band_of(share: float) -> Band | None:
    """Return the band of a tension, or None for a ``share`` outside 0 to 1 (NaN included).

    Raises:
        BadNumberError: when ``share`` is no number.
    """
    amount = number(share, "the share")
    return BANDS[bisect_left(_ENDS, amount)] if 0 <= amount <= 1 else None
