"""Frame rates as exact fractions. No float ever stands for a rate."""

from dataclasses import dataclass
from fractions import Fraction


@dataclass(frozen=True, slots=True)
class Rate:
    """Frames a second as an exact fraction.

    Source: the rates in use with SMPTE ST 12-1 and ST 12-3 time code; 1000/1001 rates are exact, never 23.976 or 29.97.
    """

    num: int
    den: int = 1

    def __post_init__(self) -> None:
        if not (isinstance(self.num, int) and isinstance(self.den, int)) or self.num <= 0 or self.den <= 0:
            raise ValueError(f"{self.num!r}/{self.den!r} is no rate; it must be two whole numbers above zero")

    @property
    def fraction(self) -> Fraction:
        """Frames a second."""
        return Fraction(self.num, self.den)

    @property
    def nominal(self) -> int:
        """Frames counted in one second of labels: 30 for 30000/1001."""
        return -(-self.num // self.den)

    def seconds(self, frames: Fraction | int) -> Fraction:
        """How long `frames` frames last, in seconds, exactly."""
        return Fraction(frames) * self.den / self.num

    def frames(self, seconds: Fraction | int) -> Fraction:
        """How many frames `seconds` seconds hold, exactly."""
        return Fraction(seconds) * self.num / self.den

    def __str__(self) -> str:
        return str(self.num) if self.den == 1 else f"{self.num}/{self.den}"


RATES: dict[str, Rate] = {
    str(rate): rate
    for rate in (
        Rate(24000, 1001),
        Rate(24),
        Rate(25),
        Rate(30000, 1001),
        Rate(30),
        Rate(48),
        Rate(50),
        Rate(60000, 1001),
        Rate(60),
    )
}


def parse_rate(text: str) -> Rate:
    """Return the rate that a document writes as `text`. Error: ValueError that lists the rates there are."""
    try:
        return RATES[text]
    except KeyError:
        raise ValueError(f"{text!r} is no rate; it must be one of {', '.join(RATES)}") from None
