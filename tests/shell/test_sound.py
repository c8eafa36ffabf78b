"""The real processes with a real sound server: music and timecode through its cards, and what happens when it dies."""

import json
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest
import soundfile
from numpy.typing import NDArray
from pythonosc.osc_bundle import OscBundle

from sequencer.adapters.audio_ports.player import Player
from sequencer.adapters.audio_ports.streams import open_output
from sequencer.playback.state import Phase
from sequencer.project.takefile import read
from sequencer.shell.crew import Crew, CrewFailed, crew
from sequencer.shell.messages import Arm, Setup, Start
from sequencer.shell.shoot import Watch
from sequencer.wire.ltc_word import Word, encode
from tests import libltc
from tests.needs import needs
from tests.pulse import PulseServer, pulse_server
from tests.shell.conftest import Starter, quiet
from tests.shell.small import small_project
from tests.shell.test_clocked import Heard, look_until, sender

pytestmark = pytest.mark.real_time

RATE_HZ = 48_000
TICK_HZ = 250
CUE_S = 2.0  # on the timeline
S = 1_000_000_000


@pytest.fixture(scope="module")
def server() -> Iterator[PulseServer]:
    needs("pulseaudio")
    needs("pactl")
    with pulse_server() as running:
        yield running


class Seen(Heard):
    """What was told, and how the clock stood when that was last looked at."""

    @property
    def clock(self) -> tuple[str, float]:
        assert self.status is not None
        return self.status.lock, self.status.timeline_s


def sounding(folder: Path, *, legs: int = 1) -> str:
    """Return the folder of the small project with four seconds of music, which begin half a second before its cue."""
    small_project(folder, legs=legs)
    music = np.random.default_rng(4).uniform(-0.1, 0.1, (4 * RATE_HZ, 2))
    soundfile.write(folder / "music.wav", music, RATE_HZ)
    file = folder / "project.json"
    project = json.loads(file.read_text())
    project["playback"] = {"file": "music.wav", "at": "10:00:01:12"}
    file.write_text(json.dumps(project))
    return str(folder)


def off_the_line(times_ns: NDArray[np.int64], places_s: NDArray[np.float64], begun_ns: int) -> NDArray[np.float64]:
    """Return how far each place lies from a clock of speed one that began at the cue. Unit: s."""
    return places_s - CUE_S - (times_ns - begun_ns) * 1e-9


def test_the_music_clocks_the_move_to_its_end(start: Starter, server: PulseServer, tmp_path: Path) -> None:
    running, watch, plan = start(project=sounding(tmp_path / "sounding"), sync="audio", audio_out="quay")
    seen = Seen()
    watch.tell = seen
    plan.folder.mkdir()
    path = plan.next_path()
    assert running.wait_opened()["io"].sources == {0: "sound card quay, ALSA"}
    watch.arm(Arm(cue="turn", take=str(path), heading=plan.heading(path.stem), preroll_s=0.5))
    watch.until(Phase.READY, 20.0)
    look_until(watch, lambda: seen.clock == ("located", 1.5))
    running.tell(Start())
    watch.until(Phase.FINISHED, 10.0)
    watch.until_kept()
    take = read(path)
    assert take.complete
    assert len(take.sighted_s) > 1.4 * RATE_HZ / 256
    # one card, one line
    zero_ns = take.sighted_ns[0]
    speed, place_s = np.polyfit((take.sighted_ns - zero_ns) * 1e-9, take.sighted_s, 1)
    assert speed == pytest.approx(1, abs=5e-3)
    inside = (take.due_ns > take.sighted_ns[0]) & (take.due_ns < take.sighted_ns[-1])
    on_it_s = place_s + speed * (take.due_ns[inside] - zero_ns) * 1e-9
    assert abs(take.timeline_s[inside] - on_it_s).max() < 2e-3


