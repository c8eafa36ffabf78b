"""When in a frame the shutter is open, and the instants of it that are sampled: exact, in parts of a frame.

It refuses a shutter that no camera has, and to sample an opening that nobody said.
"""

from dataclasses import dataclass
from fractions import Fraction
from typing import Literal, get_args

from sequencer.errors import ExportError

Begins = Literal["centre", "frame"]
BEGINS: tuple[Begins, ...] = get_args(Begins)
_WHOLE_TURN = 360
MOST_SAMPLES = 65


@dataclass(frozen=True, slots=True)
class Opening:
    """A shutter of `angle_deg`, None where nobody says, of which `samples` instants a frame are wanted.

    It is open around the frame's own instant (`centre`), or from there on (`frame`).
    Error: ExportError that says what would do.
    """

    angle_deg: Fraction | None = None
    begins: Begins = "centre"
    samples: int = 1

    def __post_init__(self) -> None:
        if self.begins not in BEGINS:
            raise ExportError(f"no shutter opens from its {self.begins!r}; name one of {', '.join(BEGINS)}")
        if self.angle_deg is not None and not 0 < self.angle_deg <= _WHOLE_TURN:
            raise ExportError(
                f"no shutter opens for {float(self.angle_deg):g} degrees; it must be above 0, and 360 at most"
            )
        if not 1 <= self.samples <= MOST_SAMPLES:
            raise ExportError(f"{self.samples} samples a frame cannot be taken; it must be from 1 to {MOST_SAMPLES}")
        if self.samples > 1 and self.angle_deg is None:
            raise ExportError(
                "samples while the shutter is open need its angle; say it (--shutter 180), or write shutter_deg of "
                "the camera in rig.json"
            )

    @property
    def span(self) -> tuple[Fraction, Fraction] | None:
        """When it opens and closes, in parts of a frame from the frame's own instant; None where nobody says."""
        if self.angle_deg is None:
            return None
        open_for = Fraction(self.angle_deg) / _WHOLE_TURN
        return (-open_for / 2, open_for / 2) if self.begins == "centre" else (Fraction(0), open_for)

    @property
    def parts(self) -> tuple[Fraction, ...]:
        """The instants that are sampled: evenly from opening to closing, the frame's own always among them."""
        if self.span is None or self.samples == 1:
            return (Fraction(0),)
        opens, closes = self.span
        even = (opens + (closes - opens) * Fraction(n, self.samples - 1) for n in range(self.samples))
        return tuple(sorted({Fraction(0), *even}))


NOBODY_SAID = Opening()
