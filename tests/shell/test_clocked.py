"""The real processes, clocked and triggered by whatever carries time: what the rig does, and what is told."""

import contextlib
import socket
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import soundfile
from pythonosc.osc_bundle_builder import OscBundleBuilder
from pythonosc.osc_message_builder import OscMessageBuilder

from sequencer.adapters.sources.pipe import open_pipe
from sequencer.playback.state import Phase
from sequencer.project.takefile import read
from sequencer.shell.crew import Crew, CrewFailed
from sequencer.shell.messages import Arm, Reset, Said, Start, Status
from sequencer.shell.shoot import Watch
from sequencer.wire.ltc_word import Word, encode
from tests import libltc
from tests.shell.conftest import Starter
from tests.sync.receiver import received

pytestmark = pytest.mark.real_time

Send = Callable[..., None]


class Heard:
    """What was told, in order."""

    def __init__(self) -> None:
        self.words: list[str] = []
        self.status: Status | None = None

    def __call__(self, status: Status | None, said: list[Said]) -> None:
        self.words += [one.text for one in said]
        self.status = status or self.status

    @property
    def phase(self) -> str:
        return "" if self.status is None else self.status.phase

    def has(self, part: str) -> bool:
        return any(part in words for words in self.words)


def look_until(watch: Watch, fact: Callable[[], bool], patience_s: float = 10.0) -> None:
    deadline = time.monotonic() + patience_s
    while not fact():
        watch.look()
        assert time.monotonic() < deadline, f"it did not happen, but {getattr(watch.tell, 'words', '')}"


@contextlib.contextmanager
def sender(running: Crew) -> Iterator[Send]:
    """Yield what sends OSC to the run's first inlet: an address, its arguments, and in how many seconds it is due."""
    opened = running.wait_opened()
    port = int(opened["io"].sources[0].rpartition(":")[2])
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as out:
        out.connect(("127.0.0.1", port))

        def send(address: str, *arguments: str, in_s: float | None = None) -> None:
            message = OscMessageBuilder(address)
            for argument in arguments:
                message.add_arg(argument)
            if in_s is None:
                out.send(message.build().dgram)
                return
            bundle = OscBundleBuilder(time.time() + in_s)  # type: ignore[arg-type]  # it takes seconds with their part
            bundle.add_content(message.build())
            out.send(bundle.build().dgram)

        yield send


def test_a_trigger_with_a_timetag_starts_the_move_at_that_instant(start: Starter, tmp_path: Path) -> None:
    running, watch, plan = start(triggers=("osc:0",))
    plan.folder.mkdir()
    path = plan.next_path()
    with sender(running) as send:
        watch.arm(Arm(cue="turn", take=str(path), heading=plan.heading(path.stem), preroll_s=0.2))
        watch.until(Phase.READY, 20.0)
        sent_ns = time.monotonic_ns()
        send("/run/start", in_s=0.6)
        watch.until(Phase.FINISHED, 10.0)
        watch.until_kept()
    take = read(path)
    # the own clock had been set 0.2 s before the cue, which is at 2 s; what it says of its start is what was asked for
    assert take.sighted_s[0] == pytest.approx(1.8)
    assert abs(int(take.sighted_ns[0]) - (sent_ns + 600_000_000)) < 3_000_000
    # and the rig followed that clock
    due_s = (take.due_ns - take.sighted_ns[0]) * 1e-9
    running_ticks = due_s > 0
    assert abs(take.timeline_s[running_ticks] - 1.8 - due_s[running_ticks]).max() < 1e-6


def test_a_stop_by_a_trigger_is_obeyed_and_latched(start: Starter) -> None:
    running, watch, _ = start(triggers=("osc:0",))
    heard = Heard()
    watch.tell = heard
    with sender(running) as send:
        watch.arm(Arm(cue="turn"))
        watch.until(Phase.READY, 20.0)
        send("/run/start")
        watch.until(Phase.RUNNING, 5.0)
        send("/stop")
        with pytest.raises(CrewFailed, match="OSC /stop"):
            watch.until(Phase.FINISHED, 5.0)
        send("/run/start")
        watch_s = time.monotonic() + 0.5
        while time.monotonic() < watch_s:
            watch.look()
        assert heard.phase == Phase.STOPPED


