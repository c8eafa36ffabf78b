"""What a pass makes of the move before it is compiled: scaled, offset, backward. Its speed is no matter of this.

It refuses what leads outside an axis's travel, and to run a cue backward that does not rest at its ends.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace
from fractions import Fraction

from sequencer.errors import ProjectError
from sequencer.rig.axis import Axis, Rig
from sequencer.score.backward import backward
from sequencer.score.easing import Laws
from sequencer.score.edits.offset import offset
from sequencer.score.edits.scale import scale
from sequencer.score.move import Cue, Ease, Key, Move, Pass, Track
from sequencer.timebase.instants import instant

LENGTHS = ("slide", "lift")  # the kinds of axes that are scaled
_ROUNDING = 1e-9  # of the travel: what adding floats may lead beyond it
_FINEST = 0.001  # of a scale that is offered


def varied(move: Move, rig: Rig, one: Pass, laws: Laws) -> Move:
    """Return the move as the pass `one` of it runs it, at the speed as written; its cues keep their frames.

    Scaled first, then offset, then backward. An axis that has no track, and would stand elsewhere, gets one with one
    key. What was done is taken out of the pass in the move that is returned, so that it cannot be done twice; of a pass
    that belongs to a cue, only that cue is left, and the pass still says so.
    Error: ProjectError with the place in the pass and, where there is one, the nearest that works.
    """
    if not one.varies:
        return move
    place = f"passes[{move.passes.index(one)}]" if one in move.passes else f"pass {one.name}"
    cues = _cues(move, one, place)
    _refuse_axes(rig, one, place)
    done = _placed(move, rig, one, place, laws)
    if one.reversed:
        done = replace(done, tracks=backward(done, cues, place, laws))
    bare = Pass(one.name, one.speed, of=one.of, rate=one.rate, note=one.note)
    passes = tuple(bare if each == one else each for each in move.passes)
    return replace(done, cues=cues, passes=passes)


def axis_renamed(passes: Sequence[Pass], before: str, name: str) -> tuple[Pass, ...]:
    """Return the passes with another name of an axis."""

    def named(values: tuple[tuple[str, float], ...]) -> tuple[tuple[str, float], ...]:
        return tuple((name if axis == before else axis, value) for axis, value in values)

    return tuple(
        replace(
            one,
            offset=named(one.offset),
            scale=None if one.scale is None else replace(one.scale, about=named(one.scale.about)),
        )
        for one in passes
    )


def cue_renamed(passes: Sequence[Pass], before: str, name: str) -> tuple[Pass, ...]:
    """Return the passes with another name of a cue."""
    return tuple(replace(one, of=name) if one.of == before else one for one in passes)


def _cues(move: Move, one: Pass, place: str) -> tuple[Cue, ...]:
    if one.of is None:
        return move.cues
    found = tuple(cue for cue in move.cues if cue.name == one.of)
    if not found:
        there = ", ".join(cue.name for cue in move.cues) or "none"
        raise ProjectError(f"{place}.of", f"there is no cue {one.of!r}", f"there are: {there}")
    return found


def _refuse_axes(rig: Rig, one: Pass, place: str) -> None:
    """Refuse axes that are gone, and origins of what is not scaled."""
    where = [(f"{place}.offset.{name}", name, False) for name, _ in one.offset]
    if one.scale is not None:
        where += [(f"{place}.scale.about.{name}", name, True) for name, _ in one.scale.about]
    for path, name, scaled in where:
        if name not in rig.names:
            what = f"the rig has no axis {name!r}"
            raise ProjectError(path, what, f"remove it, or name one of {', '.join(rig.names)}")
        kind = rig.axes[rig.index(name)].kind
        if scaled and kind not in LENGTHS:
            raise ProjectError(path, f"{name} is a {kind}, which is not scaled", "remove it: angles and the lens stay")


def _placed(move: Move, rig: Rig, one: Pass, place: str, laws: Laws) -> Move:
    """Return the move scaled and offset. Error: ProjectError for what is then outside a travel."""
    away, about = dict(one.offset), dict(one.scale.about) if one.scale else {}
    factor = float(one.scale.factor) if one.scale else 1.0
    counts = {track.axis: len(track.keys) for track in move.tracks}
    first = min((track.keys[0].at for track in move.tracks if track.keys), default=Fraction(0))
    for axis in rig.axes:
        scaled = one.scale is not None and axis.kind in LENGTHS
        by, origin = away.get(axis.name, 0.0), about.get(axis.name, 0.0)
        if not scaled and not by:
            continue
        own = {axis.name: _numbers(counts.get(axis.name, 0))}
        if axis.name not in counts:
            stands = (origin + (axis.home - origin) * factor if scaled else axis.home) + by
            if stands == axis.home:
                continue
            track = Track(axis.name, (Key(first, stands, Ease("hold")),))
            move = replace(move, tracks=(*move.tracks, track))
        else:
            if scaled:
                move = scale(move, own, laws, factor=factor, about=origin)
            move = offset(move, own, value=by) if by else move
        keys = next(track.keys for track in move.tracks if track.axis == axis.name)
        _refuse_outside(axis, keys, one, by, place)
    return move


def _numbers(count: int) -> frozenset[int]:
    """Return the numbers of so many keys."""
    return frozenset(range(count))


def _refuse_outside(axis: Axis, keys: Sequence[Key], one: Pass, by: float, place: str) -> None:
    """Error: ProjectError for a key outside the travel, with the offsets or the scale that would do."""
    if axis.travel is None:
        return
    low, high = axis.travel
    beyond = max(keys, key=lambda key: max(low - key.value, key.value - high))
    if max(low - beyond.value, beyond.value - high) <= _ROUNDING * (high - low):
        return
    unit = "" if axis.unit == "part" else f" {axis.unit}"
    what = f"{axis.name} would be at {beyond.value:.6g}{unit} at {instant(beyond.at)}, travel [{low:.6g}, {high:.6g}]"
    path = f"{place}.offset.{axis.name}" if by else f"{place}.scale"
    raise ProjectError(path, what, "; ".join(_nearest(axis, keys, one, by)))


def _nearest(axis: Axis, keys: Sequence[Key], one: Pass, by: float) -> Iterator[str]:
    """Yield what would keep these keys, which have been scaled and offset, inside the travel."""
    low, high = axis.travel or (-math.inf, math.inf)
    least, most = (end(key.value for key in keys) - by for end in (min, max))
    # in steps that are easily read, and inward, so that what is offered fits
    step = 10.0 ** (math.floor(math.log10(high - low)) - 4)
    first, last = math.ceil((low - least) / step), math.floor((high - most) / step)
    if first <= last:
        here = f"an offset from {first * step:.12g} to {last * step:.12g} fits"
        yield here if one.scale is None else f"at this scale {here}"
    if one.scale is None:
        return
    origin = dict(one.scale.about).get(axis.name, 0.0)
    nothing = _ROUNDING * (high - low)
    low, high = low - by - origin, high - by - origin
    far = [0.0 if abs(value - origin) <= nothing else value - origin for value in (least, most)]
    far = [value / float(one.scale.factor) for value in far]
    # what stands at the origin stays there at any scale
    if any(far) and (all(far) or low <= 0 <= high):
        rooms = [sorted((low / each, high / each)) for each in far if each]
        first = max(1, math.ceil(max(room[0] for room in rooms) / _FINEST))
        last = math.floor(min(room[1] for room in rooms) / _FINEST)
        if first <= last:
            begins = "of up to" if first == 1 else f"from {first * _FINEST:.12g} to"
            yield f"about {origin:.6g} a scale {begins} {last * _FINEST:.12g} fits"
    yield "scale about another place"
