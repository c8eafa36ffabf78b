"""The playhead, step by step: frames, beats, keys, markers, the ends of the move. It starts nothing."""

from bisect import bisect_left, bisect_right
from collections.abc import Iterable
from fractions import Fraction
from math import ceil, floor

from sequencer.project.extent import extent
from ui.acts.view import reveal
from ui.desk import Desk
from ui.language import translate

_PAGE = Fraction(1, 4)  # of what is in sight


def put_playhead(desk: Desk, at: Fraction) -> None:
    """Put the playhead at frame `at`, and bring it in sight."""
    desk.place(at)
    reveal(desk, at)


def step_frames(desk: Desk, count: int) -> None:
    """Go `count` whole frames on, or back."""
    at = desk.playhead
    put_playhead(desk, Fraction((floor(at) if count > 0 else ceil(at)) + count))


def step_beats(desk: Desk, count: int) -> None:
    """Go `count` beats on, or back."""
    tempo, rate = desk.project.tempo, desk.project.timebase.rate
    if tempo is None:
        desk.note(translate("acts", "there are no beats; give the project a tempo first"), "refused")
        return
    beat = tempo.beat(rate.seconds(desk.playhead))
    put_playhead(desk, rate.frames(tempo.seconds((floor(beat) if count > 0 else ceil(beat)) + count)))


def step_key(desk: Desk, step: int, axis: str | None = None) -> None:
    """Go to the next key, or the one before: of `axis`, or of any."""
    found = []
    for track in desk.project.move.tracks:
        if axis is None or track.axis == axis:
            near = (bisect_right if step > 0 else bisect_left)(track.keys, desk.playhead, key=lambda key: key.at)
            number = near if step > 0 else near - 1
            found += [track.keys[number].at] if 0 <= number < len(track.keys) else []
    _go(desk, found, step, translate("acts", "there is no key further on that way"))


def step_marker(desk: Desk, step: int) -> None:
    """Go to the next marker or end of a cue, or the one before."""
    move = desk.project.move
    there = [marker.at for marker in move.markers] + [at for cue in move.cues for at in (cue.start, cue.end)]
    _go(desk, _beside(there, desk.playhead, step), step, translate("acts", "there is no marker further on that way"))


def go_begin(desk: Desk) -> None:
    """Go to the first key, cue or marker."""
    put_playhead(desk, extent(desk.project)[0])


def go_end(desk: Desk) -> None:
    """Go to the last key, cue or marker."""
    put_playhead(desk, extent(desk.project)[1])


def page(desk: Desk, step: int) -> None:
    """Go a quarter of what is in sight on, or back, to a whole frame."""
    begin_s, end_s = desk.span_s
    frames = desk.project.timebase.rate.frames(Fraction(end_s - begin_s)) * _PAGE
    put_playhead(desk, Fraction(round(desk.playhead + step * max(Fraction(1), frames))))


def _beside(instants: Iterable[Fraction], at: Fraction, step: int) -> list[Fraction]:
    there = sorted(instants)
    if step > 0:
        after = bisect_right(there, at)
        return there[after : after + 1]
    before = bisect_left(there, at)
    return there[max(0, before - 1) : before]


def _go(desk: Desk, found: list[Fraction], step: int, none: str) -> None:
    if not found:
        desk.note(none)
        return
    put_playhead(desk, min(found) if step > 0 else max(found))