def test_a_clock_that_a_trigger_stops_in_mid_move_stops_the_rig_with_its_name(start: Starter) -> None:
    running, watch, _ = start(triggers=("osc:0",))
    with sender(running) as send:
        watch.arm(Arm(cue="turn"))
        watch.until(Phase.READY, 20.0)
        send("/run/start")
        watch.until(Phase.RUNNING, 5.0)
        send("/run/stop")
        with pytest.raises(CrewFailed, match="stopped by OSC /run/stop"):
            watch.until(Phase.FINISHED, 5.0)


def test_triggers_choose_only_where_the_operator_lets_them(start: Starter) -> None:
    running, watch, _ = start(triggers=("osc:0",))
    heard = Heard()
    watch.tell = heard
    with sender(running) as send:
        send("/run/start")
        look_until(watch, lambda: heard.has("OSC /run/start has no effect: nothing is armed. Arm at this"))
        assert heard.phase == Phase.IDLE
        assert heard.status is not None
        assert heard.status.lock != "locked"
        watch.arm(Arm(cue="turn"))
        watch.until(Phase.READY, 20.0)
        send("/cue/take", "turn")
        look_until(watch, lambda: heard.has("the operator has not let triggers choose"))


def test_with_remote_a_trigger_takes_a_cue_again_after_the_end(start: Starter) -> None:
    running, watch, _ = start(triggers=("osc:0",))
    heard = Heard()
    watch.tell = heard
    with sender(running) as send:
        watch.arm(Arm(cue="turn", remote=True))
        watch.until(Phase.READY, 20.0)
        for _ in range(2):
            send("/run/start")
            watch.until(Phase.FINISHED, 10.0)
            send("/cue/take", "no such cue")
            send("/cue/take", "turn")
            look_until(watch, lambda: heard.phase == Phase.READY)
        assert heard.has("no cue 'no such cue' in Small; cues: turn")
        assert [words for words in heard.words if "late" in words] == []


def test_what_a_trigger_cannot_have_ends_nothing(start: Starter) -> None:
    running, watch, _ = start(triggers=("osc:0",), legs=2)
    heard = Heard()
    watch.tell = heard
    with sender(running) as send:
        watch.arm(Arm(cue="turn", remote=True))
        watch.until(Phase.READY, 20.0)
        send("/mark/go", "on the way")  # where the pan moves, which no rig can stand ready at
        look_until(watch, lambda: heard.has("at 10:00:02:12 the move is already under way (pan); start where it rests"))
        # the same order twice, as senders do whose packets may be lost
        send("/cue/take", "turn")
        send("/cue/take", "turn")
        look_until(watch, lambda: heard.has("OSC /cue/take (turn) is refused: it is locating"))
        look_until(watch, lambda: heard.phase == Phase.READY)
        send("/run/start")
        watch.until(Phase.RUNNING, 5.0)
        send("/run/start")
        look_until(watch, lambda: heard.has("OSC /run/start has no effect: the clock runs already"))
        watch.until(Phase.FINISHED, 10.0)


def test_a_large_move_is_chosen_however_long_that_takes_to_work_out(start: Starter) -> None:
    # longer than a rig may be silent, which this one is not: it is only not listened to meanwhile
    running, watch, _ = start(triggers=("osc:0",), legs=3400, ease="harmonic")
    heard = Heard()
    watch.tell = heard
    with sender(running) as send:
        watch.arm(Arm(cue="turn", remote=True))
        watch.until(Phase.READY, 20.0)
        send("/cue/take", "turn")
        look_until(watch, lambda: heard.has("chosen by OSC /cue/take; moving to the start"))
        look_until(watch, lambda: heard.phase == Phase.READY)
        assert not any("late" in words for words in heard.words)


