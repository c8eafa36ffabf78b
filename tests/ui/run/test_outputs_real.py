"""Real processes: a run by the outputs of rig.json, of which one is lost while the other goes on."""

import socket
from collections.abc import Iterator
from contextlib import suppress
from dataclasses import replace
from pathlib import Path
from threading import Thread

import pytest
from PyQt6.QtCore import Qt
from PyQt6.QtWidgets import QVBoxLayout, QWidget
from pytestqt.qtbot import QtBot

from sequencer.project.amend_outlets import with_outlet
from sequencer.project.store import load, save
from sequencer.rig.outlet import Outlet
from sequencer.shell.kinds import laws
from sequencer.shell.shoot import simulated_rig
from tests.shell.small import small_project
from ui.desk import Desk
from ui.link.link import Link
from ui.run.panel import RunPanel
from ui.run.strip import Strip

pytestmark = pytest.mark.real_time
AWAIT_MS = 40_000


class Peer:
    """A rig that takes one TCP connection after another, reads what comes and says nothing."""

    def __init__(self) -> None:
        self._server = socket.create_server(("127.0.0.1", 0))
        self.address = f"osc+tcp://127.0.0.1:{self._server.getsockname()[1]}"
        self._ends: list[socket.socket] = []
        self._thread = Thread(target=self._serve, name="peer")
        self._thread.start()

    def _serve(self) -> None:
        while True:
            try:
                end, _ = self._server.accept()
            except OSError:
                return
            self._ends.append(end)
            with suppress(OSError):
                while end.recv(1 << 16):
                    pass

    def leave(self) -> None:
        """Be gone, as with a cable that is pulled."""
        for one in (self._server, *self._ends):
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()
        self._thread.join()


@pytest.fixture
def peer() -> Iterator[Peer]:
    one = Peer()
    yield one
    one.leave()


class Run:
    """Strip and panel on the small project, whose pan has a simulated rig and whose tilt has the peer."""

    def __init__(self, folder: Path, address: str, peer: Peer, qtbot: QtBot) -> None:
        project = load(folder, laws())
        for outlet in (
            Outlet(address=address, axes=("pan",), at_end="decelerate"),
            Outlet(address=peer.address, axes=("tilt",), on_loss="go on", at_end="drop power"),
        ):
            project = with_outlet(project, None, outlet)
        save(folder, project, laws())
        self.desk = Desk(project, laws(), folder)
        self.link = Link(self.desk, lambda then, otherwise: then())
        self.link.choose(replace(self.link.choice, rig="", answers_needed=False, preroll_s=0.0))
        self.window = QWidget()
        self.strip, self.panel = Strip(self.desk, self.link), RunPanel(self.desk, self.link)
        whole = QVBoxLayout(self.window)
        whole.addWidget(self.strip)
        whole.addWidget(self.panel, 1)
        qtbot.addWidget(self.window)
        self.window.resize(1600, 900)
        self.window.show()

    @property
    def running(self) -> bool:
        return self.link.newest is not None and self.link.newest.phase == "running"


@pytest.fixture
def run(tmp_path: Path, peer: Peer, qtbot: QtBot) -> Iterator[Run]:
    folder = small_project(tmp_path / "small", legs=12)
    with simulated_rig(folder / "rig.json", 1) as (_, address):
        one = Run(folder, address, peer, qtbot)
        yield one
        one.link.end()
        one.panel.form.judging.worker.wait()


def test_a_run_by_the_rigs_own_outputs_outlives_one_that_may_be_lost(run: Run, peer: Peer, qtbot: QtBot) -> None:
    link, strip, panel = run.link, run.strip, run.panel
    qtbot.mouseClick(panel.connecting, Qt.MouseButton.LeftButton)
    qtbot.waitUntil(lambda: link.now.state == "idle", timeout=AWAIT_MS)
    assert strip.ends.value == "POWER OFF"
    qtbot.mouseClick(panel.outputs.button, Qt.MouseButton.LeftButton)
    words = panel.outputs.whole.toPlainText()
    assert words.startswith("pan by osc://127.0.0.1:")
    assert "When setpoints end: it slows down and stops" in words
    assert f"tilt by {peer.address}. When setpoints end: it drops motor power" in words
    assert f"when {peer.address} is lost, the others go on moving" in words
    link.clear(True)
    link.arm()
    qtbot.waitUntil(lambda: link.now.can_start, timeout=AWAIT_MS)
    link.start()
    qtbot.waitUntil(lambda: run.running, timeout=AWAIT_MS)
    peer.leave()
    qtbot.waitUntil(lambda: "trouble" in strip.link.value, timeout=AWAIT_MS)
    assert f"{peer.address} is lost, and the others go on" in strip.trouble.text()
    assert run.running, "the run goes on"
