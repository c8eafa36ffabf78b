"""How few keys a performance becomes, how near they come, how long that takes; beside peers on the same samples.

The hands are those of tests/live/hand.py, through `live.driving.steer`, on the harbour's rig at 250 Hz. Errors are
looked at sixteen times as densely as there are samples. Peers: scipy's smoothing spline of the same degree, its
smoothing found by bisection so that its largest error is the tolerance; the polygon of Ramer, Douglas and Peucker; and
`thin`, which keeps some of the keys that stand on every frame.
"""

import time
from fractions import Fraction
from pathlib import Path as File

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import splev, splrep

from sequencer.live.capture import capture
from sequencer.live.performed import Path
from sequencer.motion.check import check
from sequencer.motion.compile import compile_move
from sequencer.motion.thin import thin
from sequencer.project.store import load_rig
from sequencer.score.move import Ease, Key, Move, Track
from sequencer.timebase.rate import Rate
from tests.bench.table import Table
from tests.live.hand import HZ, performed
from tests.motion.machines import LAWS

Floats = NDArray[np.float64]

RATE = Rate(25)
RIG = load_rig(File(__file__).parents[2] / "projects" / "harbour-lanterns")
BAR_PERCENT = 5.0
DENSELY_HZ = 4000


def tables() -> list[Table]:
    """Return all tables of this part."""
    return [minutes(), peers()]


def _span(path: Path) -> tuple[Fraction, Fraction]:
    return Fraction(0), Fraction(int(path.at_s[-1] * 25))


def _off(move: Move, axis: str, path: Path) -> float:
    t_s = np.arange(0, float(_span(path)[1]) / 25, 1 / DENSELY_HZ)
    stands = compile_move(RIG, move, RATE, LAWS).sample(t_s)[:, RIG.index(axis)]
    return float(np.abs(stands - np.interp(t_s, path.at_s, path.position)).max())


def minutes() -> Table:
    """Capture one and ten minutes of hands on an axis, within tolerances of its unit."""
    rows = []
    for axis, seed, lasts_s, within in (
        ("pan", 1, 60, 0.1),
        ("pan", 2, 60, 0.1),
        ("tilt", 3, 60, 0.3),
        ("tilt", 3, 60, 0.1),
        ("tilt", 3, 60, 0.03),
        ("slide", 4, 60, 1.0),
        ("focus", 5, 60, 0.005),
        ("pan", 6, 600, 0.1),
    ):
        path = Path(*performed(RIG, axis, seed, lasts_s))
        begin_s = time.process_time()
        move, found = capture(RIG, Move(tracks=()), RATE, LAWS, axis, path, _span(path), within)
        took_s = time.process_time() - begin_s
        percent = 100 * found.keys / len(path.at_s)
        off = _off(move, axis, path)
        met = percent < BAR_PERCENT and max(off, found.furthest) <= within and not found.over
        judged = check(RIG, move, RATE, LAWS)
        rows.append(
            (
                f"{axis}, {lasts_s} s, within {within:g}",
                str(found.keys),
                f"{percent:.2f}",
                f"{off / within:.3f}",
                f"{found.furthest / within:.3f}",
                f"{max(0.0, judged.reserve):.3f}" if judged.ok else "over",
                f"{took_s:.1f}",
                "yes" if met and judged.ok else "NO",
            )
        )
    head = ("performance", "keys", "% of samples", "off at 4 kHz", "off, as it says", "reserve", "s", "met")
    return Table(
        f"Captured performances ({HZ} Hz)",
        head,
        rows,
        f"Off: the most, in parts of the tolerance. At most {BAR_PERCENT:g} % of the samples, at most 1 off, no limit "
        "broken. Seconds are of the processor.",
    )


def peers() -> Table:
    """Hold the number of keys against those of peers at the same largest error."""
    rows = []
    for axis, seed, within in (("pan", 1, 0.1), ("tilt", 3, 0.3), ("tilt", 3, 0.1), ("tilt", 3, 0.03)):
        path = Path(*performed(RIG, axis, seed, 60))
        span = _span(path)
        _, found = capture(RIG, Move(tracks=()), RATE, LAWS, axis, path, span, within)
        knots, jerk = spline(path, within)
        limit = RIG.axes[RIG.index(axis)].jerk
        rows.append(
            (
                f"{axis}, within {within:g}",
                str(found.keys),
                f"{knots} ({jerk / limit:.1f})",
                str(polygon(path, within)),
                str(_thinned(axis, path, within)),
            )
        )
    head = ("60 s of hands", "keys", "scipy's spline, knots (jerk, of the limit)", "polygon, corners", "thin, keys")
    return Table("Captured performances beside peers", head, rows, "Fewer is better; a jerk above 1 cannot be played.")


def spline(path: Path, within: float) -> tuple[int, float]:
    """Return the knots of the smoothing spline whose largest error is the tolerance, and its largest jerk."""
    low, high = 0.0, len(path.at_s) * within**2
    best = splrep(path.at_s, path.position, k=5, s=0.01 * high)
    for _ in range(12):
        middle = (low + high) / 2
        tried = splrep(path.at_s, path.position, k=5, s=middle)
        if np.abs(splev(path.at_s, tried) - path.position).max() <= within:
            low, best = middle, tried
        else:
            high = middle
    t_s = np.arange(path.at_s[0], path.at_s[-1], 0.002)
    return len(best[0]) - 10, float(np.abs(splev(t_s, best, der=3)).max())


def polygon(path: Path, within: float) -> int:
    """Return the corners of the polygon that is so near. Source: Douglas & Peucker 1973, over time."""
    kept, spans = 2, [(0, len(path.at_s) - 1)]
    while spans:
        low, high = spans.pop()
        if high - low < 2:
            continue
        inside = slice(low + 1, high)
        chord = np.interp(path.at_s[inside], path.at_s[[low, high]], path.position[[low, high]])
        off = np.abs(path.position[inside] - chord)
        if off.max() > within:
            corner = low + 1 + int(off.argmax())
            kept += 1
            spans += [(low, corner), (corner, high)]
    return kept


def _thinned(axis: str, path: Path, within: float) -> int:
    frames = np.arange(int(path.at_s[-1] * 25) + 1)
    values = np.interp(frames / 25, path.at_s, path.position)
    rows = zip(frames.tolist(), values.tolist(), strict=True)
    keys = tuple(Key(Fraction(at), value, Ease("linear")) for at, value in rows)
    move = thin(RIG, Move(tracks=(Track(axis, keys),)), RATE, LAWS, {axis: frozenset(range(len(keys)))}, within)
    return len(move.tracks[0].keys)
