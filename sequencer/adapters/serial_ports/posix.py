"""An open serial port as a descriptor that never waits, where the system has such.

pyserial's own `write` is not used here: without waiting it tries again and again for as long as the port is full.
Source: POSIX.1-2017, chapter 11 (non-canonical input, MIN and TIME; a terminal that is hung up), `read` and `write`.
"""

import errno
import fcntl
import os
import struct
import termios

import serial

from sequencer.adapters.serial_ports.ports import Control, set_control

_PER_READ = 4096


class PosixPort:
    """The port, from here on its only reader and writer. Error: OSError once it is gone."""

    def __init__(self, opened: serial.Serial) -> None:
        self._opened = opened
        self._fd: int | None = opened.fileno()
        os.set_blocking(self._fd, False)
        settings = termios.tcgetattr(self._fd)
        # with MIN 1 an empty read is a port that is gone, and nothing to read an error that says so
        settings[6][termios.VMIN], settings[6][termios.VTIME] = 1, 0
        termios.tcsetattr(self._fd, termios.TCSANOW, settings)
        # nobody else may open it from now on; pyserial's own lock holds against its own kind only
        fcntl.ioctl(self._fd, termios.TIOCEXCL)

    def fileno(self) -> int | None:
        return self._there()

    def write(self, data: bytes) -> int:
        """Return how many bytes of `data` the system has taken, 0 where it has no room."""
        try:
            return os.write(self._there(), data)
        except BlockingIOError:
            return 0

    def read(self) -> bytes:
        """Return what has come in, at most so much that the caller goes on soon."""
        try:
            read = os.read(self._there(), _PER_READ)
        except BlockingIOError:
            return b""
        if not read:
            raise OSError(errno.EIO, "the other end is gone")
        return read

    def pending(self) -> int:
        """Return how many bytes the system holds that the wire has not carried, as far as the driver tells."""
        held = fcntl.ioctl(self._there(), termios.TIOCOUTQ, b"\0\0\0\0")
        return int(struct.unpack("i", held)[0])

    def control(self, line: Control, up: bool) -> None:
        """Raise or lower a control line, at once."""
        self._there()
        set_control(self._opened, line, up)

    def close(self) -> None:
        """Close it and forget what it has not carried: the system would wait for a peer that stalls."""
        if self._fd is None:
            return
        fd, self._fd = self._fd, None
        try:
            termios.tcflush(fd, termios.TCOFLUSH)
            fcntl.ioctl(fd, termios.TIOCNXCL)
        except (OSError, termios.error):
            pass  # it is gone already
        self._opened.close()

    def _there(self) -> int:
        if self._fd is None:
            raise OSError(errno.EBADF, "it is closed")
        return self._fd
