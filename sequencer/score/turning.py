"""How far an axis without end goes to where it should point, by the way round that is said. It moves nothing."""

from sequencer.score.move import Turn

ROUND = 360.0
_NEAR = 1e-9  # degrees: what rounding leaves of no way at all is not a whole round


def turned(written: float, turn: Turn) -> float:
    """Return the way that leads as far as `written` does but for whole rounds. Unit: degrees, twice.

    `up` is in [0, 360), `down` in (-360, 0], `short` in (-180, 180].
    """
    least = written - ROUND * round(written / ROUND)
    if abs(least) <= _NEAR:
        return least
    up = least % ROUND
    return up - ROUND if turn == "down" or (turn == "short" and up > ROUND / 2) else up
