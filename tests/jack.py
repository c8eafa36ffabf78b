"""A JACK server of our own with its dummy driver, for tests and benchmarks that need a real MIDI transport."""

import os
import shutil
import subprocess
import time
from collections.abc import Iterator
from contextlib import contextmanager

_STARTS_WITHIN_S = 10.0
# real-time scheduling as on a rig; where it is refused the server goes on without
_SERVER = ("jackd", "-R", "-P", "60")


@contextmanager
def jack_server(frames: int = 64, rate_hz: int = 48_000) -> Iterator[dict[str, str]]:
    """Run a server under a name of its own and yield the environment variables that lead programs to it.

    They are set in this process too while it runs; the server is ended by its own process.
    """
    from sequencer.adapters.midi_ports import jack_ports

    ours = {"JACK_DEFAULT_SERVER": f"twintake-{os.getpid()}", "JACK_NO_START_SERVER": "1"}
    before = {name: os.environ.get(name) for name in ours}
    os.environ.update(ours)
    server = subprocess.Popen(
        [
            # a server must not outlive a test that was killed
            *(("setpriv", "--pdeathsig", "TERM") if shutil.which("setpriv") else ()),
            *_SERVER,
            *("-n", ours["JACK_DEFAULT_SERVER"], "-d", "dummy", "-r", str(rate_hz), "-p", str(frames)),
        ],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    try:
        give_up_s = time.monotonic() + _STARTS_WITHIN_S
        while not jack_ports.running():
            if server.poll() is not None or time.monotonic() > give_up_s:
                raise RuntimeError(f"jackd did not start within {_STARTS_WITHIN_S:.0f} s (status {server.poll()})")
            time.sleep(0.05)
        yield ours
    finally:
        server.terminate()
        server.wait(timeout=10)
        for name, value in before.items():
            if value is None:
                os.environ.pop(name, None)
            else:
                os.environ[name] = value
