"""The project's marks in the operator's hands: stored, named, put in order, gone to; and where the rig is among them.

A mark may be stored and changed while the rig is armed or moves, since nothing that plays knows of it. Whether the rig
may be sent to one, `link.hands` and the engine decide.
"""

from collections.abc import Callable, Collection, Sequence
from dataclasses import replace
from typing import Literal

from PyQt6.QtCore import QObject, pyqtSignal

from sequencer.live.handling import Deed
from sequencer.motion.standing import standing_at
from sequencer.motion.to_mark import Takes, takes
from sequencer.rig.axis import Rig
from sequencer.score.edits import marks as edits
from sequencer.score.marks import Mark, Marks, Pace, fault
from sequencer.shell.messages import Pressed, Said, Status
from sequencer.shell.tour import ORIGIN
from ui.acts.asking import Ask, Choice
from ui.acts.marks import fresh_name
from ui.desk import Desk
from ui.language import translate
from ui.link.link import Link

Position = tuple[tuple[str, float], ...]
# how the rig stands to a mark: it cannot go there, is there, goes there, was sent there and did not come, came from it
Stand = Literal["cannot", "here", "on the way", "interrupted", "last", ""]
_DECIMALS = 4  # of what is stored, as from a pad
_NEAR = 1e-3  # in an axis's own unit: what was stored is rounded
_STOPS = ("stopping", "stopped")


