"""A PulseAudio server of our own with null sinks for sound cards, for tests and benchmarks that need real audio.

PortAudio reaches it through ALSA's pulse plugin, by a configuration of ALSA that names nothing else.
"""

import os
import shutil
import subprocess
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

_STARTS_WITHIN_S = 10.0
_PRIORITY = 4
SINKS = ("quay", "lantern")
# a sink is one device that plays, and its monitor one that records what was played
_DEVICES = """
</usr/share/alsa/alsa.conf>
{players}
pcm.!default {{ type pulse }}
ctl.!default {{ type pulse }}
"""
_DEVICE = """
pcm.{name} {{ type pulse device "{device}" }}
"""


@dataclass(frozen=True)
class PulseServer:
    """A server that runs. `variables` lead programs to it."""

    variables: dict[str, str]
    process: subprocess.Popen[bytes]

    def end(self) -> None:
        """End the server, as when it crashes."""
        self.process.kill()
        self.process.wait(timeout=10)


def _answers(variables: dict[str, str]) -> bool:
    asked = subprocess.run(
        ["pactl", "info"], env={**os.environ, **variables}, capture_output=True, timeout=_STARTS_WITHIN_S, check=False
    )
    return asked.returncode == 0


@contextmanager
def pulse_server(rate_hz: int = 48_000, realtime: bool = True) -> Iterator[PulseServer]:
    """Run a server in a folder of its own, and lead this process to it while it runs.

    It has a null sink for each name in SINKS; the devices are `quay`, which plays, `quay_heard`, which records what was
    played, and so on. `realtime` asks for real-time scheduling of its main thread. It is ended by its own process.
    """
    with tempfile.TemporaryDirectory(prefix="twintake-pulse-") as place:
        folder = Path(place)
        socket, alsa = folder / "socket", folder / "alsa.conf"
        players = "".join(
            _DEVICE.format(name=sink, device=sink) + _DEVICE.format(name=f"{sink}_heard", device=f"{sink}.monitor")
            for sink in SINKS
        )
        alsa.write_text(_DEVICES.format(players=players), encoding="utf-8")
        variables = {
            "HOME": place,
            "XDG_RUNTIME_DIR": place,
            "XDG_CONFIG_HOME": place,
            "PULSE_RUNTIME_PATH": place,
            "PULSE_STATE_PATH": place,
            "PULSE_SERVER": f"unix:{socket}",
            "ALSA_CONFIG_PATH": str(alsa),
        }
        before = {name: os.environ.get(name) for name in variables}
        modules = [f"module-native-protocol-unix auth-anonymous=1 auth-cookie-enabled=0 socket={socket}"]
        modules += [f"module-null-sink sink_name={sink} rate={rate_hz} channels=2 norewinds=1" for sink in SINKS]
        server = subprocess.Popen(
            [
                # a server must not outlive a test that was killed
                *(("setpriv", "--pdeathsig", "TERM") if shutil.which("setpriv") else ()),
                *("pulseaudio", "-n", "--daemonize=no", "--use-pid-file=no", "--exit-idle-time=-1"),
                *("--disable-shm", "--log-level=error"),
                *(part for module in modules for part in ("-L", module)),
            ],
            env={**os.environ, **variables},
            stdout=subprocess.DEVNULL,
            stderr=subprocess.DEVNULL,
        )
        os.environ.update(variables)
        try:
            give_up_s = time.monotonic() + _STARTS_WITHIN_S
            while not _answers(variables):
                if server.poll() is not None or time.monotonic() > give_up_s:
                    raise RuntimeError(f"pulseaudio did not start (status {server.poll()})")
                time.sleep(0.05)
            with suppress(AttributeError, OSError):
                # as on a rig, where it is granted: a server that answers late misleads its clients about what it holds
                if realtime:
                    os.sched_setscheduler(server.pid, os.SCHED_FIFO | os.SCHED_RESET_ON_FORK, os.sched_param(_PRIORITY))
            yield PulseServer(variables, server)
        finally:
            server.terminate()
            server.wait(timeout=10)
            for name, value in before.items():
                if value is None:
                    os.environ.pop(name, None)
                else:
                    os.environ[name] = value
