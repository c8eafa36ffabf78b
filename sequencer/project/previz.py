"""From a camera of previz to keys in the project: when it goes there, on which axes, how near, and what that asks.

It refuses what nobody could have meant: another frame rate, a cut in the middle, keys that are there already, a way
outside of the travel. What the motors cannot do is judged, and whoever asked decides.
"""

from dataclasses import dataclass, field, replace
from fractions import Fraction
from math import ceil
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sequencer.errors import ProjectError
from sequencer.live.filmed import Film, Filmed, Placing, Way, only, part, way
from sequencer.live.previz import Fitted, Shaken, fitted, shaken
from sequencer.live.shifted import shifted_px
from sequencer.motion.check import Check, LegCheck, check
from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import Asked as AskedOf
from sequencer.playback.cued import cue_up
from sequencer.project import build
from sequencer.project.document import Project
from sequencer.project.previz_place import Named, apart_all_along, named_cue, placed_at, refuse_beyond, refuse_keys
from sequencer.project.previz_within import Within, tolerances
from sequencer.score.easing import Laws
from sequencer.score.move import Cue, Move
from sequencer.takes.pixels import picture_shift
from sequencer.timebase.instants import labelled

Floats = NDArray[np.float64]

Convert = Literal["time", "frames"]
_ROUNDS = 4
_UNDER = 0.95  # of a number of pixels: what the next round is brought to
_BEGIN = 0.7  # of each axis's own: all together are to keep the pixels
_CORNERS = 1.3  # towards the corners the picture shifts by more than in the middle
_SLOWER = Fraction(1, 100)  # in such steps a slower time is offered
_TRIES = 4
_SPARSE = 1.5  # frames: samples that are further apart leave much to the curve between them


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """What is asked for. `at` is the frame for the first sample, `cue` a cue that is there or that is to be made.

    `first` and `last` are frames as the file numbers them. `stretch` is how many times as long it is to last. `axes`
    are all that it is to move, None for all it can. `replace`: keys in its place may go. `shake`: also what shakes
    from sample to sample is followed.
    """

    at: Fraction | None = None
    cue: str | None = None
    first: float | None = None
    last: float | None = None
    convert: Convert | None = None
    stretch: Fraction = Fraction(1)
    placing: Placing = field(default_factory=Placing)
    within: Within = field(default_factory=Within)
    axes: tuple[str, ...] | None = None
    replace: bool = False
    shake: bool = False


@dataclass(frozen=True, slots=True, kw_only=True)
class Near:
    """One axis: what became of it, and the most by which the compiled move is off at any sample, at frame `at`."""

    fitted: Fitted
    off: float
    at: Fraction


@dataclass(frozen=True, slots=True, eq=False, kw_only=True)
class TakenIn:
    """The project with the camera in it, and how well it does there.

    `left_mm`, `left_deg` are the most of the camera's place and view that the rig cannot do, with the frame; `off_px`
    the most by which the compiled picture is off what the rig was to do at any sample, None without a camera. `over`
    and `together` are the legs beside and of its keys, and the combined limits, that ask too much.
    """

    project: Project
    film: Film
    cue: Cue
    made: bool
    span: tuple[Fraction, Fraction]
    way: Way
    axes: tuple[Near, ...]
    left_mm: tuple[float, Fraction]
    left_deg: tuple[float, Fraction]
    off_px: tuple[float, Fraction] | None
    remarks: tuple[str, ...]
    check: Check
    over: tuple[LegCheck, ...]
    together: tuple[tuple[str, AskedOf], ...]

    @property
    def ok(self) -> bool:
        """Whether the motors can do it."""
        return not self.over and not self.together


def taken_in(project: Project, laws: Laws, found: Filmed, asked: Asked, cuts: tuple[float, ...] = ()) -> TakenIn:
    """Return the project in which the rig does what the camera did, as far as it can.

    `cuts` are the frames, as the file numbers them, with which another shot begins.
    Error: ProjectError in plain words with the mend.
    """
    film = _part(found, asked, cuts)
    at_s, span, remarks = _timed(project, film, asked)
    others = compile_move(project.rig, project.move, project.timebase.rate, laws).sample(at_s)
    one, within = _way(project, film, at_s, others, asked)
    name = named_cue(project, Named(asked.cue, film.name), span)
    refuse_keys(project, tuple(within), span, asked.replace)
    try:
        move, fits, within = _near(project, laws, one, span, within, asked)
    except ValueError as fault:
        words = labelled(str(fault), project.timebase.label)
        raise ProjectError("--within", words, file="command line") from fault
    except ProjectError as fault:
        fault.what = labelled(fault.what, project.timebase.label)
        raise
    return _judged(
        project, laws, film, one, move, fits, span, name, (*remarks, *one.remarks, *apart_all_along(one, asked.placing))
    )


def shots(frames: Floats, cuts: tuple[float, ...]) -> list[tuple[float, float]]:
    """Return the first and last frame of each shot, where others begin with `cuts`. Shape: `frames` (N,), rising."""
    inside = sorted(at for at in cuts if frames[0] < at <= frames[-1])
    before = [float(frames[int(np.searchsorted(frames, at)) - 1]) for at in inside]
    return list(zip([float(frames[0]), *inside], [*before, float(frames[-1])], strict=True))


