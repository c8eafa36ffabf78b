"""Which way round an axis without end goes, when its keys are edited. It refuses to lose a turn."""

from collections.abc import Mapping

from sequencer.score.move import Key, Turn
from sequencer.score.turning import ROUND, turned

_OPPOSITE: Mapping[Turn, Turn] = {"short": "short", "up": "down", "down": "up"}


def way(key: Key, following: Key) -> float:
    """Return how far the axis goes from a key to the next one, as its turn says."""
    written = following.value - key.value
    return written if key.turn is None else turned(written, key.turn)


def opposite(key: Key, following: Key) -> Turn | None:
    """Return the turn by which the same leg is gone the other way. Half a round is short upward, so back it is down."""
    if key.turn is None:
        return None
    return "down" if key.turn == "short" and way(key, following) == ROUND / 2 else _OPPOSITE[key.turn]
