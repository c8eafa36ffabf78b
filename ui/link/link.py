"""The editor's end of the talk with the engine: opens a rig, arms, starts, stops, and says how the rig stands.

The editor's heartbeat comes from the window's own thread on purpose: one that hangs can no longer obey a stop, so after
a second without a beat the engine stops the rig. What takes long is done in workers; nothing here draws or waits.
"""

import contextlib
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path

from PyQt6.QtCore import QObject, Qt, QTimer, pyqtSignal
from PyQt6.QtGui import QGuiApplication

from sequencer.errors import SequencerError
from sequencer.project.document import Project
from sequencer.shell.crew import CrewFailed
from sequencer.shell.messages import Arm, Command, Kept, Pressed, Refused, Report, Reset, Said, Start, Status
from ui.desk import Desk
from ui.language import translate
from ui.link.ahead import Stretches
from ui.link.arming import dropped, kept_words, performed, refusal, undriven
from ui.link.choice import Choice, first, foreseen, mended, order_of
from ui.link.company import Aside, Company, Crews, Gather, Make, gather, own
from ui.link.countdown import Countdown
from ui.link.hands import Hands
from ui.link.outputs import Outputs
from ui.link.standing import OFFLINE, Errand, Seen, Stage, Standing, stand

POLL_MS = 30
HOMING_MS = 10  # how soon a switch is seen tells how well an axis is homed


