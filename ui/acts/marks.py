"""Markers, cues and passes: added, renamed, moved, deleted. It refuses one name for two cues or two passes.

Triggers that call a cue or a marker follow its new name; what a trigger calls is not deleted.
"""

from collections.abc import Callable, Sequence
from dataclasses import replace
from fractions import Fraction
from typing import TypeVar

from sequencer.project.called import with_called_cue, with_called_marker
from sequencer.project.document import Project
from sequencer.score.move import Cue, Marker, Move, Pass
from ui.acts.carry import BESIDE
from ui.acts.doing import do
from ui.desk import Desk
from ui.language import translate

T = TypeVar("T")

_CUE_S = Fraction(5)  # of a cue that is added without keys chosen


def add_marker(desk: Desk, name: str = "", at: Fraction | None = None) -> bool:
    """Add a marker at frame `at`, else at the playhead; without a name it gets a number."""
    at = desk.playhead if at is None else at
    there = [marker.name for marker in desk.project.move.markers]
    name = name or fresh_name(translate("acts", "marker"), there)

    def edit(project: Project) -> Move:
        markers = sorted((*project.move.markers, Marker(_name(name), at)), key=lambda marker: marker.at)
        return replace(project.move, markers=tuple(markers))

    return do(desk, translate("acts", "add the marker {name}").format(name=name), edit)


def rename_marker(desk: Desk, number: int, name: str) -> bool:
    """Give a marker another name."""

    def edit(project: Project) -> Project:
        before = one_of(project.move.markers, number).name
        renamed = replace(project, move=with_marker(project.move, number, name=_name(name)))
        return with_called_marker(renamed, before, name)

    return do(desk, translate("acts", "rename a marker: {name}").format(name=name), edit)


def move_marker(desk: Desk, number: int, at: Fraction) -> bool:
    """Put a marker at frame `at`."""
    words = translate("acts", "move the marker {name}").format(name=_called(desk.project.move.markers, number))
    return do(desk, words, lambda project: in_time(with_marker(project.move, number, at=at)))


def delete_marker(desk: Desk, number: int) -> bool:
    """Take a marker out."""
    words = translate("acts", "delete the marker {name}").format(name=_called(desk.project.move.markers, number))
    return do(desk, words, lambda project: replace(project.move, markers=without(project.move.markers, number)))


def with_marker(move: Move, number: int, *, name: str | None = None, at: Fraction | None = None) -> Move:
    """Return the move with one marker changed, in its place in the list."""
    marker = one_of(move.markers, number)
    marker = Marker(marker.name if name is None else name, marker.at if at is None else at)
    return replace(move, markers=(*move.markers[:number], marker, *move.markers[number + 1 :]))


def in_time(move: Move) -> Move:
    """Return the move with its markers in order of time."""
    return replace(move, markers=tuple(sorted(move.markers, key=lambda marker: marker.at)))


def add_cue(desk: Desk, name: str = "", start: Fraction | None = None, end: Fraction | None = None) -> bool:
    """Add a cue from `start` to `end`; else over the chosen keys, or for five seconds from the playhead on."""
    at = [key.at for _, _, key in desk.chosen_keys()]
    if start is None:
        start = min(at) if at and min(at) < max(at) else desk.playhead
    if end is None:
        long = at and max(at) > start
        end = max(at) if long else start + desk.project.timebase.rate.frames(_CUE_S)
    name = name or fresh_name(translate("acts", "cue"), [cue.name for cue in desk.project.move.cues])
    cue = Cue(name, start, end)

    def edit(project: Project) -> Move:
        cues = sorted((*project.move.cues, cue), key=lambda cue: cue.start)
        return _cued(replace(project.move, cues=tuple(cues)))

    return do(desk, translate("acts", "add the cue {name}").format(name=name), edit)


def rename_cue(desk: Desk, number: int, name: str) -> bool:
    """Give a cue another name."""

    def edit(project: Project) -> Project:
        before = one_of(project.move.cues, number).name
        renamed = replace(project, move=_cued(with_cue(project.move, number, name=name)))
        return with_called_cue(renamed, before, name)

    return do(desk, translate("acts", "rename a cue: {name}").format(name=name), edit)


