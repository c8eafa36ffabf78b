"""What the chosen keys say of the legs that begin there, and of themselves: law, passing, turn, pin.

It refuses to offer a law that is drawn by a repair and not by hand.
"""

from typing import Any

from sequencer.project.document import Project
from sequencer.score.edits import keys as edits
from sequencer.score.laws.spline import Spline
from sequencer.score.move import Ease, Move, Passing, Turn
from ui.acts.doing import do
from ui.acts.keys import many, some
from ui.desk import Desk
from ui.language import translate

# handles that begin and end at rest, for a law that cannot do without
_BEZIER = (0.4, 0.0, 0.6, 1.0)


def offered_laws(desk: Desk) -> tuple[str, ...]:
    """Return the laws that an operator can choose."""
    return tuple(name for name, kind in desk.laws.items() if kind.settings is not Spline)


def plain_settings(desk: Desk, law: str) -> Any:
    """Return the settings with which a law begins. Error: ValueError for one that needs them written."""
    kind = desk.laws[law]
    try:
        return kind.settings()
    except TypeError:
        pass
    try:
        return kind.settings(_BEZIER)
    except (TypeError, ValueError):
        raise ValueError(translate("acts", "the law {law} needs its settings; write them").format(law=law)) from None


def plain_ease(desk: Desk, law: str) -> Ease:
    """Return the law with what it needs written, if anything. Error: as in `plain_settings`."""
    if law in desk.laws:
        try:
            desk.laws[law].settings()
        except TypeError:
            return Ease(law, plain_settings(desk, law))
    return Ease(law)


def set_law(desk: Desk, law: str, settings: object = None) -> bool:
    """Give the legs that begin at the chosen keys the law `law`, with `settings` of its own type, or its plain ones."""
    if not some(desk):
        return False
    return shape_legs(desk, {axis: set(numbers) for axis, numbers in desk.selection.items()}, law, settings)


def shape_legs(desk: Desk, selection: dict[str, set[int]], law: str, settings: object = None) -> bool:
    """Give the legs that begin at these keys a law, whatever is chosen."""

    def edit(project: Project) -> Move:
        ease = plain_ease(desk, law) if settings is None else Ease(law, settings)
        return edits.shaped(project.move, selection, ease, desk.laws)

    return do(desk, translate("acts", "law of legs: {law}").format(law=law), edit)


def set_passing(desk: Desk, how: Passing) -> bool:
    """Say what a smooth run does at the chosen keys."""
    return pass_keys(desk, {axis: set(numbers) for axis, numbers in desk.selection.items()}, how)


def pass_keys(desk: Desk, selection: dict[str, set[int]], how: Passing) -> bool:
    """Say what a smooth run does at these keys."""
    words = translate("acts", "passing: {how}").format(how=how)
    return _some(desk, selection) and do(desk, words, lambda project: edits.passing(project.move, selection, how))


def set_turn(desk: Desk, turn: Turn | None) -> bool:
    """Say which way round an axis without end goes from the chosen keys; None as the values are written."""
    return turn_legs(desk, {axis: set(numbers) for axis, numbers in desk.selection.items()}, turn)


def turn_legs(desk: Desk, selection: dict[str, set[int]], turn: Turn | None) -> bool:
    """Say which way round an axis without end goes from these keys."""
    words = translate("acts", "turn: {how}").format(how=turn or translate("acts", "as written"))
    return _some(desk, selection) and do(desk, words, lambda project: edits.turning(project.move, selection, turn))


def set_pin(desk: Desk, pin: bool) -> bool:
    """Pin the chosen keys, or free them."""
    return pin_keys(desk, {axis: set(numbers) for axis, numbers in desk.selection.items()}, pin)


def pin_keys(desk: Desk, selection: dict[str, set[int]], pin: bool) -> bool:
    """Pin these keys, or free them."""
    words = translate("acts", "pin {keys}") if pin else translate("acts", "unpin {keys}")
    done = words.format(keys=many(desk) if desk.selection else translate("acts", "a key"))
    return _some(desk, selection) and do(desk, done, lambda project: edits.pinned(project.move, selection, pin))


def toggle_pin(desk: Desk) -> bool:
    """Free the chosen keys if all of them are pinned, else pin them."""
    return set_pin(desk, not all(key.pin for _, _, key in desk.chosen_keys()))


def _some(desk: Desk, selection: dict[str, set[int]]) -> bool:
    return bool(selection) or some(desk)
