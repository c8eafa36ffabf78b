"""Store marks, rename them, put them in another order, delete them, set how the rig goes to them; step through them.

Every edit gives all marks anew. It refuses one name for two marks, and a mark that is not there: ValueError in words.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace

from sequencer.score.marks import Mark, Marks, Pace


def stored(marks: Marks, mark: Mark, after: str | None = None) -> Marks:
    """Return the marks with a new one behind `after`, or the last. Error: ValueError for a name that is taken."""
    _refuse_taken(marks, mark.name)
    place = len(marks) if after is None else numbered(marks, after) + 1
    return (*marks[:place], mark, *marks[place:])


def overwritten(marks: Marks, name: str, position: Sequence[tuple[str, float]]) -> Marks:
    """Return the marks, one of which stands elsewhere now; its leg and its place stay. Error: ValueError."""
    return _with(marks, numbered(marks, name), lambda mark: replace(mark, position=tuple(position)))


def renamed(marks: Marks, name: str, to: str) -> Marks:
    """Return the marks, one of which has another name. Error: ValueError for one that is taken, or none."""
    place = numbered(marks, name)
    if to != name:
        _refuse_taken(marks, to)
    return _with(marks, place, lambda mark: replace(mark, name=to))


def paced(marks: Marks, names: Collection[str], leg: Pace) -> Marks:
    """Return the marks, to some of which the rig goes at another pace. Error: ValueError."""
    places = {numbered(marks, name) for name in names}
    return tuple(replace(mark, leg=leg) if place in places else mark for place, mark in enumerate(marks))


def deleted(marks: Marks, names: Collection[str]) -> Marks:
    """Return the marks without some. Error: ValueError."""
    places = {numbered(marks, name) for name in names}
    return tuple(mark for place, mark in enumerate(marks) if place not in places)


def cleared(marks: Marks) -> Marks:
    """Return no marks at all; whoever asks for it asks the operator twice. Error: ValueError where there are none."""
    if not marks:
        raise ValueError("there are no marks to clear; store one first")
    return ()


def before(marks: Marks, name: str, other: str | None) -> Marks:
    """Return the marks with one of them just before another, or behind all others. Error: ValueError."""
    place = numbered(marks, name)
    there = len(marks) if other is None else numbered(marks, other)
    return moved(marks, name, there - place - (there > place))


def moved(marks: Marks, name: str, by: int) -> Marks:
    """Return the marks with one of them later in their order by so many places, or earlier; ends stop it.

    Error: ValueError for a mark that is not there.
    """
    place = numbered(marks, name)
    rest = [*marks[:place], *marks[place + 1 :]]
    rest.insert(min(max(place + by, 0), len(rest)), marks[place])
    return tuple(rest)


def step_to(marks: Marks, name: str | None, by: int) -> Mark:
    """Return the next mark (`by` 1), or the one before (-1), seen from the mark `name`; the order has two ends.

    Where the rig is at no mark (None), the next one is the first, and the one before is the last.
    Error: ValueError at an end, where there are no marks, or for a mark that is not there.
    """
    if by not in (1, -1):
        raise ValueError(f"no step goes by {by} marks; step to the next one, or to the one before")
    if not marks:
        raise ValueError("there are no marks; store one first")
    if name is None:
        return marks[0 if by > 0 else -1]
    place = numbered(marks, name) + by
    if place < 0:
        raise ValueError(f"{name} is the first mark; there is none before it")
    if place == len(marks):
        raise ValueError(f"{name} is the last mark; there is none after it")
    return marks[place]


def numbered(marks: Marks, name: str) -> int:
    """Return the place of a mark, counted from 0. Error: ValueError that lists the marks there are."""
    for place, mark in enumerate(marks):
        if mark.name == name:
            return place
    raise ValueError(f"there is no mark {name!r}; there are {', '.join(mark.name for mark in marks) or 'none'}")


def _refuse_taken(marks: Marks, name: str) -> None:
    if any(mark.name == name for mark in marks):
        raise ValueError(f"there is a mark {name!r} already; overwrite that one, or choose another name")


def _with(marks: Marks, place: int, change: Callable[[Mark], Mark]) -> Marks:
    return (*marks[:place], change(marks[place]), *marks[place + 1 :])
