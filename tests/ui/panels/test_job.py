"""Work beside the window: one answer comes, or none after a cancel, and no fault is swallowed."""

import threading

from pytestqt.qtbot import QtBot

from sequencer.errors import TakeError
from ui.panels.job import Job, Tell


def test_the_answer_comes_once_and_says_how_far_it_was(qtbot: QtBot) -> None:
    shares: list[float] = []
    answers: list[object] = []

    def work(tell: Tell) -> str:
        return "done" if all(tell(share) for share in (0.25, 0.5)) else "cancelled"

    job = Job(work)
    job.told.connect(shares.append)
    job.done.connect(answers.append)
    job.start()
    qtbot.waitUntil(lambda: bool(answers))
    assert answers == ["done"]
    assert shares == [0.25, 0.5]
    assert not job.running


def test_a_fault_of_the_world_is_said_in_its_own_words_and_one_of_ours_by_its_name(qtbot: QtBot) -> None:
    said: list[str] = []

    def fails(fault: Exception) -> None:
        def work(_: Tell) -> object:
            raise fault

        job = Job(work)
        job.failed.connect(said.append)
        before = len(said)
        job.start()
        qtbot.waitUntil(lambda: len(said) > before)

    fails(TakeError("take 3 is not whole"))
    fails(KeyError("pan"))
    assert said[0] == "take 3 is not whole"
    assert "KeyError" in said[1]


def test_after_a_cancel_no_answer_comes_and_the_work_is_told(qtbot: QtBot) -> None:
    came: list[object] = []
    heard: list[bool] = []
    go = threading.Event()

    def work(tell: Tell) -> str:
        go.wait(30)
        heard.append(tell(0.5))
        return "late"

    job = Job(work)
    job.done.connect(came.append)
    job.failed.connect(came.append)
    job.told.connect(came.append)
    job.start()
    assert job.running
    job.cancel()
    assert not job.running
    go.set()
    assert job.join(30)
    other: list[object] = []
    after = Job(lambda _: "next")
    after.done.connect(other.append)
    after.start()
    qtbot.waitUntil(lambda: bool(other))
    assert heard == [False]
    assert came == []
