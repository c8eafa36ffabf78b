"""Where a port of ours listens, and who may speak to it: what the operator writes, and what this machine has for it.

At `SCHEME:PORT` this machine alone is heard. At `SCHEME:INTERFACE:PORT?from=ADDRESS[,ADDRESS...]` others are: by one
interface (its name, or one of its addresses), from the addresses or networks that are named, and from nobody else.
It opens nothing and asks the machine for nothing.
Source: RFC 1918 and RFC 4193 for the widest networks of one's own; RFC 4291 for link-local addresses.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from ipaddress import IPv4Address, IPv4Network, IPv6Address, IPv6Network, ip_address, ip_network

from sequencer.errors import LinkError

Address = IPv4Address | IPv6Address
Network = IPv4Network | IPv6Network
Cards = Mapping[str, tuple[Address, ...]]

_HERE = ip_address("127.0.0.1")
_LINK = IPv6Network("fe80::/10")
_WIDEST = {4: 8, 6: 7}
_REMEMBERED = 256


@dataclass(frozen=True, slots=True)
class Wanted:
    """What an address asks for. `place` as it is written, empty for this machine; `speakers` who may speak there."""

    text: str
    scheme: str
    place: str
    port: int
    speakers: tuple[Network, ...]

    @property
    def fixed(self) -> Address | None:
        """The address that `place` is, without brackets and scope; None where it is a name."""
        inner = self.place[1:-1] if self.place.startswith("[") and self.place.endswith("]") else self.place
        try:
            found = ip_address(inner.partition("%")[0])
        except ValueError:
            return None
        return found if (found.version == 6) == (inner is not self.place) else None

    @property
    def scope(self) -> str:
        """The interface that a link-local address is written with, or nothing."""
        return self.place.rstrip("]").partition("%")[2]

    @property
    def is_here(self) -> bool:
        """Whether it is this machine by its mere words."""
        fixed = self.fixed
        return self.place in ("", "localhost") or (fixed is not None and fixed.is_loopback)


@dataclass(frozen=True, slots=True)
class Door:
    """Where to bind: an address, and the interface that has it. No speakers: this machine, of which everybody may.

    `address` is how the operator writes it, but for the port, which the system may choose.
    """

    wanted: Wanted
    host: Address = _HERE
    card: str = ""

    def address(self, port: int) -> str:
        """Return how it is written, with the port that it has."""
        place = f"{self.wanted.place}:" if self.wanted.place else ""
        return f"{self.wanted.scheme}:{place}{port}{_from(self.wanted.speakers)}"


class Speakers:
    """Who may speak. It remembers what it found of senders, so that a flood of one costs little."""

    def __init__(self, networks: tuple[Network, ...]) -> None:
        self._networks = networks
        self.may = lru_cache(maxsize=_REMEMBERED)(self._may)

    def _may(self, sender: str) -> bool:
        """Whether what comes from this IP address may be heard."""
        try:
            address = ip_address(sender.partition("%")[0])
        except ValueError:
            return False
        return any(address in network for network in self._networks)


def read(text: str) -> Wanted:
    """Read an address as it is written. Error: LinkError that says how to write it."""
    scheme, _, rest = text.partition(":")
    where, asks, query = rest.partition("?")
    place, colon, port = where.rpartition(":")
    bracketed = place[:1] == "["
    odd = (colon and not place) or "/" in place or bracketed != (place[-1:] == "]")
    odd = odd or (not bracketed and place.count(":") > 1)  # nobody could tell its port from the address
    if odd or not (port.isascii() and port.isdigit() and len(port) <= 5 and int(port) < 65_536):
        raise LinkError(f"{text!r} is no port to listen at; {_usage(scheme)}")
    name, _, listed = query.partition("=")
    if asks and name != "from":
        raise LinkError(f"{text!r} has an option other than from=; {_usage(scheme)}")
    speakers = tuple(_speaker(text, one.strip()) for one in listed.split(",")) if asks else ()
    wanted = Wanted(text, scheme, place, int(port), speakers)
    if asks and wanted.is_here:
        raise _needless(wanted)
    return wanted


def placed(wanted: Wanted, cards: Cards) -> Door:
    """Return where that is on a machine with these interfaces. Error: LinkError with the mend."""
    if wanted.is_here:
        return Door(wanted, wanted.fixed or _HERE)
    fixed = wanted.fixed
    if fixed is not None and fixed.is_unspecified:
        mend = f"name one, and who may speak: {example(wanted.scheme, wanted.port)}"
        raise LinkError(f"{wanted.text!r} would listen to every network; {mend}. {_there(cards)}")
    names = [wanted.place] if fixed is None else [name for name, has in cards.items() if fixed in has]
    if wanted.scope:
        names = [name for name in names if name == wanted.scope]
    if not names or names[0] not in cards:
        what = "no network interface" if fixed is None else "no address"
        raise LinkError(f"{wanted.text!r}: that is {what} of this machine. {_there(cards)}")
    if len(names) > 1:
        raise LinkError(f"{wanted.text!r}: {' and '.join(names)} both have it; write [{fixed}%{names[0]}]")
    name = names[0]
    if fixed is None and cards[name] and all(one.is_loopback for one in cards[name]):
        if wanted.speakers:
            raise _needless(wanted)
        return Door(wanted)
    if not wanted.speakers:
        mend = f"{wanted.scheme}:{wanted.place}:{wanted.port}?from=ADDRESS[,ADDRESS...]"
        raise LinkError(f"{wanted.text!r} would hear other machines; say which ones may speak: {mend}")
    return Door(wanted, _host(wanted, cards[name] if fixed is None else (fixed,), name), name)


def example(scheme: str, port: int, place: str = "INTERFACE") -> str:
    """Return how an address is written at which other machines are heard."""
    return f"{scheme}:{place}:{port}?from=ADDRESS"


def others(cards: Cards) -> dict[str, tuple[Address, ...]]:
    """Return the interfaces by which other machines are reached, with the addresses that they have there."""
    found = {name: tuple(one for one in has if not one.is_loopback) for name, has in cards.items()}
    return {name: has for name, has in found.items() if has}


def _host(wanted: Wanted, has: tuple[Address, ...], card: str) -> Address:
    """Return the one address to bind: of the kind that those have who may speak."""
    versions = {one.version for one in wanted.speakers}
    near = {isinstance(one, IPv6Network) and one.subnet_of(_LINK) for one in wanted.speakers}
    if len(versions) > 1 or len(near) > 1:
        raise LinkError(
            f"{wanted.text!r} names addresses of two kinds (IPv4, IPv6, link-local IPv6), and one port hears one kind; "
            f"give one for each"
        )
    fitting = [one for one in has if one.version in versions and (one.version == 4 or (one in _LINK) in near)]
    kind = "link-local IPv6" if True in near else f"IPv{versions.pop()}"
    if not fitting and wanted.fixed is not None:
        raise LinkError(
            f"{wanted.text!r}: {wanted.place} is another kind of address than {kind}, which those have who may speak; "
            f"name an address of {card} that is like theirs, or correct from="
        )
    if not fitting:
        raise LinkError(
            f"{wanted.text!r}: {card} has no {kind} address as those have who may speak; it has "
            f"{', '.join(map(str, has)) or 'none'}. Connect it, or correct from="
        )
    if len(fitting) > 1:
        several = ", ".join(_bracketed(one, card) for one in fitting)
        raise LinkError(f"{wanted.text!r}: {card} has several such addresses; name one in its place: {several}")
    return fitting[0]


def _speaker(text: str, said: str) -> Network:
    """Read one address or network that may speak."""
    if not said:
        raise LinkError(f"{text!r} names nobody after from=; write the address of the machine that may speak")
    if "%" in said:
        plain = said.partition("%")[0]
        raise LinkError(f"{text!r}: {said} is written with an interface; that stands before the port, so write {plain}")
    try:
        network = ip_network(said, strict=False)
    except ValueError as fault:
        raise LinkError(
            f"{text!r}: {said!r} after from= is no IP address and no network; write 192.168.4.20 for one machine, "
            f"192.168.4.0/24 for a network"
        ) from fault
    if network.prefixlen < _WIDEST[network.version]:
        raise LinkError(f"{text!r}: {said} is nearly everybody; name the machines that may speak")
    if network.is_loopback:
        here = "of this machine every program is heard without from=, at a port of its own"
        raise LinkError(f"{text!r}: {said} is this machine; {here}: {text.partition(':')[0]}:PORT")
    machine = said.partition("/")[0]
    if str(network.network_address) != str(ip_address(machine)):
        raise LinkError(f"{text!r}: {said} is two things; write {network} for that network, {machine} for that machine")
    if network.is_multicast or network.is_unspecified:
        raise LinkError(f"{text!r}: no machine sends from {said}; name the machines that may speak")
    return network


def _needless(wanted: Wanted) -> LinkError:
    return LinkError(
        f"{wanted.text!r} listens to this machine only, and all of it may speak; leave from= out, or name the "
        f"interface by which others come: {example(wanted.scheme, wanted.port)}"
    )


def _usage(scheme: str) -> str:
    return f"write {scheme}:9001 for this machine, or {example(scheme, 9001)} to hear another one too"


def _there(cards: Cards) -> str:
    reached = others(cards)
    listed = "; ".join(f"{name} ({', '.join(map(str, has))})" for name, has in reached.items())
    return f"Its interfaces: {listed}" if listed else "It has no network now"


def _from(speakers: tuple[Network, ...]) -> str:
    if not speakers:
        return ""
    said = (str(one.network_address) if one.num_addresses == 1 else str(one) for one in speakers)
    return f"?from={','.join(said)}"


def _bracketed(one: Address, card: str) -> str:
    zone = f"%{card}" if one.is_link_local else ""
    return f"[{one}{zone}]" if one.version == 6 else str(one)
