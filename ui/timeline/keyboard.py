"""What the keys of the keyboard do in the timeline. No bare letter does anything, and neither does space.

Escape is not among them: it ends a gesture, and stops the rig.
"""

from collections.abc import Callable, Mapping
from fractions import Fraction

from PyQt6.QtCore import Qt

from ui.acts import choose, clipboard, keys, playhead, view
from ui.desk import Desk

Act = Callable[[Desk, str], object]
Held = frozenset[str]

_HELD = (
    (Qt.KeyboardModifier.ControlModifier, "ctrl"),
    (Qt.KeyboardModifier.ShiftModifier, "shift"),
    (Qt.KeyboardModifier.AltModifier, "alt"),
)
_TEN, _TENTH = 10, Fraction(1, 10)
_K = Qt.Key


def _nudges() -> dict[tuple[Qt.Key, Held], Act]:
    made: dict[tuple[Qt.Key, Held], Act] = {}
    for held, times in (((), Fraction(1)), (("shift",), Fraction(_TEN)), (("alt",), _TENTH)):
        with_control = frozenset(("ctrl", *held))
        for key, sign in ((_K.Key_Left, -1), (_K.Key_Right, 1)):
            made[key, with_control] = _in_time(sign * times)
        for key, sign in ((_K.Key_Down, -1), (_K.Key_Up, 1)):
            made[key, with_control] = _in_value(float(sign * times))
    return made


def _in_time(frames: Fraction) -> Act:
    return lambda desk, axis: keys.nudge_time(desk, frames)


def _in_value(steps: float) -> Act:
    return lambda desk, axis: keys.nudge_value(desk, steps)


def _next(step: int, extend: bool = False) -> Act:
    return lambda desk, axis: choose.choose_next(desk, axis, step, extend=extend)


NONE: Held = frozenset()
CTRL: Held = frozenset({"ctrl"})
SHIFT: Held = frozenset({"shift"})
ALT: Held = frozenset({"alt"})

# what each does, with the axis of the lane that has the keyboard
ACTS: Mapping[tuple[Qt.Key, Held], Act] = {
    **_nudges(),
    (_K.Key_Left, NONE): _next(-1),
    (_K.Key_Right, NONE): _next(1),
    (_K.Key_Left, SHIFT): _next(-1, extend=True),
    (_K.Key_Right, SHIFT): _next(1, extend=True),
    (_K.Key_Insert, NONE): keys.add_key,
    (_K.Key_Delete, NONE): lambda desk, axis: keys.delete_keys(desk),
    (_K.Key_Backspace, NONE): lambda desk, axis: keys.delete_keys(desk),
    (_K.Key_C, CTRL): lambda desk, axis: clipboard.copy_keys(desk),
    (_K.Key_X, CTRL): lambda desk, axis: clipboard.cut_keys(desk),
    (_K.Key_V, CTRL): lambda desk, axis: clipboard.paste_keys(desk),
    (_K.Key_V, CTRL | SHIFT): clipboard.paste_keys,
    (_K.Key_A, CTRL): lambda desk, axis: choose.choose_all(desk),
    (_K.Key_D, CTRL): lambda desk, axis: choose.choose_none(desk),
    (_K.Key_Z, CTRL): lambda desk, axis: desk.undo(),
    (_K.Key_Z, CTRL | SHIFT): lambda desk, axis: desk.redo(),
    (_K.Key_Y, CTRL): lambda desk, axis: desk.redo(),
    (_K.Key_Home, NONE): lambda desk, axis: playhead.go_begin(desk),
    (_K.Key_End, NONE): lambda desk, axis: playhead.go_end(desk),
    (_K.Key_PageUp, NONE): lambda desk, axis: playhead.page(desk, -1),
    (_K.Key_PageDown, NONE): lambda desk, axis: playhead.page(desk, 1),
    (_K.Key_PageUp, SHIFT): lambda desk, axis: playhead.step_key(desk, -1, axis),
    (_K.Key_PageDown, SHIFT): lambda desk, axis: playhead.step_key(desk, 1, axis),
    (_K.Key_PageUp, CTRL): lambda desk, axis: playhead.step_marker(desk, -1),
    (_K.Key_PageDown, CTRL): lambda desk, axis: playhead.step_marker(desk, 1),
    (_K.Key_Left, ALT): lambda desk, axis: playhead.step_frames(desk, -1),
    (_K.Key_Right, ALT): lambda desk, axis: playhead.step_frames(desk, 1),
    (_K.Key_Left, ALT | SHIFT): lambda desk, axis: playhead.step_beats(desk, -1),
    (_K.Key_Right, ALT | SHIFT): lambda desk, axis: playhead.step_beats(desk, 1),
    (_K.Key_PageUp, ALT): lambda desk, axis: view.pan(desk, -0.5),
    (_K.Key_PageDown, ALT): lambda desk, axis: view.pan(desk, 0.5),
    (_K.Key_Plus, CTRL): lambda desk, axis: view.zoom_in(desk),
    (_K.Key_Minus, CTRL): lambda desk, axis: view.zoom_out(desk),
    (_K.Key_0, CTRL): lambda desk, axis: view.zoom_all(desk),
    (_K.Key_9, CTRL): lambda desk, axis: view.zoom_chosen(desk),
}


def act_for(key: int, held: Qt.KeyboardModifier) -> Act | None:
    """Return what a press does, or None. Plus is plus, however a keyboard writes it."""
    names = frozenset(name for flag, name in _HELD if held & flag)
    if held & Qt.KeyboardModifier.MetaModifier:
        return None
    try:
        pressed = Qt.Key(key)
    except ValueError:  # a key that Qt has no name for
        return None
    if pressed in (_K.Key_Plus, _K.Key_Equal, _K.Key_Minus, _K.Key_Underscore):
        pressed = _K.Key_Plus if pressed in (_K.Key_Plus, _K.Key_Equal) else _K.Key_Minus
        names -= {"shift"}
    return ACTS.get((pressed, names))
