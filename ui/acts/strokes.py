"""What each key of the keyboard does in the timeline, with the words that say so: one table for doing and for reading.

No bare letter does anything, and neither does space. Escape is not here: it ends a gesture, and stops the rig.
"""

from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from typing import Protocol

from PyQt6.QtCore import Qt

from ui.acts import choose, clipboard, keys, playhead, view
from ui.desk import Desk
from ui.language import translate


class Lanes(Protocol):
    """What a stroke needs of the timeline."""

    @property
    def axis(self) -> str:
        """The axis of the lane that has the keyboard."""

    def other_lane(self, step: int, *, extend: bool = False) -> None:
        """Go so many lanes down; with `extend`, what is chosen stays chosen."""

    def ask_numbers(self) -> None:
        """Have the numbers of what is chosen typed."""


Act = Callable[[Desk, Lanes], object]
Held = Qt.KeyboardModifier
_K = Qt.Key
NONE, CTRL, SHIFT, ALT = Held.NoModifier, Held.ControlModifier, Held.ShiftModifier, Held.AltModifier


@dataclass(frozen=True, slots=True)
class Stroke:
    """A key, what is held with it, and what it does."""

    key: Qt.Key
    held: Held
    act: Act


@dataclass(frozen=True, slots=True)
class Row:
    """Strokes that belong together, and what they do in words."""

    words: str
    strokes: tuple[Stroke, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Rows about one thing."""

    name: str
    rows: tuple[Row, ...]


def groups() -> tuple[Group, ...]:
    """Return everything that the keyboard does in the timeline."""
    return (
        Group(translate("strokes", "Choose"), _choosing()),
        Group(translate("strokes", "Change keys"), _changing()),
        Group(translate("strokes", "Playhead"), _placing()),
        Group(translate("strokes", "What is in sight"), _looking()),
    )


def _choosing() -> tuple[Row, ...]:
    return (
        _pair(
            translate("strokes", "the key before, or after"), _K.Key_Left, _K.Key_Right, NONE,
            lambda step: lambda desk, lanes: choose.choose_next(desk, lanes.axis, step),
        ),
        _pair(
            translate("strokes", "the key before, or after, beside those that are chosen"),
            _K.Key_Left, _K.Key_Right, SHIFT,
            lambda step: lambda desk, lanes: choose.choose_next(desk, lanes.axis, step, extend=True),
        ),
        _pair(
            translate("strokes", "the lane above, or below"), _K.Key_Up, _K.Key_Down, NONE,
            lambda step: lambda desk, lanes: lanes.other_lane(step),
        ),
        _pair(
            translate("strokes", "the lane above, or below, and a key of it beside those that are chosen"),
            _K.Key_Up, _K.Key_Down, SHIFT,
            lambda step: lambda desk, lanes: lanes.other_lane(step, extend=True),
        ),
        _one(translate("strokes", "all keys"), _K.Key_A, CTRL, lambda desk, lanes: choose.choose_all(desk)),
        _one(translate("strokes", "no key"), _K.Key_D, CTRL, lambda desk, lanes: choose.choose_none(desk)),
        Row(
            translate("strokes", "type the numbers of what is chosen"),
            tuple(Stroke(key, NONE, lambda desk, lanes: lanes.ask_numbers()) for key in (_K.Key_Return, _K.Key_Enter)),
        ),
    )  # fmt: skip


def _changing() -> tuple[Row, ...]:
    return (
        _one(
            translate("strokes", "add a key at the playhead"), _K.Key_Insert, NONE,
            lambda desk, lanes: keys.add_key(desk, lanes.axis),
        ),
        Row(
            translate("strokes", "delete the chosen keys"),
            (
                Stroke(_K.Key_Delete, NONE, lambda desk, lanes: keys.delete_keys(desk)),
                Stroke(_K.Key_Backspace, NONE, lambda desk, lanes: keys.delete_keys(desk)),
            ),
        ),
        *_nudges(),
        _one(translate("strokes", "copy"), _K.Key_C, CTRL, lambda desk, lanes: clipboard.copy_keys(desk)),
        _one(translate("strokes", "cut"), _K.Key_X, CTRL, lambda desk, lanes: clipboard.cut_keys(desk)),
        _one(
            translate("strokes", "paste at the playhead"), _K.Key_V, CTRL,
            lambda desk, lanes: clipboard.paste_keys(desk),
        ),
        _one(
            translate("strokes", "paste keys of one axis onto this one"), _K.Key_V, CTRL | SHIFT,
            lambda desk, lanes: clipboard.paste_keys(desk, lanes.axis),
        ),
        _one(translate("strokes", "undo"), _K.Key_Z, CTRL, lambda desk, lanes: desk.undo()),
        Row(
            translate("strokes", "redo"),
            (
                Stroke(_K.Key_Z, CTRL | SHIFT, lambda desk, lanes: desk.redo()),
                Stroke(_K.Key_Y, CTRL, lambda desk, lanes: desk.redo()),
            ),
        ),
    )  # fmt: skip


def _nudges() -> tuple[Row, ...]:
    frames = (
        (CTRL, Fraction(1), translate("strokes", "a frame earlier, or later")),
        (CTRL | SHIFT, Fraction(10), translate("strokes", "ten frames earlier, or later")),
        (CTRL | ALT, Fraction(1, 10), translate("strokes", "a tenth of a frame earlier, or later")),
    )
    steps = (
        (CTRL, 1.0, translate("strokes", "a step of the value up, or down")),
        (CTRL | SHIFT, 10.0, translate("strokes", "ten steps of the value up, or down")),
        (CTRL | ALT, 0.1, translate("strokes", "a tenth of a step of the value up, or down")),
    )
    return (
        *(_pair(words, _K.Key_Left, _K.Key_Right, held, _in_time(by)) for held, by, words in frames),
        *(_pair(words, _K.Key_Up, _K.Key_Down, held, _in_value(by)) for held, by, words in steps),
    )


def _in_time(frames: Fraction) -> Callable[[int], Act]:
    return lambda step: lambda desk, lanes: keys.nudge_time(desk, step * frames)


def _in_value(steps: float) -> Callable[[int], Act]:
    return lambda step: lambda desk, lanes: keys.nudge_value(desk, -step * steps)


def _placing() -> tuple[Row, ...]:
    before, after = _K.Key_PageUp, _K.Key_PageDown
    return (
        _pair(
            translate("strokes", "one frame back, or on"), _K.Key_Left, _K.Key_Right, ALT,
            lambda step: lambda desk, lanes: playhead.step_frames(desk, step),
        ),
        _pair(
            translate("strokes", "one beat back, or on"), _K.Key_Left, _K.Key_Right, ALT | SHIFT,
            lambda step: lambda desk, lanes: playhead.step_beats(desk, step),
        ),
        _pair(
            translate("strokes", "to the key before, or after, of this axis"), before, after, SHIFT,
            lambda step: lambda desk, lanes: playhead.step_key(desk, step, lanes.axis),
        ),
        _pair(
            translate("strokes", "to the marker or end of a cue before, or after"), before, after, CTRL,
            lambda step: lambda desk, lanes: playhead.step_marker(desk, step),
        ),
        _pair(
            translate("strokes", "a quarter of what is in sight back, or on"), before, after, NONE,
            lambda step: lambda desk, lanes: playhead.page(desk, step),
        ),
        _one(
            translate("strokes", "to the begin of the move"), _K.Key_Home, NONE,
            lambda desk, lanes: playhead.go_begin(desk),
        ),
        _one(
            translate("strokes", "to the end of the move"), _K.Key_End, NONE, lambda desk, lanes: playhead.go_end(desk)
        ),
    )  # fmt: skip


def _looking() -> tuple[Row, ...]:
    return (
        _one(translate("strokes", "less time"), _K.Key_Plus, CTRL, lambda desk, lanes: view.zoom_in(desk)),
        _one(translate("strokes", "more time"), _K.Key_Minus, CTRL, lambda desk, lanes: view.zoom_out(desk)),
        _one(translate("strokes", "the whole move"), _K.Key_0, CTRL, lambda desk, lanes: view.zoom_all(desk)),
        _one(translate("strokes", "what is chosen"), _K.Key_9, CTRL, lambda desk, lanes: view.zoom_chosen(desk)),
        _pair(
            translate("strokes", "half of it earlier, or later"), _K.Key_PageUp, _K.Key_PageDown, ALT,
            lambda step: lambda desk, lanes: view.pan(desk, step / 2),
        ),
    )  # fmt: skip


def _one(words: str, key: Qt.Key, held: Held, act: Act) -> Row:
    return Row(words, (Stroke(key, held, act),))


def _pair(words: str, first: Qt.Key, second: Qt.Key, held: Held, act: Callable[[int], Act]) -> Row:
    """Return the row of two keys, which go one step back or up, and on or down."""
    return Row(words, (Stroke(first, held, act(-1)), Stroke(second, held, act(1))))
