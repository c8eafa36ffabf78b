"""Look modes of a stabilised head: which of its axes hold still in the world, and which follow the base.

That is the head's own matter: this only says where a move uses axes of both. It computes no picture.
"""

from sequencer.rig.axis import Reference, Rig
from sequencer.score.move import Move

_TURN = ("pan", "tilt", "roll")


def mixed_references(rig: Rig, move: Move) -> str:
    """Return, in words with the mend, that the move turns the camera by axes of both references; empty where it does
    not, as far as the rig says.

    Only axes that turn the camera count: a slide or a lift has no horizon to hold.
    """
    moved = {track.axis for track in move.tracks}
    world, base = (_named(rig, reference, moved) for reference in ("world", "base"))
    if not (world and base):
        return ""
    held, led = _listed(world), _listed(base)
    return (
        f"The move mixes look modes: {held} {_verb(world)} set against the world, {led} against the base. "
        f"When the base turns, as a carried one does, or a slide or lift on a track that is not straight, "
        f"{led} {'turns' if len(base) == 1 else 'turn'} with it and {held} {'does' if len(world) == 1 else 'do'} not, "
        "so the picture turns from what was planned. Set the head to one mode for all of them, or correct their "
        "reference in rig.json."
    )


def _named(rig: Rig, reference: Reference, moved: set[str]) -> list[str]:
    return [axis.name for axis in rig.axes if axis.reference == reference and axis.kind in _TURN and axis.name in moved]


def _listed(names: list[str]) -> str:
    return " and ".join((", ".join(names[:-1]), names[-1]) if len(names) > 1 else names)


def _verb(names: list[str]) -> str:
    return "is" if len(names) == 1 else "are"