def _part(found: Filmed, asked: Asked, cuts: tuple[float, ...]) -> Film:
    """Return the part that is asked for. Error: ProjectError where it is too little, or cut in the middle."""
    ends = float(found.frames[0]), float(found.frames[-1])
    first, last = (end if at is None else at for at, end in zip((asked.first, asked.last), ends, strict=True))
    film = part(found, first, last)
    if len(film.frames) < 2:
        what = f"{film.name} has {len(film.frames)} samples from frame {first:g} to {last:g}, and a move needs two"
        mend = f"it goes from {ends[0]:g} to {ends[1]:g}; export a sample for each frame"
        raise ProjectError("--from, --to", what, mend, file="command line")
    parts = shots(film.frames, cuts)
    if len(parts) > 1:
        offers = ", or ".join(f"--from {low:g} --to {high:g}" for low, high in parts[:6])
        where = ", ".join(f"{low:g}" for low, _ in parts[1:7])
        what = f"{film.name} is not one shot: at frame {where} it jumps, or is held in the middle of a move"
        raise ProjectError("--from, --to", what, f"take one shot: {offers}", file="command line")
    return film


def _timed(project: Project, film: Film, asked: Asked) -> tuple[Floats, tuple[Fraction, Fraction], list[str]]:
    """Return when each sample is due, the span in frames, and what is to be said of that. Error: ProjectError."""
    rate = project.timebase.rate
    if asked.stretch <= 0:
        raise ProjectError("--time-scale", "no time is scaled so", "write a number above zero", "command line")
    by = Fraction(1)
    lasts = film.frames[-1] - film.frames[0]
    if film.rate.fraction != rate.fraction:
        by = rate.fraction / film.rate.fraction
        if asked.convert is None:
            kept, new = (lasts / float(one.fraction) for one in (film.rate, rate))
            what = f"{film.name} has {film.rate} frames a second, and the project {rate}"
            mend = (
                f"--convert time keeps its {kept:.5g} s; --convert frames keeps frame for frame, and lasts {new:.5g} s"
            )
            raise ProjectError("--convert", what, mend, file="command line")
        by = by if asked.convert == "time" else Fraction(1)
    by *= asked.stretch
    offsets = [(Fraction(float(frame)) - Fraction(float(film.frames[0]))) * by for frame in film.frames]
    at, words = placed_at(project, asked.at, asked.cue, film.start)
    span = at, at + offsets[-1]
    at_s = np.array([float(rate.seconds(at + one)) for one in offsets])
    widest = float(np.diff(film.frames).max())
    if widest > _SPARSE:
        words.append(
            f"its samples are up to {widest:g} frames apart; between them a smooth curve leads from one to the next"
        )
    return at_s, span, words


def _way(project: Project, film: Film, at_s: Floats, others: Floats, asked: Asked) -> tuple[Way, dict[str, float]]:
    """Return the way of the axes that are driven, and the tolerance of each. Error: ProjectError."""
    rig = project.rig
    for name in asked.axes or ():
        if name not in rig.names:
            mend = f"its axes are {', '.join(rig.names)}"
            raise ProjectError("--axis", f"the rig has no axis {name!r}", mend, file="command line")
    one = way(rig, film, at_s, others, asked.placing, 0.0)
    within = tolerances(rig, one.driven, asked.within)
    heads = [within[axis.name] for axis in rig.axes if axis.kind in ("pan", "tilt", "roll") and axis.name in within]
    if heads:
        one = way(rig, film, at_s, others, asked.placing, min(heads))
    if asked.axes is not None:
        one = only(rig, one, asked.axes, others)
        within = {name: room for name, room in within.items() if name in asked.axes}
    if not within:
        there = ", ".join(rig.names)
        what = f"none of the axes asked for can do what {film.name} does; the rig has {there}"
        raise ProjectError("--axis", what, "give each its kind and unit in rig.json", file="command line")
    refuse_beyond(project, one, within, asked.placing)
    return one, within


def _near(
    project: Project, laws: Laws, one: Way, span: tuple[Fraction, Fraction], within: dict[str, float], asked: Asked
) -> tuple[Move, tuple[Fitted, ...], dict[str, float]]:
    """Return the move with the keys; with pixels asked for, tighter until all axes together keep them."""
    rig, rate = project.rig, project.timebase.rate
    wanted_px = asked.within.pixels(rig)
    known: dict[str, Fitted] = {}
    counting = [name for name in within if asked.within.counts(rig, name)]
    if len(counting) > 1:
        within = {name: room * (_BEGIN if name in counting else 1) for name, room in within.items()}
    for _ in range(_ROUNDS):
        if not asked.shake:
            _refuse_shaken(project, shaken(one, rig, within), wanted_px)
        move, fits = fitted(rig, project.move, rate, laws, one, span, within, known)
        if wanted_px is None or rig.camera is None:
            break
        off = float(_off_px(project, laws, one, move).max())
        if off <= wanted_px:
            break
        known = {each.captured.axis: each for each in fits}
        within = {
            name: room * min(1.0, wanted_px * _UNDER / off) if name in counting else room
            for name, room in within.items()
        }
    return move, fits, within