def move_cue(desk: Desk, number: int, *, start: Fraction | None = None, end: Fraction | None = None) -> bool:
    """Put the begin or the end of a cue, or both, elsewhere."""
    words = translate("acts", "move the cue {name}").format(name=_called(desk.project.move.cues, number))
    return do(desk, words, lambda project: _cued(with_cue(project.move, number, start=start, end=end)))


def delete_cue(desk: Desk, number: int) -> bool:
    """Take a cue out; its keys stay."""
    words = translate("acts", "delete the cue {name}").format(name=_called(desk.project.move.cues, number))
    return do(desk, words, lambda project: replace(project.move, cues=without(project.move.cues, number)))


def with_cue(
    move: Move, number: int, *, name: str | None = None, start: Fraction | None = None, end: Fraction | None = None
) -> Move:
    """Return the move with one cue changed."""
    cue = one_of(move.cues, number)
    cue = Cue(
        cue.name if name is None else name,
        cue.start if start is None else start,
        cue.end if end is None else end,
    )
    return replace(move, cues=(*move.cues[:number], cue, *move.cues[number + 1 :]))


def _cued(move: Move) -> Move:
    """Return the move. Error: ValueError for a cue that is none."""
    for cue in move.cues:
        if cue.end - cue.start < BESIDE:
            words = translate("acts", "the cue {name} would end before it begins; a cue lasts a frame or more")
            raise ValueError(words.format(name=cue.name))
    _refuse_twice([cue.name for cue in move.cues])
    return move


def add_pass(desk: Desk, name: str = "", speed: Fraction = Fraction(1)) -> bool:
    """Add a pass, after the others."""
    name = name or fresh_name(translate("acts", "pass"), [one.name for one in desk.project.move.passes])
    words = translate("acts", "add the pass {name}").format(name=name)
    return do(desk, words, lambda project: _passed(project.move, (*project.move.passes, Pass(name, speed))))


def change_pass(desk: Desk, number: int, changed: Callable[[Pass], Pass]) -> bool:
    """Have `changed` make another pass of one; the pass that is judged stays so under a new name."""
    before, judged = _called(desk.project.move.passes, number), desk.run_name
    words = translate("acts", "change the pass {name}").format(name=before)

    def edit(project: Project) -> Move:
        there = project.move.passes
        one = changed(one_of(there, number))
        return _passed(project.move, (*there[:number], one, *there[number + 1 :]))

    done = do(desk, words, edit)
    if done and judged == before:
        desk.choose_run(desk.project.move.passes[number].name)
    return done


def delete_pass(desk: Desk, number: int) -> bool:
    """Take a pass out."""
    words = translate("acts", "delete the pass {name}").format(name=_called(desk.project.move.passes, number))
    return do(desk, words, lambda project: _passed(project.move, without(project.move.passes, number)))


def _passed(move: Move, passes: Sequence[Pass]) -> Move:
    for one in passes:
        if one.speed <= 0:
            raise ValueError(translate("acts", "a pass has a speed above zero; write 1 for as it is, 1/2 for half"))
        if not one.note.isprintable():
            raise ValueError(translate("acts", "that is no note; write one line of printable characters"))
    _refuse_twice([one.name for one in passes])
    return replace(move, passes=tuple(passes))


def fresh_name(word: str, there: Sequence[str]) -> str:
    """Return `word` with the first number that none of `there` has."""
    number = 1
    while f"{word} {number}" in there:
        number += 1
    return f"{word} {number}"


def _refuse_twice(names: Sequence[str]) -> None:
    for name in names:
        _name(name)
        if names.count(name) > 1:
            words = translate("acts", "there are two of the name {name}; give one another name")
            raise ValueError(words.format(name=name))


def _name(name: str) -> str:
    if not name.strip() or not name.isprintable():
        raise ValueError(translate("acts", "a name has one or more printable characters; write one"))
    return name


def _called(ones: Sequence[Marker] | Sequence[Cue] | Sequence[Pass], number: int) -> str:
    return ones[number].name if 0 <= number < len(ones) else ""


def one_of(ones: Sequence[T], number: int) -> T:
    """Return the one with this number. Error: ValueError in words where it is gone."""
    if not 0 <= number < len(ones):
        raise ValueError(translate("acts", "that is not there any more; choose another"))
    return ones[number]


def without(ones: tuple[T, ...], number: int) -> tuple[T, ...]:
    """Return all but one. Error: ValueError in words where it is gone."""
    one_of(ones, number)
    return (*ones[:number], *ones[number + 1 :])
