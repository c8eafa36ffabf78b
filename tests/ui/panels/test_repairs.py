"""Repairs: tried beside the window, shown, taken as one step or left; cancelled or overtaken answers change nothing."""

import threading
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import pytest
from PyQt6.QtCore import Qt
from pytestqt.qtbot import QtBot

from sequencer.motion.check import check
from sequencer.motion.repair import choices
from sequencer.motion.repair.choices import CHOICES, Choice, Task
from sequencer.motion.repair.outcome import Cancelled, Impossible, Repaired
from sequencer.project.store import load
from sequencer.score.edits.offset import offset
from sequencer.score.move import Move
from sequencer.shell.kinds import laws
from tests.ui.conftest import LANTERNS
from ui.desk import Desk
from ui.panels.mending import Asking, mend
from ui.panels.repairs import RepairsPanel


@pytest.fixture
def fast(desk: Desk) -> Desk:
    """The harbour move at twice its speed, which its rig cannot do."""
    move = desk.project.move
    desk.edit("faster", replace(move, passes=tuple(replace(one, speed=Fraction(2)) for one in move.passes)))
    return desk


@pytest.fixture
def panel(fast: Desk, qtbot: QtBot) -> Iterator[RepairsPanel]:
    panel = RepairsPanel(fast)
    qtbot.addWidget(panel)
    panel.resize(900, 420)
    panel.show()
    yield panel
    panel.cancel_try()


def ok(desk: Desk, move: Move) -> bool:
    return check(desk.project.rig, move, desk.project.timebase.rate, desk.laws, Fraction(2)).ok


def run(panel: RepairsPanel, how: str, qtbot: QtBot) -> None:
    panel.how.setCurrentIndex(list(CHOICES).index(how))
    qtbot.mouseClick(panel.one, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: not panel.running, timeout=60_000)


def test_a_repair_is_shown_taken_as_one_step_and_undone(panel: RepairsPanel, fast: Desk, qtbot: QtBot) -> None:
    first, steps = fast.project, len(fast.history.past)
    assert not ok(fast, first.move)
    run(panel, "spread", qtbot)
    assert fast.project is first
    assert fast.proposal is not None
    assert ok(fast, fast.proposal.move)
    assert fast.proposal.lines
    assert "@" not in "".join(fast.proposal.lines)
    qtbot.mouseClick(panel.take, Qt.MouseButton.LeftButton)
    assert len(fast.history.past) == steps + 1
    assert fast.history.past[-1].words == "repair by spread"
    assert ok(fast, fast.project.move)
    assert panel.said.text().startswith("Taken")
    assert not panel.rows
    fast.undo()
    assert fast.project == first


def test_before_and_after_are_those_of_the_check(panel: RepairsPanel, fast: Desk, qtbot: QtBot) -> None:
    before = check(fast.project.rig, fast.project.move, fast.project.timebase.rate, fast.laws, Fraction(2)).axes()
    run(panel, "stretch", qtbot)
    pan = before[0].speed.value / fast.project.rig.axes[0].speed
    cell = panel.peaks.item(0, 1)
    assert cell is not None
    was, _, will = cell.text().partition(" → ")
    assert float(was) == pytest.approx(100 * pan, abs=0.06)
    assert float(will.removesuffix(" %")) <= 100.0
    # every key but the first moves, each with a line of its own
    assert "pan, key 2: from " in panel.changes.toPlainText()


def test_it_is_left_by_keyboard_and_the_document_stays(panel: RepairsPanel, fast: Desk, qtbot: QtBot) -> None:
    first = fast.project
    run(panel, "spread", qtbot)
    panel.leave.setFocus()
    qtbot.keyClick(panel.leave, Qt.Key.Key_Space)
    assert fast.proposal is None
    assert fast.project is first
    assert not panel.take.isEnabled()
    # the answer is still there: choosing it shows it again
    panel.answers.setCurrentCell(-1, -1)
    panel.answers.setCurrentCell(0, 0)
    assert fast.proposal is not None


def test_what_is_not_possible_says_why_and_offers(panel: RepairsPanel, fast: Desk, qtbot: QtBot) -> None:
    run(panel, "soften", qtbot)
    tried, mended = panel.rows[0]
    assert mended is None
    assert "soften is not possible" in panel.said.text()
    assert tried.reasons
    assert "@" not in panel.changes.toPlainText()
    assert fast.proposal is None
    qtbot.keyClick(panel.answers, Qt.Key.Key_Down)
    assert fast.proposal is not None
    offer = panel.rows[1][1]
    assert offer is not None
    assert fast.proposal.move is offer.move
    cell = panel.answers.item(1, 2)
    assert cell is not None
    # whatever a repair says of itself, what is shown is what the check says
    assert cell.text().startswith("fits") == ok(fast, offer.move)
    qtbot.mouseClick(panel.take, Qt.MouseButton.LeftButton)
    assert fast.project.move is offer.move


