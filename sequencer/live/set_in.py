"""A run of keys that begins and ends at rest, set into a track in the place of what stood there.

The keys before and after it stay, and legs from and to them begin and end at rest. It refuses to take a pinned key out,
and to judge what those legs ask of the motor.
"""

from dataclasses import replace

from sequencer.errors import ProjectError
from sequencer.live.joints import settled
from sequencer.rig.axis import Axis
from sequencer.score.easing import Laws
from sequencer.score.edits.selection import CLOSEST
from sequencer.score.move import Ease, Key, Track
from sequencer.score.turning import ROUND
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate

_LEG = Ease("poly345")


def set_in(
    track: Track, run: tuple[Key, ...], axis: Axis, rate: Rate, laws: Laws, number: int, by: str = "the aim"
) -> tuple[Track, int]:
    """Return the track with the run in it, and how many keys it replaced. `number` is the track's, for words, as `by`.

    Error: ProjectError for a pinned key in the way.
    """
    early = [key for key in track.keys if key.at <= run[0].at - CLOSEST]
    late = [key for key in track.keys if key.at >= run[-1].at + CLOSEST]
    for place, key in enumerate(track.keys):
        if key.pin and key not in early and key not in late:
            what = f"the key of {track.axis} at {instant(key.at)} is pinned, and {by} would replace it"
            raise ProjectError(f"tracks[{number}].keys[{place}]", what, "unpin it first, or choose another cue")
    new = list(run)
    if early:
        # a smooth run would go on through the new keys' first rest
        last = replace(early[-1], ease=_LEG if early[-1].ease.law == "through" else early[-1].ease, turn=None)
        early[-1] = _round(settled(last, new[0], axis, rate, laws), new[0], axis)
    if late:
        new[-1] = _round(replace(new[-1], ease=_LEG), late[0], axis)
    return Track(track.axis, (*early, *new, *late)), len(track.keys) - len(early) - len(late)


def _round(key: Key, following: Key, axis: Axis) -> Key:
    """Return the key, which on an axis without end goes the short way round."""
    far = axis.travel is None and axis.unit == "deg" and abs(following.value - key.value) > ROUND / 2
    return replace(key, turn="short") if far else key
