"""What keys snap onto: frames, parts of beats, markers, keys of other axes. It refuses to snap onto nothing."""

from collections.abc import Mapping, Set
from dataclasses import dataclass
from fractions import Fraction
from itertools import count

import numpy as np

from sequencer.motion.shape import Shape
from sequencer.score.edits.snap import Beats, Grid, Lines, Stops
from sequencer.timebase.rate import Rate
from ui.desk import Desk
from ui.language import translate

FRAMES = Grid()


@dataclass(frozen=True, slots=True, eq=False)
class OtherKeys:
    """Lines at the keys of other axes than `axis`, but for chosen ones."""

    shapes: Mapping[str, Shape]
    rate: Rate
    axis: str
    chosen: Mapping[str, Set[int]]

    def nearest(self, at: Fraction) -> Fraction:
        """Return the key's instant that is nearest to `at`, or `at` where there is none."""
        at_s = float(self.rate.seconds(at))
        found, least = at, float("inf")
        for axis, shape in self.shapes.items():
            if axis == self.axis:
                continue
            own = self.chosen.get(axis, frozenset())
            after = int(np.searchsorted(shape.at_s, at_s))
            for first, step in ((after - 1, -1), (after, 1)):
                number = next(each for each in count(first, step) if each not in own)
                if 0 <= number < len(shape.at_s) and abs(float(shape.at_s[number]) - at_s) < least:
                    found, least = shape.track.keys[number].at, abs(float(shape.at_s[number]) - at_s)
        return found


def lines(desk: Desk, axis: str) -> Lines | None:
    """Return what keys of `axis` snap onto, None for nothing.

    Error: ValueError in words where there are no lines of the kind.
    """
    snapping, project = desk.snapping, desk.project
    if snapping.onto == "frames":
        return Grid(snapping.part)
    if snapping.onto == "beats":
        if project.tempo is None:
            raise ValueError(translate("acts", "there are no beats to snap onto; give the project a tempo first"))
        return Beats(project.tempo, project.timebase.rate, snapping.part)
    if snapping.onto == "markers":
        if not project.move.markers:
            raise ValueError(translate("acts", "there are no markers to snap onto; add one first"))
        return Stops(tuple(marker.at for marker in project.move.markers))
    if snapping.onto == "keys":
        return OtherKeys(desk.shapes, project.timebase.rate, axis, desk.selection)
    return None


def is_dense(desk: Desk) -> bool:
    """Whether lines are everywhere near, so that a key that is dragged always stands on one."""
    return desk.snapping.onto in ("frames", "beats")