def test_all_repairs_are_tried_and_none_is_chosen_for_the_operator(
    panel: RepairsPanel, fast: Desk, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    quick = {name: CHOICES[name] for name in ("spread", "stretch", "soften")}
    monkeypatch.setattr("ui.panels.repairs.CHOICES", quick)
    qtbot.mouseClick(panel.all, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: not panel.running, timeout=60_000)
    assert [tried.how for tried, _ in panel.rows][:3] == ["spread", "stretch", "soften"]
    assert fast.proposal is None
    qtbot.mouseClick(
        panel.answers.viewport(),
        Qt.MouseButton.LeftButton,
        pos=panel.answers.visualRect(panel.answers.model().index(0, 0)).center(),  # type: ignore[union-attr]  # there is one
    )
    assert fast.proposal is not None
    assert fast.proposal.words == "repair by spread"


class Slow:
    """A repair that goes on until it is told to end."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.ended = False
        self._never = threading.Event()
        slow = Choice("spread", "never ends", self._run)
        monkeypatch.setitem(choices.CHOICES, "spread", slow)

    def _run(self, task: Task) -> Repaired | Impossible:
        assert task.tell is not None
        for _ in range(6000):  # half a minute at most, so that a cancel that is lost ends too
            if not task.tell(0.5):
                self.ended = True
                break
            self._never.wait(0.005)
        raise Cancelled


def begin(panel: RepairsPanel, qtbot: QtBot) -> None:
    panel.how.setCurrentIndex(list(CHOICES).index("spread"))
    qtbot.mouseClick(panel.one, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: panel.progress.value() == 50)


def test_a_cancelled_repair_ends_and_changes_nothing(
    panel: RepairsPanel, fast: Desk, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    slow, first = Slow(monkeypatch), fast.project
    begin(panel, qtbot)
    job = panel._job
    assert job is not None
    qtbot.mouseClick(panel.cancel, Qt.MouseButton.LeftButton)
    assert not panel.running
    assert job.join(30)
    assert slow.ended
    assert fast.project is first
    assert fast.proposal is None
    assert panel.said.text().startswith("Cancelled")
    assert panel.one.isEnabled()


def test_an_edit_meanwhile_drops_the_answer_and_says_so(
    panel: RepairsPanel, fast: Desk, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    slow = Slow(monkeypatch)
    begin(panel, qtbot)
    job = panel._job
    assert job is not None
    fast.edit("nudge", offset(fast.project.move, {"tilt": {1}}, value=0.5))
    assert job.join(30)
    assert slow.ended
    assert not panel.running
    assert "changed meanwhile" in panel.said.text()
    assert fast.proposal is None


def test_answers_for_another_pass_or_another_move_are_gone(panel: RepairsPanel, fast: Desk, qtbot: QtBot) -> None:
    move = fast.project.move
    slower = replace(move.passes[1], speed=Fraction(1))
    fast.edit("a slower pass", replace(move, passes=(move.passes[0], slower)))
    run(panel, "spread", qtbot)
    assert panel.rows
    fast.choose_run(slower.name)
    assert not panel.rows
    assert fast.proposal is None
    # at the speed of this pass nothing is too much
    run(panel, "spread", qtbot)
    assert fast.proposal is not None
    assert fast.proposal.move == fast.project.move


def test_a_fault_of_the_arithmetic_is_said(
    panel: RepairsPanel, fast: Desk, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    def wrong(task: Task) -> Repaired | Impossible:
        raise ZeroDivisionError("by nothing")

    monkeypatch.setitem(choices.CHOICES, "spread", Choice("spread", "fails", wrong))
    run(panel, "spread", qtbot)
    assert "by nothing" in panel.said.text()
    assert panel.one.isEnabled()


def test_it_fits_beside_the_check_in_a_small_window(panel: RepairsPanel) -> None:
    assert panel.minimumSizeHint().width() <= 320


def test_an_offer_for_a_faster_pass_fits_at_that_speed() -> None:
    """Its laws take their shape from the limits, which are others at that speed."""
    asking = Asking(project=load(LANTERNS, laws()), laws=laws(), speed=Fraction(2))
    tried = mend(asking, "soften", lambda part: True)
    assert not tried.before.ok
    assert tried.moves
    assert all(one.after.ok for one in tried.moves)
    assert any("s-curve gets the shape" in " ".join(one.words) for one in tried.moves)