def test_no_stop_leaves_anything_that_starts_the_clock_later(start: Starter) -> None:
    running, watch, _ = start(triggers=("osc:0",))
    heard = Heard()
    watch.tell = heard
    with sender(running) as send:
        watch.arm(Arm(cue="turn"))
        watch.until(Phase.READY, 20.0)
        send("/run/start", in_s=1.0)
        time.sleep(0.1)
        running.stop_now()
        look_until(watch, lambda: heard.has("OSC /run/start was to come later and is forgotten, since the rig stopped"))
        running.tell(Reset())
        look_until(watch, lambda: heard.phase == Phase.IDLE)
        watch.arm(Arm(cue="turn"))
        watch.until(Phase.READY, 20.0)
        end_s = time.monotonic() + 1.2
        while time.monotonic() < end_s:
            watch.look()
        assert heard.phase == Phase.READY


def test_the_operator_is_told_which_source_is_followed(start: Starter) -> None:
    running, watch, _ = start(sync="mtc", sources=("pipe:0", "osc:0"))
    heard = Heard()
    watch.tell = heard
    running.wait_opened()
    look_until(watch, lambda: heard.status is not None)
    assert heard.status is not None
    assert (heard.status.source, heard.status.lock, heard.status.lost) == ("MTC, 25 frames a second", "waiting", 0)


def recording(folder: Path, seconds: float) -> Path:
    """Return a recording of timecode at 25 frames a second from 10:00:00:00 on, made by libltc."""
    words = [encode(Word(10, 0, 0, 0), 25)]
    while len(words) < 25 * seconds:
        words.append(libltc.after(words[-1], 25))
    path = folder / "quay.wav"
    soundfile.write(path, libltc.encode(words, 25, 25.0, 48_000, speed=1.0), 48_000)
    return path


def test_a_recording_of_linear_timecode_clocks_the_move(start: Starter, tmp_path: Path) -> None:
    libltc.needs_libltc()
    address = f"file:{recording(tmp_path, 5.0)}?after=4"
    running, watch, plan = start(sync="ltc", sources=(address,), offset_frames="1", delay_ms=20.0)
    plan.folder.mkdir()
    path = plan.next_path()
    running.wait_opened()
    watch.arm(Arm(cue="turn", take=str(path), heading=plan.heading(path.stem)))
    watch.until(Phase.FINISHED, 20.0)
    watch.until_kept()
    take = read(path)
    # every sighting lies on one line of speed one: the recording plays in real time
    since_s = (take.sighted_ns - take.sighted_ns[0]) * 1e-9
    off_s = take.sighted_s - take.sighted_s[0] - since_s
    assert len(off_s) > 4 * 25 * 2
    assert abs(off_s).max() < 1e-3
    # what the rig followed is that line
    line_s = take.sighted_s[0] + (take.due_ns - take.sighted_ns[0]) * 1e-9
    moving = (take.due_ns > take.sighted_ns[0]) & (take.due_ns < take.sighted_ns[-1])
    assert abs(take.timeline_s[moving] - line_s[moving]).max() < 2e-3


def test_the_own_clock_is_given_to_another_machine_as_midi_timecode(start: Starter) -> None:
    with open_pipe("pipe:0") as pipe:
        running, watch, _ = start(give=(f"mtc:{pipe.address}",))
        running.wait_opened()
        told: list[tuple[int, bytes]] = []

        def hear(status: Status | None, said: list[Said]) -> None:
            told.extend((chunk.stamp_ns, chunk.data) for chunk in pipe.read(time.monotonic_ns()))

        watch.tell = hear
        watch.arm(Arm(cue="turn", preroll_s=1.0))
        watch.until(Phase.READY, 20.0)
        running.tell(Start())
        watch.until(Phase.FINISHED, 20.0)
    addresses = [one.label for one in received(told) if not one.full]
    # the cue begins at 10:00:02:00, and an address is told every second frame
    begun = addresses.index("10:00:01:11")
    assert addresses[begun : begun + 20] == [
        f"10:00:{frame // 25:02}:{frame % 25:02}" for frame in range(36, 36 + 40, 2)
    ]
    assert next(one.label for one in received(told) if one.full) == "10:00:01:00"
