"""Runs under MicroPython in place of a board's own module: a UART whose far end is a pair of files, and a watchdog."""

import sys


class WDT:
    def __init__(self, timeout: int) -> None:
        self.timeout = timeout

    def feed(self) -> None:
        pass


class UART:
    def __init__(self, number: int, baudrate: int, rxbuf: int, txbuf: int, timeout: int) -> None:
        assert timeout == 0, "reading must not wait"

    def read(self) -> bytes | None:
        """Return a line of hex from standard input as bytes; the program ends with its input."""
        line = sys.stdin.readline()
        if not line:
            sys.exit()
        return bytes.fromhex(line.strip()) or None

    def write(self, data: bytes) -> int:
        """Take eight bytes at most, as a port that is nearly full."""
        print(data[:8].hex())
        return len(data[:8])
