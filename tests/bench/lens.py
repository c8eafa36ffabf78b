"""What a frame of the lens view costs while the camera moves, and how far its points lie from OpenUSD's.

And what the curves under the timeline cost while a key is dragged in a project that is as full as it gets.
"""

import importlib.util
import os
import time
from dataclasses import replace
from fractions import Fraction
from pathlib import Path

import numpy as np

from sequencer.project.stage import Ground, Person, Stage
from sequencer.project.store import load
from sequencer.shell.kinds import laws
from tests.bench import dense
from tests.bench.table import Table

HARBOUR = Path(__file__).parents[2] / "projects" / "harbour-lanterns"
SIZES = ((480, 270), (640, 360), (960, 540), (1920, 1080))
BARS_MS = {(960, 540): 4.0}
ROUNDS, FRAMES, WARM = 3, 300, 20
CURVES_PX, DRAGS = (1920, 300), 100
POSES, POINTS = 100, 50


def tables() -> list[Table]:
    """Return all tables of this part."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    return [painting(), curves(), agreement()]


def painting() -> Table:
    """Paint one frame after another, at instants a quarter of a frame apart, into a picture in memory."""
    from PyQt6.QtGui import QImage
    from PyQt6.QtWidgets import QApplication

    from ui.desk import Desk
    from ui.preview.above import PlanView
    from ui.preview.view import LensView

    there = QApplication.instance()
    application = QApplication([]) if there is None else there
    project = load(HARBOUR, laws())
    people = tuple(
        Person(name=f"stand-in {n}", x_m=0.4 * n, y_m=4 + 0.5 * n, height_m=1.6 + 0.1 * n, heading_deg=160 + 10 * n)
        for n in range(4)
    )
    crowded = Stage(ground=Ground(size_m=50.0, cell_m=1.0), people=people, boxes=project.stage.boxes)
    desk = Desk(replace(project, stage=crowded), laws())
    rows = []
    for kind in (LensView, PlanView):
        for size in SIZES:
            view = kind(desk)
            view.resize(*size)
            picture = QImage(*size, QImage.Format.Format_ARGB32_Premultiplied)
            found = []
            for _ in range(ROUNDS):
                taken = []
                for number in range(FRAMES + WARM):
                    desk.place(Fraction(190 + 2 * number, 1))
                    begin_ns = time.process_time_ns()
                    view.render(picture)
                    taken.append((time.process_time_ns() - begin_ns) / 1e6)
                found.append(np.percentile(taken[WARM:], [50, 95]))
            half, most = min(found, key=lambda one: float(one[1]))
            bar = BARS_MS.get(size) if kind is LensView else None
            rows.append(
                (
                    f"{kind.__name__} {size[0]} x {size[1]}",
                    f"{half:.2f}",
                    f"{most:.2f}",
                    "" if bar is None else f"{bar:g}",
                    "" if bar is None else ("yes" if most <= bar else "NO"),
                )
            )
    del application
    return Table(
        "Lens view and plan view, a frame while the camera moves",
        ("view", "p50, ms", "p95, ms", "at most", "met"),
        rows,
        f"Processor time of {FRAMES} frames, best of {ROUNDS} rounds: a ground of 50 m with cells of 1 m, 4 stand-ins, "
        f"{len(crowded.boxes)} boxes, names, ribbon; smoothed lines.",
    )


def curves() -> Table:
    """Drag one of 10,000 keys up and down, and paint its speed, acceleration and jerk for each place of it."""
    from PyQt6.QtGui import QImage
    from PyQt6.QtWidgets import QApplication

    from ui.curves.view import CurvesView
    from ui.desk import Desk

    there = QApplication.instance()
    application = QApplication([]) if there is None else there
    desk = Desk(dense.project(), laws())
    view = CurvesView(desk)
    view.resize(*CURVES_PX)
    picture = QImage(*CURVES_PX, QImage.Format.Format_ARGB32_Premultiplied)
    move = desk.project.move
    rows = []
    for number, what in ((0, "within limits"), (-1, "over limits")):
        track = move.tracks[number]
        view.show_axis(track.axis)
        for length_s in (dense.LASTS_S, 10):
            middle_s = dense.LASTS_S / 2
            desk.look(middle_s - length_s / 2, middle_s + length_s / 2)
            found = []
            for _ in range(ROUNDS):
                taken = []
                for step in range(DRAGS + WARM):
                    keys = list(track.keys)
                    middle = len(keys) // 2
                    keys[middle] = replace(keys[middle], value=keys[middle].value + 0.01 * (step % 50))
                    others = [one for one in move.tracks if one is not track]
                    desk.draft(replace(move, tracks=(*others, replace(track, keys=tuple(keys)))))
                    begin_ns = time.process_time_ns()
                    view.render(picture)
                    taken.append((time.process_time_ns() - begin_ns) / 1e6)
                desk.abandon()
                found.append(np.percentile(taken[WARM:], [50, 95]))
            half, most = min(found, key=lambda one: float(one[1]))
            rows.append((f"{length_s} s in sight, {what}", f"{half:.2f}", f"{most:.2f}"))
    del application
    return Table(
        f"Curves under the timeline, {CURVES_PX[0]} x {CURVES_PX[1]}, while a key of 10,000 is dragged",
        ("what", "p50, ms", "p95, ms"),
        rows,
        f"Processor time of {DRAGS} frames, best of {ROUNDS} rounds: derivatives, pixels and words; the timeline's own "
        "work, with compiling and judging the track, is in the part of the editor.",
    )


def agreement() -> Table:
    """Compare with OpenUSD's frustum, where it is installed."""
    if importlib.util.find_spec("pxr") is None:
        return Table("Points beside OpenUSD's frustum", ("what", "furthest off"), [("OpenUSD is not installed", "")])
    from sequencer.rig.lens import Lens, from_camera, projected
    from sequencer.rig.pose import Pose, turned
    from tests.rig.openusd import by_openusd

    random = np.random.default_rng(11)
    worst, ours_s, theirs_s = 0.0, 0.0, 0.0
    for _ in range(POSES):
        angles_deg = random.uniform([-400, -70, -40], [400, 70, 40])
        here = Pose(random.uniform([-5, -5, 0.2], [5, 5, 4]), turned(angles_deg), angles_deg)
        what = Lens((24.9, 14.0), float(random.uniform(12, 120)), 3.0)
        ahead = random.uniform(0.5, 30, POINTS)
        aside = random.uniform(-1, 1, (2, POINTS)) * ahead * np.array(what.slopes)[:, np.newaxis]
        points = np.stack([aside[0], ahead, aside[1]], axis=1) @ here.matrix.T + here.position
        begin_s = time.process_time()
        ours = projected(what, from_camera(here, points))
        middle_s = time.process_time()
        theirs = by_openusd(here, what, points)
        theirs_s += time.process_time() - middle_s
        ours_s += middle_s - begin_s
        worst = max(worst, float(np.abs(ours - theirs).max()))
    return Table(
        "Points beside OpenUSD's frustum",
        ("what", "furthest off, halves of the frame", "at most", "met"),
        [(f"{POSES} poses of {POINTS} points", f"{worst:.1e}", "1e-05", "yes" if worst <= 1e-5 else "NO")],
        f"OpenUSD keeps lens and aperture as 32-bit floats. All together: here {1e3 * ours_s:.1f} ms, by way of a "
        f"stage of its own for each pose {1e3 * theirs_s:.0f} ms.",
    )
