"""Finds the act of a press in the timeline. It refuses to know what that is: the table of strokes does."""

from collections.abc import Mapping

from PyQt6.QtCore import Qt

from ui.acts.strokes import Act, groups

_K = Qt.Key
_HELD = Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier | Qt.KeyboardModifier.AltModifier

ACTS: Mapping[tuple[Qt.Key, Qt.KeyboardModifier], Act] = {
    (stroke.key, stroke.held): stroke.act for group in groups() for row in group.rows for stroke in row.strokes
}


def act_for(key: int, held: Qt.KeyboardModifier) -> Act | None:
    """Return what a press does, or None. Plus is plus, however a keyboard writes it."""
    if held & Qt.KeyboardModifier.MetaModifier:
        return None
    try:
        pressed = Qt.Key(key)
    except ValueError:  # a key that Qt has no name for
        return None
    held &= _HELD
    if pressed in (_K.Key_Plus, _K.Key_Equal, _K.Key_Minus, _K.Key_Underscore):
        pressed = _K.Key_Plus if pressed in (_K.Key_Plus, _K.Key_Equal) else _K.Key_Minus
        held &= ~Qt.KeyboardModifier.ShiftModifier
    return ACTS.get((pressed, held))
