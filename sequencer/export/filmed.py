"""The camera path of a move as it is written: what a cue in its pass would film, frame by frame.

The motion is that which is played: before its cue the rig stands, after it the rig comes to rest and stands. It
refuses a cue without a whole frame; what the motors cannot do is a remark, since nothing moves by an export.
"""

import math
from dataclasses import replace

import numpy as np

from sequencer.errors import ExportError
from sequencer.export.delivery import CameraPath
from sequencer.export.lensed import instants, path_of
from sequencer.export.opening import NOBODY_SAID, Opening
from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import over
from sequencer.playback.cued import cue_up
from sequencer.rig.axis import Rig
from sequencer.score.easing import Laws
from sequencer.score.move import Cue, Move, Pass
from sequencer.score.pace import step
from sequencer.timebase.timecode import Timebase


def filmed(
    rig: Rig, move: Move, cue: Cue, run: Pass, timebase: Timebase, laws: Laws, opening: Opening = NOBODY_SAID
) -> CameraPath:
    """Return the path that the pass `run` of the cue films. `move` is the one that the pass runs (scaled, backward).

    The first picture frame is the first whole frame of the cue; each next one shows the move `score.pace.step` later.
    Error: ExportError; ProjectError for a move that has a fault.
    """
    rate, between = timebase.rate, step(timebase.rate, run)
    first = math.ceil(cue.start)
    origin = cue.start + (first - cue.start) * between
    count = math.floor((cue.end - origin) / between) + 1
    if count < 1 or not cue.start < cue.end:
        raise ExportError(f"the cue {cue.name} holds no whole frame; make it longer")
    frames = instants(first, between, count, opening.parts, cue.start)
    at_s = frames * rate.den / rate.num
    start_s, end_s = float(rate.seconds(cue.start)), float(rate.seconds(cue.end))
    cued = cue_up(rig, compile_move(rig, move, rate, laws), start_s, end_s)
    remarks = []
    if cued.moving:
        remarks.append(f"{', '.join(cued.moving)} is under way at the cue's start: it cannot be shot like this")
    broken = [one for one in over(cued.timeline.stretched(run.speed, start_s), rig) if one.of != "jerk"]
    if broken:
        remarks.append(f"the motors cannot do it: {broken[0].words(timebase)}{_more(len(broken) - 1)}")
    values = cued.timeline.sample(at_s.ravel()).reshape(*at_s.shape, len(rig.axes))
    path = path_of(rig, np.ascontiguousarray(values), first, origin, between, opening, tuple(remarks))
    return replace(path, shot_hz=run.rate or rate.fraction)


def _more(number: int) -> str:
    return f"; and {number} more, which twintake check lists" if number else ""