def test_a_trigger_starts_the_music_at_its_instant_and_stops_it(
    start: Starter, server: PulseServer, tmp_path: Path
) -> None:
    running, watch, plan = start(
        project=sounding(tmp_path / "sounding"), sync="audio", audio_out="quay", triggers=("osc:0",)
    )
    plan.folder.mkdir()
    path = plan.next_path()
    with sender(running) as send:
        watch.arm(Arm(cue="turn", take=str(path), heading=plan.heading(path.stem), preroll_s=0.25))
        watch.until(Phase.READY, 20.0)
        begins_ns = time.monotonic_ns() + S // 2
        send("/run/start", in_s=0.5)
        watch.until(Phase.RUNNING, 5.0)
        time.sleep(0.5)
        send("/run/stop")
        with pytest.raises(CrewFailed, match="the clock was stopped by OSC /run/stop; let it run on during a move"):
            watch.until(Phase.FINISHED, 5.0)
    take = read(path)
    late_s = off_the_line(take.sighted_ns, take.sighted_s, begins_ns + S // 4)
    assert abs(np.median(late_s)) < 5e-3
    # it stood soon after
    assert 0.3 < take.sighted_s[-1] - CUE_S < 1.4
    assert take.timeline_s[-1] == pytest.approx(take.sighted_s[-1], abs=0.02)
    assert (take.asked[-1] == take.asked[-20]).all()


def test_the_cue_begins_whole_and_is_joined_again_after_the_music_was_stopped(
    start: Starter, server: PulseServer, tmp_path: Path
) -> None:
    running, watch, _plan = start(
        project=sounding(tmp_path / "sounding", legs=2), sync="audio", audio_out="quay", triggers=("osc:0",)
    )
    seen = Seen()
    watch.tell = seen
    with sender(running) as send:
        watch.arm(Arm(cue="turn", until_s=4.5, late="join"))
        watch.until(Phase.READY, 20.0)
        send("/run/start")
        watch.until(Phase.RUNNING, 5.0)
        assert not seen.has("past the start")
        time.sleep(0.5)
        send("/run/stop")
        # the rig brakes and waits
        look_until(watch, lambda: seen.phase == Phase.JOINING and seen.clock[0] == "located")
        stood = seen.clock
        time.sleep(0.5)
        watch.look()
        assert seen.clock == stood
        assert seen.has("the clock was stopped by OSC /run/stop; braking, and joining the move when it runs")
        send("/run/start")
        look_until(watch, lambda: seen.clock[0] == "locked")
        assert 0 <= seen.clock[1] - stood[1] < 0.2
        watch.until(Phase.RUNNING, 5.0)
        assert seen.has("timecode runs again; joining the move there")
        watch.until(Phase.FINISHED, 10.0)


class Rig:
    """A rig that says nothing and remembers where its pan was sent, and when that was due."""

    def __init__(self, port: socket.socket) -> None:
        self.output = f"osc://127.0.0.1:{port.getsockname()[1]}?form=d"
        self.sent: list[tuple[float, float]] = []
        self._port = port

    def listen(self) -> None:
        """Take what comes until an empty packet does."""
        while packet := self._port.recv(65536):
            if OscBundle.dgram_is_bundle(packet):
                bundle = OscBundle(packet)
                pans = (message for message in bundle if message.address == "/rig/pan/position")
                self.sent += [(bundle.timestamp, message.params[0]) for message in pans]


@contextmanager
def rig() -> Iterator[Rig]:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as port:
        port.bind(("127.0.0.1", 0))
        here = Rig(port)
        listening = threading.Thread(target=here.listen)
        listening.start()
        try:
            yield here
        finally:
            port.sendto(b"", port.getsockname())
            listening.join()


def check_it_braked(here: Rig) -> None:
    """Fail unless it was under way, kept its limits, and came to rest short of the move's end."""
    times_s, places = np.array(here.sent).T
    after_s = np.diff(np.rint((times_s - times_s[0]) * TICK_HZ)) / TICK_HZ
    speeds = np.diff(places) / after_s
    gains = np.diff(speeds) / ((after_s[1:] + after_s[:-1]) / 2)
    assert speeds.max() > 20
    assert abs(speeds).max() < 60 * 1.001
    assert abs(gains).max() < 240 * 1.001
    assert speeds[-1] == 0
    assert 1 < places[-1] < 19.9


def lost_in_mid_move(serving: PulseServer, running: Crew, watch: Watch, said: str) -> None:
    """End the server in mid-move; fail unless the run ends with `said` and the crew soon."""
    watch.until(Phase.RUNNING, 10.0)
    time.sleep(0.35)
    serving.end()
    with pytest.raises(CrewFailed, match=said) as failed:
        watch.until(Phase.FINISHED, 5.0)
    assert failed.value.exit_status == 3
    began_s = time.monotonic()
    running.close()
    assert time.monotonic() - began_s < 5


def test_a_sound_server_that_dies_under_the_music_stops_the_rig(tmp_path: Path) -> None:
    needs("pulseaudio")
    project = sounding(tmp_path / "sounding")
    with pulse_server() as serving, rig() as here:
        setup = Setup(
            project=project, run=None, output=here.output, sync="audio", audio_out="quay", answers_needed=False
        )
        with crew(setup) as running:
            running.wait_opened()
            watch = Watch(running, quiet)
            watch.arm(Arm(cue="turn", preroll_s=0.25))
            watch.until(Phase.READY, 20.0)
            running.tell(Start())
            lost_in_mid_move(
                serving, running, watch, "sound output 'quay' has stopped; plug it in or start its sound server"
            )
    check_it_braked(here)


def test_a_sound_server_that_dies_under_linear_timecode_stops_the_rig(tmp_path: Path) -> None:
    needs("pulseaudio")
    libltc.needs_libltc()
    project = str(small_project(tmp_path / "small"))
    words = [encode(Word(10, 0, 1 + frame // 25, frame % 25), 25) for frame in range(5 * 25)]
    player = Player(libltc.encode(words, 25, 25.0, RATE_HZ)[:, None], RATE_HZ)
    with pulse_server() as serving, rig() as here, open_output("quay", RATE_HZ, 1, player.fill):
        setup = Setup(
            project=project,
            run=None,
            output=here.output,
            sync="ltc",
            sources=("ltc:quay_heard",),
            answers_needed=False,
        )
        with crew(setup) as running:
            running.wait_opened()
            watch = Watch(running, quiet)
            watch.arm(Arm(cue="turn"))
            watch.until(Phase.READY, 20.0)
            player.play(time.monotonic_ns(), 0)
            lost_in_mid_move(
                serving, running, watch, "sound input 'quay_heard' has stopped; plug it in or start its sound server"
            )
    check_it_braked(here)


@pytest.mark.parametrize(
    ("playback", "status", "said"),
    [
        (True, 3, "no sound device to play to has 'harbour' in its name; the machine has 'quay"),
        (False, 2, "playback: is missing"),
    ],
)
def test_what_cannot_be_played_ends_the_command_in_plain_words(
    server: PulseServer, tmp_path: Path, playback: bool, status: int, said: str
) -> None:
    project = sounding(tmp_path / "small") if playback else str(small_project(tmp_path / "small"))
    sound = ["--sync", "audio", "--audio-out", "harbour" if playback else "quay"]
    ended = subprocess.run(
        [sys.executable, "-m", "sequencer", "play", project, *sound, "--out", "osc://127.0.0.1:9", "--arm"],
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert said in " ".join(ended.stderr.split())
    assert "Traceback" not in ended.stderr
    assert ended.returncode == status
