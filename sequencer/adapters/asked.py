"""Reads the address of an output: `SCHEME://HOST:PORT/PATH?option=value` or `SCHEME:PORT NAME?option=value`.

Every fault is a LinkError that names the address, the part that is wrong and what may stand there.
"""

import math
from collections.abc import Sequence
from urllib.parse import parse_qsl, unquote

from sequencer.errors import LinkError


class Asked:
    """An address taken apart; each option is asked for once, and `done` refuses those that nobody asked for.

    `place` is what stands between the scheme and the options, without the two slashes of a network address; `network`
    says whether they were there. Error: LinkError where the options cannot be told apart.
    """

    def __init__(self, text: str, example: str) -> None:
        self.text, self._example = text, example
        self.scheme, _, rest = text.partition(":")
        place, _, query = rest.partition("?")
        self.network = place.startswith("//")
        self.place = unquote(place.removeprefix("//"))
        try:
            pairs = parse_qsl(query, keep_blank_values=True, strict_parsing=bool(query))
        except ValueError as fault:
            raise self.fault(f"has options that cannot be told apart ({fault})") from fault
        self._options = dict(pairs)
        self._known: list[str] = []
        if len(self._options) < len(pairs):
            raise self.fault("has an option twice")

    def fault(self, what: str) -> LinkError:
        """Return the error for an address with which `what`, and how such a one is written."""
        return LinkError(f"{self.text!r} {what}; write it as {self._example}")

    def host_port(self) -> tuple[str, int]:
        """Return the host and port of a network address."""
        host, colon, port = self.place.rstrip("/").rpartition(":")
        host = host.removeprefix("[").removesuffix("]")
        if not (self.network and colon and host and port.isascii() and port.isdigit() and 0 < int(port) < 65_536):
            raise self.fault("names no host and port")
        return host, int(port)

    def option(self, name: str, default: str = "") -> str:
        """Return what the option says, or `default` where it is not there."""
        self._known.append(name)
        return self._options.pop(name, default)

    def one_of(self, name: str, among: Sequence[str]) -> str:
        """Return one of the words, the first where the option is not there."""
        said = self.option(name, among[0])
        if said not in among:
            raise self.fault(f"says {name}={said}; it must be one of {', '.join(among)}")
        return said

    def number(self, name: str, default: float, least: float, most: float) -> float:
        """Return a number from `least` to `most`."""
        said = self.option(name)
        try:
            value = float(said) if said else default
        except ValueError:
            value = math.nan
        if said and not least <= value <= most:
            raise self.fault(f"says {name}={said}; it must be a number from {least:g} to {most:g}")
        return value

    def whole(self, name: str, default: int, least: int, most: int) -> int:
        """Return a whole number from `least` to `most`."""
        value = self.number(name, default, least, most)
        if value != int(value):
            raise self.fault(f"says {name}={value:g}; it must be a whole number")
        return int(value)

    def done(self) -> None:
        """Refuse what is left: an option that this kind of output has not."""
        if self._options:
            there = ", ".join(sorted(set(self._known))) or "none"
            raise self.fault(f"has the option {next(iter(self._options))}; there are {there}")
