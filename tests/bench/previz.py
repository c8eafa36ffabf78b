"""How few keys a planned camera of a thousand frames becomes, how near they come, and how long that takes.

The cameras are those of tests/project/previz_cameras.py, composed by scipy's Rotation. How far off an axis is at a
frame is looked up in the project as it was written and read again. Peers, on the pan alone: scipy's smoothing spline of
the same degree at the same largest error, and the polygon of Ramer, Douglas and Peucker (as in the part `capture`).
"""

import tempfile
import time
from pathlib import Path

import numpy as np

from sequencer.live.performed import Path as Performed
from sequencer.project.previz import Asked, taken_in
from sequencer.project.previz_within import Within
from sequencer.project.store import load, save
from sequencer.shell.kinds import laws
from tests.bench.capture import polygon, spline
from tests.bench.table import Table
from tests.project.previz_cameras import CAMERAS, COUNT, RIG, T_S, WAYS, empty, off

BAR_PERCENT = 5.0
CASES = (
    ("eased", 0.02, 0.2),
    ("eased", 0.05, 0.5),
    ("past a turn", 0.02, 0.2),
    ("past a turn", 0.05, 0.5),
    ("shaken", 0.05, 0.5),
    ("shaken", 0.1, 1.0),
    ("handheld", 0.02, 0.2),
    ("handheld", 0.05, 0.5),
    ("handheld", 0.1, 1.0),
)


def tables() -> list[Table]:
    """Return all tables of this part."""
    return [thousand(), pixels(), peers()]


def thousand() -> Table:
    """Take in each camera within tolerances of its units."""
    rows = []
    for name, deg, mm in CASES:
        asked = Asked(within=Within(units=(("deg", deg), ("mm", mm))))
        begin_s = time.process_time()
        done = taken_in(empty(), laws(), CAMERAS[name], asked)
        took_s = time.process_time() - begin_s
        with tempfile.TemporaryDirectory() as folder:
            save(Path(folder) / "quay", done.project, laws())
            kept = load(Path(folder) / "quay", laws())
        allowed = {"deg": deg, "mm": mm}
        found = off(done, kept, WAYS[name])
        most = max(value / allowed[RIG.axes[RIG.index(axis)].unit] for axis, value in found.items())
        keys = [one.fitted.captured.keys for one in done.axes]
        percent = 100 * max(keys) / COUNT
        met = percent < BAR_PERCENT and most <= 1 and done.ok
        counts = ", ".join(map(str, keys))
        cells = (counts, f"{percent:.1f}", f"{most:.3f}", f"{max(0.0, done.check.reserve):.2f}", f"{took_s:.1f}")
        rows.append((f"{name}, within {deg:g} deg, {mm:g} mm", *cells, "yes" if met else "NO"))
    head = ("camera", "keys of each axis", "most, % of frames", "off", "reserve", "s", "met")
    note = (
        f"{COUNT} frames, five axes. Off: the most at any frame, of what is allowed. At most {BAR_PERCENT:g} % on "
        "the axis that has most, at most 1 off, no limit broken. The handheld camera sways at up to 0.6 Hz for 40 s; "
        "two keys to a period of that are 48 (the sampling theorem), and the nearer it is to be, the more it needs. "
        "Seconds are of the processor."
    )
    return Table("Planned cameras as keys", head, rows, note)


def pixels() -> Table:
    """Take in each camera that does not shake within pixels, which all axes together keep."""
    rows = []
    for name, px in (("eased", 1.0), ("past a turn", 1.0), ("handheld", 4.0)):
        begin_s = time.process_time()
        done = taken_in(empty(), laws(), CAMERAS[name], Asked(within=Within(px=px)))
        took_s = time.process_time() - begin_s
        keys = [one.fitted.captured.keys for one in done.axes]
        found_px = done.off_px[0] if done.off_px is not None else np.inf
        counts = ", ".join(map(str, keys))
        met = found_px <= px and done.ok
        cells = (counts, f"{100 * max(keys) / COUNT:.1f}", f"{found_px:.2f}", f"{took_s:.1f}")
        rows.append((f"{name}, within {px:g} pixels", *cells, "yes" if met else "NO"))
    head = ("camera", "keys of each axis", "most, % of frames", "pixels off", "s", "met")
    note = "Of 4096 across, 35 mm on 24.9 mm: the worst of nine places of the frame at any frame of the picture."
    return Table("Planned cameras within pixels", head, rows, note)


def peers() -> Table:
    """Hold the pan's keys against those of peers at the same largest error."""
    rows = []
    pan = RIG.axes[0]
    for name, deg in (("eased", 0.05), ("past a turn", 0.05), ("shaken", 0.05), ("handheld", 0.1)):
        asked = Asked(within=Within(units=(("deg", deg),)), axes=("pan",))
        done = taken_in(empty(), laws(), CAMERAS[name], asked)
        samples = Performed(T_S, WAYS[name][0])
        knots, jerk = spline(samples, deg)
        own = f"{done.axes[0].fitted.captured.keys} ({done.check.axes()[0].jerk.value / pan.jerk:.2f})"
        cells = (own, f"{knots} ({jerk / pan.jerk:.2f})", str(polygon(samples, deg)))
        rows.append((f"{name}, pan within {deg:g} deg", *cells))
    head = ("camera", "keys (jerk, of the limit)", "scipy's spline, knots (jerk)", "polygon, corners")
    note = "Fewer is better; a jerk above 1 cannot be played, and a polygon's has no end."
    return Table("Planned cameras beside peers", head, rows, note)
