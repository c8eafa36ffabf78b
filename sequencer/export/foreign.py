"""What is the same for every file from elsewhere: how large it may be, which rate it means, where its frames lie."""

from fractions import Fraction

import numpy as np

from sequencer.errors import ImportFault
from sequencer.export.found import Floats
from sequencer.timebase.rate import RATES, Rate
from sequencer.timebase.timecode import Counting, count, parse

MOST_BYTES = 256 * 1024 * 1024
MOST_SAMPLES = 500_000
MOST_CAMERAS = 64
_NEAR = 2e-4  # of a rate: 23.98 means 24000/1001, and 24 does not
_ON_FRAME = 1e-4  # of a frame


def bounded(data: bytes, name: str) -> None:
    """Refuse a file that is larger than a camera's can be. Error: ImportFault."""
    if len(data) > MOST_BYTES:
        raise ImportFault(
            f"{name}: it has {len(data) // 1024**2} MB, and a camera needs far less than {MOST_BYTES // 1024**2}; "
            "export the camera alone, without the scene"
        )


def rate_near(fps: float) -> Rate | None:
    """Return the exact rate that a float stands for: 23.976 is 24000/1001. None where it is no rate of frames."""
    if not 1 <= fps <= 1000:
        return None
    near = [Rate(round(fps)), *(rate for rate in RATES.values() if rate.den != 1)]
    best = min(near, key=lambda rate: abs(float(rate.fraction) - fps))
    return best if abs(float(best.fraction) / fps - 1) <= _NEAR else None


def settle(said: Rate | None, asked: Rate | None, name: str) -> tuple[Rate, tuple[str, ...]]:
    """Return the rate at which a file's frames are counted: the operator's word is the last, and a remark names both.

    Error: ImportFault where neither says one.
    """
    if asked is None and said is None:
        raise ImportFault(f"{name}: it does not say how many frames a second it has; say its rate")
    if asked is None or said is None or asked == said:
        return asked or said or Rate(24), ()
    faster = asked.fraction / said.fraction - 1
    return asked, (
        f"the file counts {said} frames a second and is taken frame by frame at {asked}: it runs "
        f"{abs(float(faster)) * 100:.1f} % {'faster' if faster > 0 else 'slower'} than it was made",
    )


def rate_of_text(text: object) -> Rate | None:
    """Return the rate that one of our own files writes, or None."""
    return RATES.get(text) if isinstance(text, str) else None


def start_of(label: object, rate: Rate | None, drop: object) -> Fraction | None:
    """Return the seconds since 00:00:00:00 of a label that one of our own files writes, or None where it is none."""
    if not isinstance(label, str) or rate is None:
        return None
    try:
        how = Counting(rate, drop is True)
        return rate.seconds(count(parse(label, how), how))
    except ValueError:
        return None


def on_frames(frames: Floats, slack: Floats | float = 0.0) -> Floats:
    """Return frame numbers, those within `slack` of a whole frame, or what floats lose, on it."""
    whole = np.round(frames)
    return np.where(np.abs(frames - whole) <= np.maximum(slack, _ON_FRAME), whole, frames)


def filled(own: Floats, name: str) -> Floats:
    """Return a camera's own samples and the whole frames between the first and the last of them.

    Error: ImportFault where these are too many.
    """
    first, last = np.ceil(own[0]), np.floor(own[-1])
    if last - first < MOST_SAMPLES:
        both = np.union1d(own, np.arange(first, last + 1))
        if len(both) <= MOST_SAMPLES:
            return both
    raise ImportFault(
        f"{name}: it goes from frame {own[0]:g} to {own[-1]:g}, and {MOST_SAMPLES} samples are the most; "
        "export the shot's frames only"
    )