def _refuse_shaken(project: Project, found: tuple[Shaken, ...], wanted_px: float | None) -> None:
    """Error: ProjectError where keys would have to follow what shakes from sample to sample."""
    if not found:
        return
    rig = project.rig
    units = {axis.name: axis.unit for axis in rig.axes}
    words = ", ".join(f"{each.axis} by {each.by:.2g} {units[each.axis]}" for each in found)
    what = f"it shakes from sample to sample: {words} (standard deviation), and keys would follow that"
    if wanted_px is not None and rig.camera is not None:
        rooms = {each.axis: each.room for each in found}
        each = np.array([rooms.get(axis.name, 0.0) for axis in rig.axes])
        kinds, unit_names = tuple(axis.kind for axis in rig.axes), tuple(axis.unit for axis in rig.axes)
        enough = float(picture_shift(each, kinds, unit_names, rig.camera)) * _CORNERS
        mend = f"--within-px {ceil(enough * 10) / 10:g}"
    else:
        mend = " ".join(f"--within {each.axis}={each.room:g}" for each in found)
    raise ProjectError("--within", what, f"allow it: {mend}; or add --follow-shake", file="command line")


def _off_px(project: Project, laws: Laws, one: Way, move: Move) -> Floats:
    assert project.rig.camera is not None
    there = compile_move(project.rig, move, project.timebase.rate, laws).sample(one.at_s)
    return shifted_px(project.rig, project.rig.camera, one.positions, there)


def _judged(
    project: Project,
    laws: Laws,
    film: Film,
    one: Way,
    move: Move,
    fits: tuple[Fitted, ...],
    span: tuple[Fraction, Fraction],
    cue: tuple[Cue, bool],
    remarks: tuple[str, ...],
) -> TakenIn:
    """Return the project with the cue in it, compiled, measured and checked."""
    rig, rate = project.rig, project.timebase.rate
    keys = [key.at for each in fits for key in each.alone.keys]
    if cue[1]:
        # where an axis comes to it in motion, the cue begins where that axis begins, at rest
        cue = Cue(cue[0].name, min(keys), max(keys)), True
        move = replace(move, cues=(*move.cues, cue[0]))
    build.check(move, rig, laws)
    judged = check(rig, move, rate, laws, project.run(None).speed)
    there = judged.trajectory.sample(one.at_s)

    def worst(off: Floats) -> tuple[float, Fraction]:
        place = int(off.argmax())
        return float(off[place]), rate.frames(Fraction(float(one.at_s[place])))

    axes = []
    for each in fits:
        off, at = worst(np.abs(there - one.positions)[:, rig.index(each.captured.axis)])
        axes.append(Near(fitted=each, off=off, at=at))
    ends_s = float(rate.seconds(min(keys))), float(rate.seconds(max(keys)))
    names = {each.captured.axis for each in fits}
    over = [leg for leg in judged.over() if leg.axis in names and leg.to_s >= ends_s[0] and leg.from_s <= ends_s[1]]
    together = [(limit.name, most) for limit, most in judged.combined_over() if ends_s[0] <= most.at_s <= ends_s[1]]
    start = cue_up(rig, judged.trajectory, float(rate.seconds(cue[0].start)), float(rate.seconds(cue[0].end)))
    if start.moving:
        remarks = (
            *remarks,
            f"in motion where the cue begins: {', '.join(start.moving)}; begin to play a little earlier",
        )
    return TakenIn(
        project=replace(project, move=move),
        film=film,
        cue=cue[0],
        made=cue[1],
        span=span,
        way=one,
        axes=tuple(axes),
        left_mm=worst(np.linalg.norm(one.off_m, axis=1) * 1000),
        left_deg=worst(one.off_deg),
        off_px=None if rig.camera is None else worst(shifted_px(rig, rig.camera, one.positions, there)),
        remarks=remarks,
        check=judged,
        over=tuple(over),
        together=tuple(together),
    )


def slower(
    project: Project, laws: Laws, found: Filmed, asked: Asked, done: TakenIn, cuts: tuple[float, ...] = ()
) -> Fraction | None:
    """Return how many times as long it must last for the motors to do it: the least that was tried and found to fit.

    None where no time mends it, or none that was tried did.
    """
    own = Move(tracks=tuple(each.fitted.alone for each in done.axes))
    factor = check(project.rig, own, project.timebase.rate, laws, project.run(None).speed).speed_factor
    if not 0 < factor < 1:
        return None
    stretch = asked.stretch / Fraction(factor)
    for _ in range(_TRIES):
        stretch = ceil(stretch / _SLOWER) * _SLOWER
        try:
            if taken_in(project, laws, found, replace(asked, stretch=stretch), cuts).ok:
                return stretch
        except ProjectError:
            return None
        stretch *= 1 + 2 * _SLOWER
    return None
