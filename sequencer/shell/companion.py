"""A process of ours beside a run (simulated rig, timecode sender): it speaks JSON lines on its standard streams."""

import contextlib
import json
import queue
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from typing import IO, Any

from sequencer.errors import LinkError

_START_S = 15.0


class Companion:
    """One such process, by the name that people know it by."""

    def __init__(self, name: str, process: subprocess.Popen[str]) -> None:
        self._name = name
        self._process = process
        self.pid = process.pid
        self._kept: list[dict[str, Any]] = []
        self._lines: queue.SimpleQueue[dict[str, Any]] = queue.SimpleQueue()
        # a pipe cannot be asked whether it has a line on every system: a thread waits for lines instead
        self._collecting = threading.Thread(target=_collect, args=(process.stdout, self._lines), daemon=True)
        self._collecting.start()

    def finish(self) -> None:
        """End the process by closing its standard input, by force after 3 s, and read its last lines."""
        with contextlib.suppress(OSError):
            assert self._process.stdin is not None
            self._process.stdin.close()
        try:
            self._process.wait(3)
        except subprocess.TimeoutExpired:
            self._process.kill()
            self._process.wait()
        self._collecting.join(3)

    def say(self, message: dict[str, Any]) -> None:
        """Send one line. Error: LinkError where the process has ended."""
        assert self._process.stdin is not None
        try:
            self._process.stdin.write(json.dumps(message) + "\n")
            self._process.stdin.flush()
        except OSError as fault:
            raise LinkError(f"the {self._name} has ended; start it again") from fault

    def hear(self) -> list[dict[str, Any]]:
        """Return the lines since the last call. Error: LinkError where it says `error`, or has ended by a fault."""
        ended = self._process.poll()
        lines, self._kept = self._kept, []
        with contextlib.suppress(queue.Empty):
            while True:
                lines.append(self._lines.get_nowait())
        for line in lines:
            if "error" in line:
                raise LinkError(f"the {self._name}: {line['error']}")
        if ended:
            raise LinkError(f"the {self._name} ended by itself (status {ended}); start it again")
        return lines

    def wait_for(self, key: str) -> Any:
        """Wait for the line that has `key`, and return its value. Error: LinkError."""
        deadline = time.monotonic() + _START_S
        while time.monotonic() < deadline:
            self._kept = self.hear()
            for place, line in enumerate(self._kept):
                if key in line:
                    del self._kept[: place + 1]
                    return line[key]
            time.sleep(0.01)
        raise LinkError(f"the {self._name} said nothing for {_START_S:.0f} s; is the machine very busy?")


def _collect(stream: IO[str] | None, lines: "queue.SimpleQueue[dict[str, Any]]") -> None:
    assert stream is not None
    # whoever reads closes too: a stream that another thread closes under a reader is an error in the reader
    with stream:
        for line in stream:
            with contextlib.suppress(json.JSONDecodeError):
                lines.put(json.loads(line))


@contextlib.contextmanager
def companion(name: str, module: str, *arguments: str) -> Iterator[Companion]:
    """Start `module` as a process; when the block ends its standard input closes, by which it ends in order."""
    process = subprocess.Popen(
        [sys.executable, "-P", "-m", module, *arguments],  # never a module from the folder one stands in
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    beside = Companion(name, process)
    try:
        yield beside
    finally:
        beside.finish()
