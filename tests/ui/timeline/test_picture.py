"""The kept picture: however one scrolls, zooms and edits, it is pixel by pixel what is painted as a whole."""

import os
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from random import Random

import numpy as np
import pytest
from PyQt6.QtGui import QColor, QImage, QPainter
from pytestqt.qtbot import QtBot

from sequencer.score.edits.offset import offset
from sequencer.score.move import Cue, Key, Marker, Move, Track
from ui.acts import view as acts
from ui.desk import COUNTED, Desk
from ui.theme import THEMES
from ui.timeline import ink
from ui.timeline.geometry import Lane, Layout
from ui.timeline.ink import Canvas
from ui.timeline.lanes import Content, Manner, draw_body
from ui.timeline.look import Look
from ui.timeline.roll import Roll
from ui.timeline.view import Timeline

Step = Callable[[Desk, Timeline, Random], object]


def crowded(desk: Desk) -> Move:
    """Return the move with tracks of many keys: one so dense that they are no longer told apart, one uneven."""
    move, rng = desk.project.move, Random(7)
    ease = move.tracks[0].keys[0].ease
    dense = [Key(Fraction(number), 30.0 * (number % 7 - 3) / 3, ease) for number in range(0, 900)]
    at = sorted({Fraction(rng.randrange(0, 4000), 4) for _ in range(160)})
    uneven = [Key(each, rng.uniform(-20, 20), ease) for each in at]
    others = [track for track in move.tracks if track.axis not in ("tilt", "roll")]
    markers = (Marker("one", Fraction(100)), Marker("two", Fraction(333)), Marker("three", Fraction(700, 3)))
    cues = (Cue("all", Fraction(0), Fraction(800)),)
    tracks = (*others, Track("tilt", tuple(dense)), Track("roll", tuple(uneven)))
    return replace(move, tracks=tracks, markers=markers, cues=cues)


@pytest.fixture
def view(desk: Desk, qtbot: QtBot) -> Timeline:
    desk.edit("fill", crowded(desk))
    made = Timeline(desk)
    qtbot.addWidget(made)
    made.resize(620, 420)
    made.show()
    qtbot.waitUntil(lambda: not made.sound.reading)
    return made


def pan(desk: Desk, px: float) -> None:
    begin_s, end_s = desk.span_s
    shift_s = px * (end_s - begin_s) / 500
    desk.look(begin_s + shift_s, end_s + shift_s)


def nudge(desk: Desk, rng: Random) -> None:
    axis = rng.choice([track.axis for track in desk.project.move.tracks])
    desk.edit("x", offset(desk.history.now.move, {axis: {1, 2}}, value=rng.uniform(-5, 5)))


def drag(desk: Desk, rng: Random) -> None:
    axis = rng.choice([track.axis for track in desk.project.move.tracks])
    desk.draft(offset(desk.history.now.move, {axis: {rng.randrange(3)}}, value=rng.uniform(-40, 40)))


def propose(desk: Desk) -> None:
    desk.propose(offset(desk.project.move, {"pan": {1, 2}}, value=3.0), "x")


def choose(desk: Desk, rng: Random) -> None:
    desk.select({"pan": {1, 2}, "tilt": set(range(rng.randrange(1, 600))), "roll": {3, 40}})


STEPS: tuple[Step, ...] = (
    lambda desk, _, rng: acts.pan(desk, rng.choice((-0.1, 0.1, 0.1))),
    lambda desk, _, rng: acts.pan(desk, rng.choice((-0.5, 0.5))),
    lambda desk, _, rng: pan(desk, rng.uniform(-30, 30)),
    lambda desk, _, rng: pan(desk, rng.choice((1, 2, -1, -3, 7, 600))),
    lambda desk, _, rng: pan(desk, rng.uniform(-3, 3)),
    lambda desk, _, rng: acts.zoom(desk, acts.STEP ** rng.choice((-2, -1, 1, 2)), sum(desk.span_s) / 2),
    lambda desk, _, rng: desk.look(*rng.choice(((0.0, 40.0), (3.0, 9.0), (20.0, 21.0), (-5.0, 60.0), (10.0, 26.0)))),
    lambda desk, _, rng: nudge(desk, rng),
    lambda desk, _, rng: drag(desk, rng),
    lambda desk, *_: desk.abandon(),
    lambda desk, *_: desk.settle("drag"),
    lambda desk, *_: desk.undo(),
    lambda desk, *_: desk.redo(),
    lambda desk, _, rng: choose(desk, rng),
    lambda desk, *_: desk.select({}),
    lambda desk, *_: propose(desk),
    lambda desk, *_: desk.leave_proposal(),
    lambda desk, _, rng: desk.place(Fraction(rng.randrange(1000))),
    lambda desk, _, rng: desk.dress(rng.choice(tuple(THEMES.values()))),
    lambda desk, _, rng: desk.count(rng.choice(COUNTED)),
    lambda desk, *_: desk.edit("x", replace(desk.project, tempo=None)),
    lambda _, view, rng: view.resize(rng.choice((620, 733)), rng.choice((420, 300))),
    lambda _, view, rng: setattr(view, "scroll_px", rng.choice((0.0, 33.0, 80.0))),
    lambda _, view, rng: setattr(view, "chosen_axis", rng.choice(("pan", "tilt"))),
)
SCROLLS = STEPS[:5]
LEVELS = 12  # of 255, by which a smooth line may differ where it was cut
QUICK_LEVELS = 80  # the same of the quick lines that are drawn while time is stretched


