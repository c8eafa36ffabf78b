"""The two speeds of the trade that travel under one rate code, 1000/1001 apart: told by the speed that is measured.

It does not set any rate; the operator does.
"""

from sequencer.sync.line import Fit

_HOUSE, _WITHIN = 1000 / 1001, 2.5e-4
_MEMORY = 256  # ticks that must agree: before, jitter alone can look like it


def other_house(fit: Fit | None, gap_s: float) -> str:
    """Return what to tell where a master runs at the other of the two speeds than the project's, else nothing."""
    if fit is None or fit.memory < _MEMORY:
        return ""
    speed = gap_s / fit.v_s
    for house, way in ((_HOUSE, "slow"), (1 / _HOUSE, "fast")):
        if abs(speed - house) < _WITHIN:
            return f"timecode runs 0.1 % {way}: master and project differ by 1000/1001; set one of their rates"
    return ""
