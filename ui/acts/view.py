"""Which stretch of time is in sight. It refuses to lose the move: nobody zooms out to where nothing can be seen."""

from fractions import Fraction

from sequencer.project.extent import extent
from ui.desk import Desk
from ui.language import translate

STEP = 1.25  # of one zoom by key or wheel notch
_FURTHEST = 20.0  # times the whole move
_LEAST_FURTHEST_S = 120.0
_ROOM = 0.05  # on each side, of what is shown
_INSIDE = 0.1  # how far from the edge what is brought in sight stands


def zoom(desk: Desk, factor: float, about_s: float | None = None) -> None:
    """Show a stretch that is `factor` times shorter about an instant: else the playhead, or the middle without it."""
    begin_s, end_s = desk.span_s
    if about_s is None:
        inside = begin_s <= desk.playhead_s <= end_s
        about_s = desk.playhead_s if inside else (begin_s + end_s) / 2
    first_s, last_s = _whole_s(desk)
    longest_s = max(_FURTHEST * (last_s - first_s), _LEAST_FURTHEST_S)
    factor = max(factor, (end_s - begin_s) / longest_s) if factor < 1 else factor
    desk.look(about_s - (about_s - begin_s) / factor, about_s + (end_s - about_s) / factor)


def zoom_in(desk: Desk) -> None:
    """Show less time, larger."""
    zoom(desk, STEP)


def zoom_out(desk: Desk) -> None:
    """Show more time, smaller."""
    zoom(desk, 1 / STEP)


def zoom_all(desk: Desk) -> None:
    """Show the whole move."""
    _show(desk, *_whole_s(desk))


def zoom_chosen(desk: Desk) -> None:
    """Show the stretch of the chosen keys."""
    at = [key.at for _, _, key in desk.chosen_keys()]
    if not at:
        desk.note(translate("acts", "no key is chosen; choose one first"), "refused")
        return
    rate = desk.project.timebase.rate
    first_s, last_s = float(rate.seconds(min(at))), float(rate.seconds(max(at)))
    if first_s == last_s:
        first_s, last_s = first_s - 1.0, last_s + 1.0
    _show(desk, first_s, last_s)


def pan(desk: Desk, part: float) -> None:
    """Show what is later by a `part` of the stretch in sight, or earlier."""
    begin_s, end_s = desk.span_s
    shift_s = part * (end_s - begin_s)
    desk.look(begin_s + shift_s, end_s + shift_s)


def reveal(desk: Desk, at: Fraction) -> None:
    """Bring frame `at` in sight, if it is not."""
    at_s = float(desk.project.timebase.rate.seconds(at))
    begin_s, end_s = desk.span_s
    long_s = end_s - begin_s
    if at_s < begin_s:
        desk.look(at_s - _INSIDE * long_s, at_s + (1 - _INSIDE) * long_s)
    elif at_s > end_s:
        desk.look(at_s - (1 - _INSIDE) * long_s, at_s + _INSIDE * long_s)


def _whole_s(desk: Desk) -> tuple[float, float]:
    rate = desk.project.timebase.rate
    first, last = extent(desk.project)
    return float(rate.seconds(first)), float(rate.seconds(last))


def _show(desk: Desk, first_s: float, last_s: float) -> None:
    room_s = _ROOM * (last_s - first_s)
    desk.look(first_s - room_s, last_s + room_s)