class Link(QObject):
    """One rig at a time.

    `status`: the engine's newest Status. `said`: a Said, for the log. `standing`: the Standing is another. `kept`: a
    Kept, a take's file is closed. `chosen`: the choice is another, or what may be done with it. `stopping`: a stop was
    asked for here, whether or not anything moved.
    """

    status = pyqtSignal(object)
    said = pyqtSignal(object)
    standing = pyqtSignal(object)
    kept = pyqtSignal(object)
    chosen = pyqtSignal()
    stopping = pyqtSignal()

    def __init__(
        self,
        desk: Desk,
        save: Callable[[Callable[[], None], Callable[[], None]], None],
        *,
        gather: Gather = gather,
        aside: Aside | None = None,
        now_ns: Callable[[], int] = time.monotonic_ns,
    ) -> None:
        super().__init__()
        self.desk = desk
        self.save = save  # then goes on as the first says, and where it cannot, as the second
        self.choice = first(Choice(), desk.project)
        self.cleared = False  # the operator said that people are clear of the real rig
        self.now: Standing = OFFLINE
        self.newest: Status | None = None
        self.last_stop = self.take = ""  # why it stopped last; the take that is recorded, or was
        self.ahead: Stretches = ()
        self.countdown = Countdown(self.start, lambda: self.now.can_start, now_ns)
        self.hands = Hands(self.tell, self.why_not_drive, partial(performed, self), self._say, self._judge, now_ns)
        self.outputs = Outputs(self)
        self._now_ns, self._crews = now_ns, Crews(gather, aside or Aside(self), self.outputs.begin)
        self._stage: Stage = "off"
        self.errand: Errand = ""
        self._turn = 0  # outcomes of earlier ones are too late
        self.loaded: Project | None = None  # by the engine of this connection, or of the last one
        self._opened_for: Choice | None = None
        self._pending: Arm | None = None  # asked for, and not yet in the engine's status
        self._told, self._since_ns = False, 0  # the engine of it; when it was asked for, or the phase began
        self._start_s: float | None = None
        self._trouble = self._why = ""  # of the link; of a stop by this editor
        self._locks, self._attended, self._still = False, True, True
        self._timer = QTimer(self)
        self._timer.setTimerType(Qt.TimerType.PreciseTimer)
        self._timer.timeout.connect(self.poll)
        desk.opened.connect(self._another_project)
        desk.changed.connect(self._mend)
        app = QGuiApplication.instance()
        if isinstance(app, QGuiApplication):
            app.applicationStateChanged.connect(self._turned_to)

    @property
    def dangerous(self) -> bool:
        """Whether anything is armed or moves, or might."""
        return self.now.dangerous

    @property
    def connected(self) -> bool:
        return self._stage in ("opening", "open")

    def choose(self, choice: Choice) -> None:
        """Choose what the next connection and the next arming are; refused while anything is armed or moves."""
        if choice == self.choice:
            return
        if self.dangerous:
            self._say("refused", translate("run", "stop the rig before you choose another run"))
        else:
            if choice.rig != self.choice.rig:
                self.cleared = False
                if self.connected:
                    self.leave()
            self.choice = choice
        self.chosen.emit()

    def clear(self, yes: bool) -> None:
        """Take the operator's word that people are clear and the hard-wired stop is in reach."""
        self.cleared = yes
        self.chosen.emit()

    def open(self) -> None:
        """Save the document, and start the processes for the chosen rig."""
        if self._stage not in ("off", "failed"):
            return
        self._trouble = ""
        self._begin()

    def leave(self) -> None:
        """End the processes; whatever moves is stopped in a controlled way before."""
        self._turn += 1  # what is still being saved connects nothing any more
        if self._stage in ("off", "closing"):
            return
        self._forget_order()
        self.cleared = False
        self._stage, self.errand = "closing", ""
        self._crews.end_all(self._left)
        self._judge()

    def why_not(self) -> str:
        """Return why the rig cannot be armed now, in words with the mend; empty where it can."""
        return refusal(self.now, connected=self._stage == "open", cleared=self.cleared, drafting=self.desk.drafting)

    def arm(self) -> None:
        """Have the rig go to the start of the cue, with what is on the desk now: saved, and loaded anew if need be."""
        why = self.why_not()
        if why:
            self._say("refused", why)
            return
        try:
            order = order_of(self.choice, self.desk.project, self.desk.folder or Path())
        except (SequencerError, ValueError) as fault:
            self._say("refused", str(fault))
            return
        self._pending, self._told, self._since_ns = order, False, self._now_ns()
        self._why = ""
        self._start_s, self.ahead = foreseen(self.choice, self.desk.project)
        if self._serves():
            self._send()
        else:
            self._say("loading", translate("run", "loading what was changed, then moving to the start"))
            self._begin()
        self._judge()

    def start(self) -> None:
        """Start our own clock, where the rig waits for it."""
        if self.now.can_start:
            self.tell(Start())

    def why_not_drive(self) -> str:
        """Return why axes cannot be driven by hand now, or by an engine with another rig than the desk's: in words."""
        same = self.loaded is not None and self.loaded.rig == self.desk.project.rig
        return undriven(self.now, connected=self._stage == "open", cleared=self.cleared, same_rig=same)

    def tell(self, command: Command) -> bool:
        """Pass a command on to the engine; return whether there is one."""
        if self._crews.company is not None and self._stage == "open":
            self._crews.company.crew.tell(command)
            return True
        return False

    def reset(self) -> None:
        """Clear a latched stop, or a fault of the link. Nothing moves by it."""
        if not self.now.can_reset:
            return
        self._why = ""
        if self._stage == "failed":
            self._trouble, self._stage = "", "off"
            self._judge()
        else:
            self.tell(Reset())

    def stop(self, why: str = "") -> None:
        """Stop the rig, by shared memory: at the engine's next tick, whatever else goes on."""
        if self._crews.company is not None:
            with contextlib.suppress(ValueError):  # its memory is closed: there is nothing left to stop
                self._crews.company.crew.stop_now()
        self.countdown.call_off()
        if self._stage == "open":
            self._turn += 1  # an engine that was to be loaded anew would have forgotten this stop
        self._forget_order()
        self._say("asked to stop", why or translate("run", "stop was pressed"))
        self.stopping.emit()
        self._why = why if self._crews.company is not None else ""
        self._judge()

    def end(self) -> None:
        """End everything with the editor, and wait for it."""
        self.leave()
        self._crews.wait()
        self._timer.stop()

    def _serves(self) -> bool:
        """Whether the engine has loaded what is on the desk, and is set up as was chosen."""
        same = self._opened_for is not None and self._opened_for.same_setup(self.choice)
        return same and self.loaded == self.desk.project

    def lend(self, errand: Errand, make: Make) -> None:
        """Have the rig served as `make` says, for an errand in the place of the run; until one to `tell` is done."""
        self.errand = errand
        self._begin(make)
        self._judge()

    def _begin(self, make: Make = own) -> None:
        """Save, which may take a while; then go on with what was saved."""
        self._turn = turn = self._turn + 1
        self.save(partial(self._replace, self.desk.history.now, turn, make), partial(self._not_saved, turn))

    def _not_saved(self, turn: int) -> None:
        if turn == self._turn:
            self._forget_order()
            self._say("refused", translate("run", "not connected or armed: the project could not be saved"))
            if self.errand:
                self.leave()
            self._judge()

    def _replace(self, project: Project, turn: int, make: Make) -> None:
        """End what runs for another document or another setup, and start the processes."""
        if turn != self._turn or self.desk.folder is None:  # the operator has left meanwhile
            return
        load = make(project, self.choice, self.desk.folder)
        self._stage, self.newest = "opening", None
        self.loaded, self._opened_for = load.project, load.choice
        self._crews.replace(load, lambda: turn == self._turn, partial(self._gathered, turn))
        self._timer.start(HOMING_MS if self.errand == "home" else POLL_MS)
        self._judge()

    def _gathered(self, turn: int, outcome: Company | Exception) -> None:
        if isinstance(outcome, Company):
            in_time = turn == self._turn and self._stage == "opening"
            (self._crews.take if in_time else self._crews.drop)(outcome)
        elif turn == self._turn:
            self._fail(str(outcome))
            if not isinstance(outcome, SequencerError | OSError):
                raise outcome

    def _fail(self, words: str) -> None:
        """Say why the run is broken, and end what is left of it: the engine, if it lives, by a controlled stop."""
        self._trouble, self._stage, self.errand = words, "failed", ""
        self._turn += 1
        self._forget_order()
        self.last_stop = words
        self._say("failed", words)
        self._crews.end_run(self._ended)
        self._judge()

    def _ended(self, _: object) -> None:
        self._crews.company = None
        self._judge()

    def _left(self, _: object) -> None:
        self._crews.company, self.newest, self._stage = None, None, "off"
        self.hands.forget()
        self._judge()

    def _another_project(self) -> None:
        """Leave the rig: what it has loaded is not what is on the desk."""
        if self.dangerous:
            self.stop(translate("run", "another project was opened"))
        self.leave()
        self.choice = first(self.choice, self.desk.project)
        self.chosen.emit()

    def _mend(self) -> None:
        """Choose what there is where the document has no more what was chosen."""
        choice = mended(self.choice, self.desk.project)
        if choice != self.choice:
            self.choice = choice
            self.chosen.emit()
        if self._stage == "opening" and self._pending is None and self.desk.history.now != self.loaded:
            self._opened_for = None  # which of the two the engine finds on the disk is not known

    def poll(self) -> None:
        """Hear what the processes say, beat, and judge how the rig stands."""
        company = self._crews.company
        if company is not None and self._stage in ("opening", "open"):
            try:
                for report in company.crew.hear(0.0):
                    self._take_in(report)
                if self._stage == "opening" and company.crew.opened() is not None:
                    self._stage, self.errand = "open", self.errand if self.errand == "home" else ""
                    self._say("connected", translate("run", "connected to {rig}").format(rig=self.outputs.rig_name))
            except CrewFailed as fault:
                self._fail(str(fault))
                return
        if company is not None and self._stage in ("open", "closing"):
            with contextlib.suppress(ValueError):  # a crew that has just been closed
                self._look(company.crew.status())
        if self._stage == "open":
            self._follow_up()
        self._judge()
        if self._stage in ("off", "failed") and self._crews.company is None:
            self._timer.stop()

    def _take_in(self, report: Report) -> None:
        match report:
            case Pressed():
                self.hands.pressed.emit(report)
            case Said():
                self.said.emit(report)
                self.hands.heard(report)
                if report.code == "refused":
                    self._forget_order()
            case Refused():
                self._forget_order()
                self._say("refused", report.text)
            case Kept():
                self._say("kept", kept_words(report))
                self.kept.emit(report)

    def _look(self, status: Status | None) -> None:
        if status is None or (self.newest is not None and status.at_ns == self.newest.at_ns):
            return
        before, self.newest = self.newest, status
        self._still = before is not None and before.asked == status.asked
        if self._told and status.phase not in ("idle", "finished"):
            self._pending, self._told = None, False
        if before is None or before.phase != status.phase:
            self._since_ns = self._now_ns()
        if status.phase in ("stopping", "stopped"):
            self.last_stop = self._why or status.cause
        self.hands.look(status)
        self.status.emit(status)

    def _follow_up(self) -> None:
        """Send an order that waited for the processes, and drop what was armed where nobody begins or watches."""
        if self._pending is not None and not self._told and self._serves():
            self._send()
        if self._why:  # it is being stopped for such a reason already
            return
        why = dropped(
            self.now,
            "" if self.newest is None else self.newest.phase,
            pending=self._pending is not None,
            homing=self.errand == "home",
            attended=self._attended,
            counting=self.countdown.counting,
            waited_ns=self._now_ns() - self._since_ns,
        )
        if why:
            self.stop(why)

    def _send(self) -> None:
        if self._crews.company is not None and self._pending is not None:
            self._crews.company.crew.tell(self._pending)
            self._told = True
            if self._pending.heading is not None:
                self.take = self._pending.heading.name

    def _forget_order(self) -> None:
        self._pending, self._told = None, False

    def _judge(self) -> None:
        standing = stand(
            Seen(
                stage=self._stage,
                status=self.newest,
                now_ns=self._now_ns(),
                asked_to_arm=self._pending is not None,
                errand=self.errand,
                hand_ns=self.hands.drove_ns,
                ending=self._crews.company is not None,
                still=self._still,
                ours=self.choice.ours,
                start_s=self._start_s,
                ahead=self.ahead,
                trouble=self._trouble,
                real=self.choice.real,
            )
        )
        if standing == self.now:
            return
        self.now = standing
        if standing.dangerous != self._locks:
            self._locks = standing.dangerous
            self.desk.lock(translate("run", "the rig is armed or moves; stop it to edit") if self._locks else "")
        self.standing.emit(standing)

    def _say(self, code: str, words: str) -> None:
        self.said.emit(Said(self._now_ns(), code, words))

    def _turned_to(self, state: Qt.ApplicationState) -> None:
        self._attended = state == Qt.ApplicationState.ApplicationActive
