"""Give legs whose law takes its shape from the rig's limits the shape that a repair for another speed drew them with.

A repair for a pass at another speed works with the limits as they are at that speed; the pass itself draws such a law
with the rig's own, for all passes go the same way. It refuses to change a leg that is within limits as it is.
"""

from dataclasses import replace
from fractions import Fraction

from sequencer.motion.check import check
from sequencer.motion.legs import leg_of
from sequencer.motion.repair.load import KEPT
from sequencer.motion.repair.need import ratios
from sequencer.rig.axis import Rig
from sequencer.rig.speed import at_speed
from sequencer.score.easing import Laws, settings_of
from sequencer.score.move import Ease, Move
from sequencer.timebase.instants import instant
from sequencer.timebase.rate import Rate


def settled(rig: Rig, move: Move, rate: Rate, laws: Laws, speed: Fraction) -> tuple[Move, tuple[str, ...]]:
    """Return the move as a repair for `speed` meant it, and what was written down for that, leg by leg.

    Error: ProjectError as in `compile_move`.
    """
    if speed == 1:
        return move, ()
    done = check(rig, move, rate, laws, speed)
    paced, whole, names = at_speed(rig, speed), done.whole, [track.axis for track in move.tracks]
    keys, words = [list(track.keys) for track in move.tracks], []
    for leg in done.over():
        axis = rig.index(leg.axis)
        number, row = names.index(leg.axis), int(whole.first[axis]) + 1 + leg.key
        key = keys[number][leg.key]
        kind, how = settings_of(key.ease, laws)
        if kind.suited is None or leg.key + 1 == len(keys[number]):
            continue
        way, lasts_s = float(whole.way[row]), float(whole.lasts_s[row])
        ease = Ease(key.ease.law, kind.suited(how, leg_of(paced.axes[axis], way, lasts_s)))
        if ease.how is how or max(ratios(ease, laws, paced.axes[axis], way, lasts_s)) > 1 + KEPT:
            continue
        keys[number][leg.key] = replace(key, ease=ease)
        span = f"{leg.axis} at {instant(key.at)} to {instant(keys[number][leg.key + 1].at)}"
        words.append(f"{span}: {ease.law} gets the shape that the limits give it at speed {speed}")
    tracks = tuple(replace(track, keys=tuple(own)) for track, own in zip(move.tracks, keys, strict=True))
    return (replace(move, tracks=tracks), tuple(words)) if words else (move, ())
