"""How exactly passes at other speeds, backward and scaled show the positions of the move, over random moves."""

from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from typing import Any

import numpy as np

from sequencer.motion.compile import compile_move
from sequencer.motion.trajectory import Floats, Trajectory
from sequencer.rig.axis import Axis, Rig
from sequencer.score.move import Cue, Ease, Key, Move, Pass, Scaled, Track
from sequencer.score.pace import frame_for_frame, missed, model_rate, step
from sequencer.score.passes import varied
from sequencer.shell.kinds import laws
from sequencer.timebase.rate import RATES, Rate
from tests.bench.table import Table

MOVES = 300
FRAMES = 1000
LAWS = laws()
EASES = ("poly345", "through", "cycloidal", "modified-sine", "through", "poly4567")
LIMITS: dict[str, Any] = {"travel": None, "speed": 60.0, "acceleration": 120.0, "jerk": 600.0}
RIG = Rig(
    name="bench",
    axes=(
        Axis(name="pan", kind="pan", unit="deg", **LIMITS),
        Axis(name="slide", kind="slide", unit="mm", **LIMITS),
        Axis(name="lift", kind="lift", unit="mm", **LIMITS),
    ),
)


def random_move(seed: int) -> tuple[Move, Rate]:
    """Return a move of three axes with parts of frames, and its cue; slide and lift go as far as a metre."""
    chance = np.random.default_rng(seed)
    rate = list(RATES.values())[seed % len(RATES)]
    tracks = []
    for axis in RIG.axes:
        gaps = chance.integers(8, 800, int(chance.integers(2, 20)))
        at = [Fraction(int(one), 8) for one in np.cumsum(gaps)]
        keys = tuple(Key(when, float(chance.uniform(0, 1000)), Ease(str(chance.choice(EASES))), "pass") for when in at)
        tracks.append(Track(axis.name, keys))
    end = max(track.keys[-1].at for track in tracks)
    return Move(tracks=tuple(tracks), cues=(Cue("all", Fraction(0), end),)), rate


def _frames_s(rate: Rate) -> Floats:
    return np.arange(FRAMES, dtype=np.float64) * (rate.den / rate.num)


def _far(one: Trajectory, one_s: Floats, other: Trajectory, other_s: Floats) -> float:
    return float(np.abs(one.sample(one_s) - other.sample(other_s)).max())


def at_speed(speed: Fraction) -> float:
    """Return by how much a pass is elsewhere than the move at the frames that both have, at most."""
    most = 0.0
    for seed in range(MOVES):
        move, rate = random_move(seed)
        whole, between = compile_move(RIG, move, rate, LAWS), step(rate, Pass("one", speed))
        number = _frames_s(rate)
        shot_s, written_s = number * between.denominator, number * between.numerator
        most = max(most, _far(whole.stretched(speed, 0.0), shot_s, whole, written_s))
    return most


def _varied(one: Pass, wanted: Callable[[Trajectory, Cue, Rate, Floats], Floats]) -> float:
    most = 0.0
    for seed in range(MOVES):
        move, rate = random_move(seed)
        move = replace(move, passes=(one,))
        whole = compile_move(RIG, move, rate, LAWS)
        done = compile_move(RIG, varied(move, RIG, one, LAWS), rate, LAWS)
        t_s = _frames_s(rate)
        t_s = t_s[t_s <= float(rate.seconds(move.cues[0].end))]
        most = max(most, float(np.abs(done.sample(t_s) - wanted(whole, move.cues[0], rate, t_s)).max()))
    return most


def backward() -> float:
    """Return by how much a pass run backward is elsewhere than the move as long before its end, at most."""
    return _varied(
        Pass("back", reversed=True),
        lambda whole, cue, rate, t_s: whole.sample(float(rate.seconds(cue.start + cue.end)) - t_s),
    )


def scaled(factor: Fraction) -> float:
    """Return by how much a scaled pass is elsewhere than the move scaled about its origin, at most."""

    def wanted(whole: Trajectory, cue: Cue, rate: Rate, t_s: Floats) -> Floats:
        there = whole.sample(t_s)
        there[:, 1] = 300 + (there[:, 1] - 300) * float(factor)
        there[:, 2] *= float(factor)
        return there

    return _varied(Pass("model", scale=Scaled(factor, (("slide", 300.0),))), wanted)


def _models() -> Table:
    rows = []
    for one_to in (2, 4, 6, 8, 9, 12, 16, 24, 25):
        factor, rate = Fraction(1, one_to), Rate(24)
        shot = model_rate(rate, factor)
        one = Pass("model", frame_for_frame(rate, shot), scale=Scaled(factor, time=True), rate=shot)
        rows.append((f"1:{one_to}", f"{float(shot):.3f}", str(one.speed), str(step(rate, one)), f"{missed(one):+.1e}"))
    return Table(
        "Passes for models: rate and speed by the square root of the scale, for a picture at 24 frames a second",
        ("scale", "camera, fps", "speed", "frames of the move a frame shot", "time off, part of it"),
        rows,
        "The rate is rounded to a thousandth and the speed made from it: frames stay exact, and the time hardly.",
    )


def tables() -> list[Table]:
    speeds = ("1/2", "1/4", "2", "2/3", "1001/1000")
    rows = [(f"speed {one}", f"{at_speed(Fraction(one)):.1e}") for one in speeds]
    rows.append(("backward", f"{backward():.1e}"))
    rows += [(f"scaled by {one}", f"{scaled(Fraction(one)):.1e}") for one in ("1/6", "1/12")]
    note = "The claim for other speeds is 1e-9. Of a smooth run, backward is solved anew, from the other end."
    return [
        Table(
            f"Passes before the rig: {MOVES} random moves of 3 axes, at up to {FRAMES} frames",
            ("pass", "most that it is elsewhere, deg or mm"),
            rows,
            note,
        ),
        _models(),
    ]
