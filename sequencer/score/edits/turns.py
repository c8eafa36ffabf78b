"""Which way round an axis without end goes, when its keys are edited. It refuses to lose a turn."""

from collections.abc import Mapping

from sequencer.score.move import Key, Turn

_ROUND = 360.0
_OPPOSITE: Mapping[Turn, Turn] = {"short": "short", "up": "down", "down": "up"}


def way(key: Key, following: Key) -> float:
    """Return how far the axis goes from a key to the next one, as its turn says."""
    written = following.value - key.value
    if key.turn is None:
        return written
    up = written % _ROUND
    return up - _ROUND if (key.turn == "short" and up > _ROUND / 2) or (key.turn == "down" and up > 0) else up


def opposite(key: Key, following: Key) -> Turn | None:
    """Return the turn by which the same leg is gone the other way. Half a round is short upward, so back it is down."""
    if key.turn is None:
        return None
    return "down" if key.turn == "short" and way(key, following) == _ROUND / 2 else _OPPOSITE[key.turn]
