"""The serial ports of this machine, and how one is opened: pyserial knows every system's names, speeds and settings."""

import contextlib
import errno
import os
import stat
from collections.abc import Sequence
from typing import Literal, Protocol, get_args

import serial
from serial.tools import list_ports

from sequencer.errors import LinkError

_BUSY = frozenset({errno.EBUSY, errno.EAGAIN, errno.EWOULDBLOCK})
_POSIX = os.name == "posix"
Control = Literal["rts", "dtr"]
CONTROLS: tuple[Control, ...] = get_args(Control)
_NO_CONTROLS = frozenset({errno.ENOTTY, errno.EINVAL})
_opened_before: set[str] = set()  # looking for the others again while a link is away would cost the tick its time


class Port(Protocol):
    """An open serial port. No method waits. Error: OSError once it is gone."""

    def fileno(self) -> int | None:
        """Return the descriptor that becomes readable when something has come in, or None where there is none."""
        ...

    def write(self, data: bytes) -> int:
        """Return how many bytes of `data` the system has taken, 0 where it has no room."""
        ...

    def read(self) -> bytes:
        """Return what has come in."""
        ...

    def pending(self) -> int:
        """Return how many bytes the system holds that the wire has not carried, as far as the driver tells."""
        ...

    def control(self, line: Control, up: bool) -> None:
        """Raise or lower a control line, at once."""
        ...

    def close(self) -> None:
        """Close it at once, without what it has not carried."""
        ...


def set_control(opened: serial.Serial, line: Control, up: bool) -> None:
    """Raise or lower a control line of an open port. Error: OSError."""
    if line == "rts":
        opened.rts = up
    else:
        opened.dtr = up


class PollingPort:
    """The port where the system has no descriptors for it: it is asked at each tick what has come in.

    pyserial then does not say how much of a write was taken, so nothing is written while it still holds something.
    """

    def __init__(self, opened: serial.Serial) -> None:
        self._opened = opened
        self._held = b""

    def fileno(self) -> None:
        return None

    def write(self, data: bytes) -> int:
        if self.pending():
            return 0
        self._held = data  # the system reads from these bytes until it has sent them
        return self._opened.write(data) or 0

    def read(self) -> bytes:
        return self._opened.read(self._opened.in_waiting)

    def pending(self) -> int:
        return self._opened.out_waiting

    def control(self, line: Control, up: bool) -> None:
        set_control(self._opened, line, up)

    def close(self) -> None:
        with contextlib.suppress(OSError):  # it is gone already
            self._opened.reset_output_buffer()
        self._opened.close()


def names() -> tuple[str, ...]:
    """Return the serial ports of this machine, as `open_port` takes them."""
    return tuple(sorted(port.device for port in list_ports.comports()))


def open_port(path: str, baud: int, low: Sequence[Control] = ()) -> Port:
    """Open a serial port for nobody else: eight bits, no parity, one stop bit, no flow control.

    `low`: control lines that shall be low from the beginning; a driver may raise them for an instant all the same.
    Error: LinkError that says why not: no such port, none at all, in use, not allowed, or without such lines.
    """
    try:
        if _POSIX and not stat.S_ISCHR(os.stat(path).st_mode):
            raise LinkError(f"{path} is no serial port; {_there_are()}")
        opened = _opened(path, baud, low)
    except ValueError as fault:
        raise LinkError(f"the serial port {path} cannot run at {baud} baud ({fault}); give another baud") from fault
    except OSError as fault:  # pyserial's own errors are of this kind
        raise _refusal(path, fault) from fault
    _opened_before.add(path)
    try:
        port = _port(opened)
        for line in low:
            port.control(line, False)
    except OSError as fault:
        opened.close()
        if low and fault.errno in _NO_CONTROLS:
            words = " and ".join(line.upper() for line in low)
            raise LinkError(f"the serial port {path} has no control line {words}; use text:WORDS") from fault
        raise _refusal(path, fault) from fault
    return port


def _opened(path: str, baud: int, low: Sequence[Control]) -> serial.Serial:
    exclusive = True if _POSIX else None
    if not low:
        return serial.Serial(path, baud, timeout=0, write_timeout=0, exclusive=exclusive)
    opened = serial.Serial(None, baud, timeout=0, write_timeout=0, exclusive=exclusive)
    for line in low:
        set_control(opened, line, False)  # as pyserial then opens it
    opened.port = path
    opened.open()
    return opened


def _port(opened: serial.Serial) -> Port:
    if not _POSIX:
        return PollingPort(opened)
    from sequencer.adapters.serial_ports.posix import PosixPort

    return PosixPort(opened)


def _refusal(path: str, fault: OSError) -> LinkError:
    if isinstance(fault, FileNotFoundError) or fault.errno == errno.ENOENT:
        if path in _opened_before:
            return LinkError(f"the serial port {path} is not there any more; plug it in again, and check its power")
        return LinkError(f"there is no serial port {path}; {_there_are()}")
    if fault.errno in _BUSY or (not _POSIX and "PermissionError" in str(fault)):
        return LinkError(f"the serial port {path} is in use by another program; close that one, then open it again")
    if fault.errno in (errno.EACCES, errno.EPERM):
        return LinkError(
            f"this user may not use the serial port {path}; add the user to the group that owns it{_group(path)}, "
            f"and log in again"
        )
    if fault.errno in (None, errno.ENOTTY, errno.EINVAL):
        return LinkError(f"{path} is no serial port; {_there_are()}")
    return LinkError(f"the serial port {path} cannot be opened: {fault.strerror}; check its cable and its power")


def _group(path: str) -> str:
    """Say which group owns the port, and how one joins it, where the system has groups."""
    try:
        import grp

        name = grp.getgrgid(os.stat(path).st_gid).gr_name
    except (ImportError, KeyError, OSError):
        return ""
    return f" (sudo usermod -aG {name} USER; on Debian serial ports are of dialout)"


def _there_are() -> str:
    return f"this machine has {', '.join(names()) or 'none now'}: plug the device in, or name one of these"