def seen(view: Timeline) -> np.ndarray:
    picture = view.grab().toImage()
    return ink.pixels(picture).copy()


def channels(pixels: np.ndarray) -> np.ndarray:
    """Return red, green and blue. Shape: (rows, columns, 3)."""
    return np.stack([(pixels >> shift & 255).astype(np.int16) for shift in (16, 8, 0)], axis=-1)


def walk(desk: Desk, view: Timeline, rng: Random, count: int) -> None:
    """Take steps, most of them scrolls, and look each time."""
    for number in range(count):
        step = rng.choice(SCROLLS if rng.random() < 0.6 else STEPS)
        step(desk, view, rng)
        kept = seen(view)
        view.repaint_all()
        whole = seen(view)
        far = np.abs(channels(kept) - channels(whole)).max(axis=-1)
        most = QUICK_LEVELS if view.is_moving else LEVELS
        assert far.max() <= most, (number, STEPS.index(step), far.max(), np.argwhere(far > most)[:9].tolist())
        assert (far > LEVELS).sum() < 40
        if rng.random() < 0.3:
            view.come_to_rest()


@pytest.mark.parametrize("seed", range(6))
def test_the_kept_picture_is_the_whole_one_after_any_walk(desk: Desk, view: Timeline, seed: int) -> None:
    walk(desk, view, Random(seed), 30)


@pytest.mark.parametrize("ratio", ["1.5", "2"])
def test_so_it_is_on_screens_of_more_pixels(ratio: str) -> None:
    command = [
        sys.executable,
        "-m",
        "pytest",
        __file__,
        "-q",
        "-x",
        "-p",
        "no:cacheprovider",
        "-k",
        "any_walk and (0 or 3)",
    ]
    environment = {**os.environ, "QT_SCALE_FACTOR": ratio, "QT_QPA_PLATFORM": "offscreen"}
    done = subprocess.run(command, env=environment, capture_output=True, text=True, check=False, timeout=300)
    assert done.returncode == 0, done.stdout[-3000:]


def test_only_what_comes_in_sight_is_painted(desk: Desk, view: Timeline, monkeypatch: pytest.MonkeyPatch) -> None:
    painted: list[tuple[str, int]] = []

    def spy(canvas: Canvas, look: Look, layout: Layout, lane: Lane, what: Content, how: Manner) -> None:
        painted.append((lane.axis, canvas.end - canvas.left))
        draw_body(canvas, look, layout, lane, what, how)

    monkeypatch.setattr("ui.timeline.parts.draw_body", spy)
    view.come_to_rest()
    seen(view)
    pan(desk, 9)
    painted.clear()
    seen(view)
    ratio = view.devicePixelRatioF()
    assert {wide for axis, wide in painted if axis in ("focus", "slide")} == {round(9 * ratio)}
    assert not view.is_moving  # so that nothing need be painted again when it stands still


def test_a_roll_keeps_what_is_painted_however_far_it_is_shifted() -> None:
    roll, rng = Roll(64, 16, 1.0), np.random.default_rng(4)
    wanted = rng.integers(0, 1 << 32, (16, 64), dtype=np.uint32)
    roll.pixels[:] = wanted
    for shift in (7, -20, 64, -64, 1) * 9000:
        roll.shift(shift, 5)
        wanted[:, 5:] = np.roll(wanted, -shift, axis=1)[:, 5:]
        new = slice(64 - shift, 64) if shift > 0 else slice(5, 5 - shift)
        wanted[:, new] = roll.pixels[:, new] = number = rng.integers(0, 1 << 32, dtype=np.uint32)
        if number % 50 == 0:
            assert (roll.pixels == wanted)[:, 5:].all()
    assert (roll.pixels == wanted).all()
    with pytest.raises(ValueError, match="64 columns"):
        roll.shift(65, 0)


def test_what_is_painted_on_a_roll_is_in_its_pixels() -> None:
    roll = Roll(40, 30, 2.0)
    roll.shift(3, 0)
    painter = QPainter(roll.image)
    painter.fillRect(1, 1, 4, 4, QColor("#ff8000"))
    painter.end()
    assert (roll.pixels[2:10, 2:10] == 0xFFFF8000).all()
    assert (roll.pixels != 0).sum() == 64
    assert roll.image.format() == QImage.Format.Format_RGB32