class Poses(QObject):
    """One for a desk and its link, whatever shows it.

    `moved`: the rig stands otherwise among the marks. `chose`: other marks are chosen. `asked`: an Ask. `current` is
    the chosen mark that the rig can be sent to, empty for none.
    """

    moved = pyqtSignal()
    chose = pyqtSignal()
    asked = pyqtSignal(object)

    def __init__(self, desk: Desk, link: Link) -> None:
        super().__init__()
        self.desk, self.link = desk, link
        self.chosen: tuple[str, ...] = ()
        self.current = ""
        self.bound = ""  # where the rig was sent, until it is there
        self.interrupted = False  # on the way there
        self.on_way = False  # the engine says so
        self._asks, self._waits = False, False  # an order is just being given; the engine has not answered to it yet
        self._engine_rig: Rig | None = None
        self._judged: tuple[Marks, Rig] | None = None
        self._takes: tuple[Takes, ...] = ()
        self._told: tuple[object, ...] = ()
        self._known: Marks = ()  # what they were before the document changed
        link.hands.pressed.connect(self._press)
        link.hands.toured.connect(self._arrive)
        link.said.connect(self._hear)
        link.status.connect(self._look)
        link.standing.connect(self._stand)
        desk.changed.connect(self._follow)
        desk.opened.connect(self._another)
        self._follow()

    @property
    def marks(self) -> Marks:
        return self.desk.project.marks

    # what is known of them

    def takes(self) -> tuple[Takes, ...]:
        """Return how long the leg to each mark takes, or why there is none."""
        asked = (self.marks, self.desk.project.rig)
        if self._judged is None or self._judged[0] is not asked[0] or self._judged[1] is not asked[1]:
            self._judged, self._takes = asked, takes(asked[1], asked[0])
        return self._takes

    def why_not(self, name: str) -> str:
        """Return why the rig cannot go to a mark, from wherever it is: in words with the mend, or nothing."""
        mark = self._named(name)
        return "" if mark is None else fault(dict(mark.position), self.desk.project.rig)

    def trouble(self, name: str) -> str:
        """Return why the rig cannot go to a mark, or not from the one before it: in words, or nothing."""
        place = next((place for place, mark in enumerate(self.marks) if mark.name == name), None)
        return "" if place is None else self.why_not(name) or self.takes()[place].why

    def stands(self) -> tuple[Stand, ...]:
        """Return how the rig stands to each mark."""
        return tuple(self._stand_to(mark) for mark in self.marks)

    def neighbour(self, by: int) -> str:
        """Return the name of the mark to which the next step leads (1), or the step back (-1); empty at an end."""
        at = self.link.hands.at
        known = at if any(mark.name == at for mark in self.marks) else None
        try:
            return edits.step_to(self.marks, known, by).name
        except ValueError:
            return ""

    def from_rig(self) -> bool:
        """Whether a mark that is stored now is where the rig is; else it is where the move is at the playhead."""
        return self.link.connected

    def _stand_to(self, mark: Mark) -> Stand:
        if fault(dict(mark.position), self.desk.project.rig):
            return "cannot"
        if mark.name == self.bound and self.on_way:
            return "on the way"
        if self._is_at(mark):
            return "here"
        if mark.name == self.bound and self.interrupted:
            return "interrupted"
        return "last" if mark.name == self.link.hands.at else ""

    def _is_at(self, mark: Mark) -> bool:
        status, rig = self.link.newest, self.desk.project.rig
        if status is None or not self.link.connected or len(status.asked) != len(rig.axes):
            return False
        return all(abs(status.asked[rig.index(axis)] - value) <= _NEAR for axis, value in mark.position)

    # edits

    def choose(self, chosen: Collection[str], current: str) -> None:
        """Choose marks, one of which is the one that the rig can be sent to."""
        there = tuple(mark.name for mark in self.marks if mark.name in chosen)
        current = current if current in there else next(iter(there), "")
        if (there, current) != (self.chosen, self.current):
            self.chosen, self.current = there, current
            self.chose.emit()

    def store(self) -> bool:
        """Store where the rig is, or without one where the move is at the playhead; behind all others."""
        name = fresh_name(translate("acts", "mark"), [mark.name for mark in self.marks])
        words = translate("acts", "store {name}").format(name=name)
        if not self._edit(words, lambda marks: edits.stored(marks, Mark(name, self._position()))):
            return False
        self.choose((name,), name)
        self._note_stored(name, translate("acts", "stored {name}: {place}"))
        return True

    def overwrite(self, name: str) -> bool:
        """Have a mark stand where the rig is now, or the move at the playhead; its leg and its place stay.

        An axis that it left alone it still leaves alone, unless the rig has none of its axes any more.
        """
        words = translate("acts", "overwrite {name}").format(name=name)

        def edit(marks: Marks) -> Marks:
            had = marks[edits.numbered(marks, name)].axes
            there = self._position()
            return edits.overwritten(marks, name, [one for one in there if one[0] in had] or there)

        if not self._edit(words, edit):
            return False
        self._note_stored(name, translate("acts", "overwrote {name}: {place}"))
        return True

    def rename(self, name: str, to: str) -> bool:
        """Give a mark another name."""
        words = translate("acts", "rename a mark: {name}").format(name=to)
        return self._edit(words, lambda marks: edits.renamed(marks, name, to))

    def put(self, name: str, axis: str, value: float | None) -> bool:
        """Have an axis of a mark stand at a value; None leaves it out, so that the axis stays where it is."""
        words = translate("acts", "{axis} of the mark {name}").format(axis=axis, name=name)

        def edit(marks: Marks) -> Marks:
            there = dict(marks[edits.numbered(marks, name)].position)
            there.pop(axis, None)
            if value is not None:
                there[axis] = value
            ranked = {each: place for place, each in enumerate(self.desk.project.rig.names)}
            position = sorted(there.items(), key=lambda one: ranked.get(one[0], len(ranked)))
            return edits.overwritten(marks, name, position)

        return self._edit(words, edit)

    def pace(self, names: Collection[str], leg: Pace) -> bool:
        """Say how the rig goes to marks."""
        return self._edit(translate("acts", "the leg to a mark"), lambda marks: edits.paced(marks, names, leg))

    def move(self, name: str, by: int) -> bool:
        """Put a mark so many places later in the order, or earlier."""
        words = translate("acts", "put {name} elsewhere").format(name=name)
        return self._edit(words, lambda marks: edits.moved(marks, name, by))

    def put_before(self, names: Sequence[str], other: str | None) -> bool:
        """Put marks, in their order, just before another, or behind all."""
        words = translate("acts", "put {name} elsewhere").format(name=", ".join(names))

        def edit(marks: Marks) -> Marks:
            after = marks[len(marks) if other is None else edits.numbered(marks, other) :]
            there = next((mark.name for mark in after if mark.name not in names), None)
            for name in names:
                marks = edits.before(marks, name, there)
            return marks

        return self._edit(words, edit)

    def delete(self, names: Collection[str]) -> bool:
        """Delete marks; the one that then has the place of the first of them is chosen."""
        words = translate("acts", "delete {names}").format(names=", ".join(names))
        place = next((place for place, mark in enumerate(self.marks) if mark.name in names), 0)
        if not self._edit(words, lambda marks: edits.deleted(marks, names)):
            return False
        left = [mark.name for mark in self.marks][: place + 1]
        self.choose(left[-1:], left[-1] if left else "")
        return True

    def clear(self) -> None:
        """Delete all marks, when the operator has said so twice."""
        marks = self.marks
        if not marks:
            self._edit("", edits.cleared)
            return
        first = translate("acts", "Delete all {count} marks of {project}?")
        self._ask(first, translate("acts", "Delete all"), lambda: self._clear_really(marks))

    def _clear_really(self, marks: Marks) -> None:
        second = translate("acts", "How the rig goes to each is gone with them. Really delete all {count} marks?")
        self._ask(second, translate("acts", "Really delete all"), lambda: self._clear(marks))

    def _ask(self, words: str, label: str, do: Callable[[], None]) -> None:
        asked = words.format(count=len(self.marks), project=self.desk.project.name)
        keep = Choice(translate("acts", "Keep them"))
        self.asked.emit(Ask(asked, (Choice(label, do), keep), about="clear marks"))

    def _clear(self, marks: Marks) -> None:
        if self.marks != marks:
            self.desk.note(translate("acts", "all marks are kept: they were changed meanwhile"), "refused")
        elif self._edit(translate("acts", "delete all marks"), edits.cleared):
            self.desk.note(translate("acts", "all marks are deleted; undo brings them back"), "done")

    def _edit(self, words: str, edit: Callable[[Marks], Marks]) -> bool:
        """Edit the marks as one step, or note why it is refused; return whether it was done."""
        if self.link.now.how == "about to move to the start":  # what is being loaded is what was on the desk then
            self.desk.note(translate("acts", "wait until the rig has begun to move, or stop it"), "refused")
            return False
        try:
            marks = edit(self.desk.history.now.marks)
        except ValueError as refused:
            self.desk.note(str(refused), "refused")
            return False
        self.desk.edit_marks(words, marks)
        return True

    def _position(self) -> Position:
        """Return where all axes are to stand in a mark that is stored now. Error: ValueError in words."""
        rig = self.desk.project.rig
        if not self.from_rig():
            there = standing_at(rig, self.desk.shapes, self.desk.playhead_s).tolist()
            position = tuple((axis, round(value, _DECIMALS)) for axis, value in zip(rig.names, there, strict=True))
            if words := fault(dict(position), rig):
                raise ValueError(translate("acts", "no mark is stored from the playhead: {why}").format(why=words))
            return position
        status = self.link.newest
        if self.link.errand:
            raise ValueError(translate("acts", "an axis is being homed; wait until it counts"))
        if status is None or self.link.now.stale:
            raise ValueError(translate("acts", "where the rig is, is not known now; wait until it reports"))
        if rig != self._engine_rig or len(status.asked) != len(rig.axes):
            raise ValueError(translate("acts", "the rig was changed in the setup; disconnect, and connect again"))
        return tuple((axis, round(value, _DECIMALS)) for axis, value in zip(rig.names, status.asked, strict=True))

    def _note_stored(self, name: str, words: str) -> None:
        # on the way the rig stands nowhere, and comes to another mark than this one
        if self.from_rig() and not (self.on_way or self._waits):
            self.link.hands.stored(name)
        self.desk.note(words.format(name=name, place=source(self)), "done")
        self._tell()

    # going

    def go(self, name: str) -> bool:
        """Send the rig to a mark; return whether that was passed on."""
        mark = self._named(name)
        if mark is None:
            self.desk.note(translate("acts", "no mark is chosen; choose one first"), "refused")
            return False
        return self._send(name, lambda: self.link.hands.go(mark))

    def step(self, by: int) -> bool:
        """Send the rig to the next mark (1), or to the one before (-1); return whether that was passed on."""
        return self._send(self.neighbour(by), lambda: self.link.hands.step(self.marks, by))

    def home(self) -> bool:
        """Send every axis back to its origin; return whether that was passed on."""
        return self._send(ORIGIN, lambda: self.link.hands.home(self.desk.project.rig))

    def _send(self, name: str, order: Callable[[], bool]) -> bool:
        self._asks = True
        done = order()
        self._asks = False
        if done:
            self.bound, self.interrupted, self.on_way, self._waits = name, False, False, True
            self._tell()
        return done

    def _press(self, pressed: Pressed) -> None:
        """Do what a button of a game controller asks for, as the buttons on the screen would."""
        match pressed.deed:
            case Deed.STORE:
                self.store()
            case Deed.NEXT | Deed.PREVIOUS:
                self.step(1 if pressed.deed == Deed.NEXT else -1)
            case Deed.ORIGIN:
                self.home()

    # how the rig goes on

    def _hear(self, said: Said) -> None:
        match said.code:
            case "refused" if self._asks or self._waits:
                self.bound, self._waits = ("" if self._waits else self.bound), False
                self.desk.note(said.text, "refused")
            case "going":
                # a trigger may send it as well: where to, the next status tells
                self.on_way, self.bound = self._waits, self.bound if self._waits else ""
                self.interrupted = self._waits = False
            case "driving" if self.on_way:
                self._interrupt()
            case _:
                return
        self._tell()

    def _look(self, status: Status) -> None:
        if self._engine_rig is None:
            self._engine_rig = self.desk.project.rig
        if self.link.hands.under_way and not self._waits:
            self.on_way, self.bound, self.interrupted = True, self.link.hands.bound_for or "", False
        elif self.on_way and status.phase in _STOPS:
            self._interrupt()
        self._tell()

    def _interrupt(self) -> None:
        self.on_way, self.interrupted = False, True

    def _arrive(self) -> None:
        """Take in that the rig is at a mark, or at none any more."""
        self.bound, self.interrupted, self.on_way, self._waits = "", False, False, False
        self._tell()

    def _stand(self) -> None:
        if self.link.newest is None:
            self._engine_rig = None
        if not self.link.connected and self.bound:
            self._arrive()
        self._tell()

    def _tell(self) -> None:
        """Tell where that is news."""
        told = (self.stands(), self.bound, self.on_way, self.interrupted, self.link.hands.at, self.from_rig())
        if told != self._told:
            self._told = told
            self.moved.emit()

    def _named(self, name: str) -> Mark | None:
        return next((mark for mark in self.marks if mark.name == name), None)

    def _another(self) -> None:
        self._engine_rig, self._known = None, self.marks
        self.choose((), "")

    def _follow(self) -> None:
        before, self._known = self._known, self.marks
        chosen, current = self.chosen, self.current
        if (pair := _renamed(before, self.marks)) is not None:
            name, to = pair
            self.link.hands.renamed(name, to)
            self.bound = to if self.bound == name else self.bound
            chosen = tuple(to if one == name else one for one in chosen)
            current = to if current == name else current
        self.choose(chosen, current)
        self._tell()


def _renamed(before: Marks, after: Marks) -> tuple[str, str] | None:
    """Return the old and the new name where only the name of one mark is another: also where an undo brought it."""
    others = [(was, now) for was, now in zip(before, after, strict=False) if was != now]
    if len(before) != len(after) or len(others) != 1:
        return None
    was, now = others[0]
    return (was.name, now.name) if replace(was, name=now.name) == now else None


def source(poses: Poses) -> str:
    """Return in words from where a mark is stored now."""
    if poses.from_rig():
        return translate("acts", "where the rig is now")
    return translate("acts", "where the move is at the playhead, since no rig is connected")
