"""How long a leg speeds up and slows down: parts of its time, written down or taken from the axis's limits.

It refuses ramps that no clock could tell from none. Source: textbook (constant acceleration, constant jerk).
"""

import math
from typing import Literal

# a part of the time, or what the axis's limits make of it for each leg
Part = float | Literal["limits"]

# Float seconds far into the project, and the parts of the time near 1, tell pieces of this length apart in all digits
# that matter. Of ten minutes it is 60 ms.
SHORTEST = 1e-4
# nearer to one half two ramps meet: what lies between them would have no length in float seconds
_MEET = 0.5 - 1e-10


def refuse(name: str, part: Part, least: float, whole: str) -> None:
    """Look at a setting. Error: ValueError in plain words where it is no part that can be."""
    if part != "limits" and (isinstance(part, str) or not least <= part <= 0.5):
        raise ValueError(f'{name} is {part}; it must be {f"{least:f}".rstrip("0")} to 0.5 of {whole}, or "limits"')


def part_of(part: Part, plain: float) -> float:
    """Return the part, or the `plain` one where no leg is at hand whose limits would say."""
    return plain if isinstance(part, str) else 0.5 if part > _MEET else part


def ramp_for_acceleration(asked: float) -> float:
    """Return the shortest ramp r with r (1 - r) >= `asked`, or 0.5 where none is long enough.

    A leg of way D and time T with ramps of even acceleration A has r (1 - r) = D / (A T**2).
    """
    return 2 * asked / (1 + math.sqrt(1 - 4 * asked)) if asked < 0.25 else 0.5


def ramp_for_jerk(asked: float) -> float:
    """Return the shortest ramp r with r**2 (1 - r) >= `asked`, or 0.5 where none is long enough.

    A leg of way D and time T whose ramps have the jerk J for a quarter of that, has r**2 (1 - r) = 4 D / (J T**3).
    """
    if asked >= 0.125:
        return 0.5
    # the smallest root above 0 of a cubic with three real ones (Viete), in 1 / r
    root = math.sqrt(0.75 * asked)
    return root / math.cos(math.acos(-3 * root) / 3)
