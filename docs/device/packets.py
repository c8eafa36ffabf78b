"""OSC packets and SLIP frames, written and read; no machine is touched here.

Source: OSC 1.0 specification (opensoundcontrol.org): text padded to four bytes, big-endian numbers, bundles of sized
elements, timetags; SLIP is RFC 1055, with END before and after each packet as OSC 1.1 asks.
A timetag holds device time: nanoseconds since this device began to run, as seconds and a fraction of 32 bits each.
"""

import struct

LARGEST = 2048
DEEPEST = 4
IMMEDIATELY = 1
SECOND = 1_000_000_000

_BUNDLE = b"#bundle\0"
_END = b"\xc0"
_ESC = b"\xdb"
_ESC_END = b"\xdb\xdc"
_ESC_ESC = b"\xdb\xdd"
_SIZES = {"i": 4, "f": 4, "t": 8, "h": 8, "d": 8}
_READ = {"i": ">i", "f": ">f", "t": ">Q", "h": ">q", "d": ">d"}


def to_tag(ns):
    """Return device time as a timetag, down to its step of 0.23 ns."""
    return ((ns // SECOND) << 32) | (((ns % SECOND) << 32) // SECOND)


def from_tag(tag):
    """Return the device time of a timetag in nanoseconds: what `to_tag` was given, exactly."""
    return (tag >> 32) * SECOND + (((tag & 0xFFFFFFFF) * SECOND + 0x80000000) >> 32)


def text(words):
    """Return text as OSC has it: with at least one zero byte, to a multiple of four."""
    coded = words.encode()
    return coded + b"\0" * (4 - len(coded) % 4)


def message(address, types="", *values):
    """Return one message; `types` has a letter for each value: i, f, t, h or s."""
    parts = [text(address), text("," + types)]
    for kind, value in zip(types, values):  # noqa: B905  # MicroPython's zip knows no `strict`
        parts.append(text(value) if kind == "s" else struct.pack(_READ[kind], value))
    return b"".join(parts)


def bundle(tag, messages):
    """Return one bundle of messages."""
    parts = [_BUNDLE, struct.pack(">Q", tag)]
    for one in messages:
        parts.append(struct.pack(">I", len(one)))
        parts.append(one)
    return b"".join(parts)


def split(packet, tag=IMMEDIATELY, depth=0):
    """Return the messages of a packet in their order, unread, each with the timetag of its bundle.

    Error: ValueError for what is no OSC packet, or too large or too deep for this device.
    """
    if not packet.startswith(_BUNDLE):
        if len(packet) % 4 or not packet.startswith(b"/"):
            raise ValueError("not OSC")
        return [(tag, packet)]
    if len(packet) < 16 or len(packet) > LARGEST or depth == DEEPEST:
        raise ValueError("a bundle cut short, too large or too deep")
    (tag,) = struct.unpack_from(">Q", packet, 8)
    found = []
    at = 16
    while at < len(packet):
        if at + 4 > len(packet):
            raise ValueError("cut short")
        (size,) = struct.unpack_from(">I", packet, at)
        at += 4
        if size % 4 or size == 0 or at + size > len(packet):
            raise ValueError("an element of a wrong size")
        element = packet[at : at + size]
        if element[0] == 0x23:
            found += split(element, tag, depth + 1)
        else:
            found.append((tag, element))
        at += size
    return found


def read(one):
    """Return the address and the arguments of one message. Error: ValueError."""
    end = one.find(b"\0")
    comma = (end | 3) + 1
    if not one.startswith(b"/") or end < 0:
        raise ValueError("no address")
    if comma >= len(one):
        return one[:end], ()
    stop = one.find(b"\0", comma)
    if stop < 0 or one[comma] != 0x2C:
        raise ValueError("no types")
    values = []
    at = (stop | 3) + 1
    for letter in one[comma + 1 : stop]:
        kind = chr(letter)
        if kind == "s":
            last = one.find(b"\0", at)
            if last < 0:
                raise ValueError("text without an end")
            values.append(one[at:last])
            at = (last | 3) + 1
        elif kind in _READ:
            if at + _SIZES[kind] > len(one):
                raise ValueError("cut short")
            values.append(struct.unpack_from(_READ[kind], one, at)[0])
            at += _SIZES[kind]
        else:
            raise ValueError("a type that this device does not read")
    return one[:end], values


def framed(packet):
    """Return the packet as one SLIP frame."""
    return _END + packet.replace(_ESC, _ESC_ESC).replace(_END, _ESC_END) + _END


class Frames:
    """Takes the packets out of a stream of SLIP frames; `bad` counts frames that were left aside."""

    def __init__(self):
        self.bad = 0
        self._rest = b""
        self._skips = False

    def feed(self, data):
        """Return the packets that are whole after these bytes."""
        pieces = (self._rest + data).split(_END)
        self._rest = pieces.pop()
        packets = []
        for piece in pieces:
            if self._skips:
                self._skips = False
            elif piece:
                if piece.count(_ESC) != piece.count(_ESC_END) + piece.count(_ESC_ESC):
                    self.bad += 1
                else:
                    packets.append(piece.replace(_ESC_END, _END).replace(_ESC_ESC, _ESC))
        if len(self._rest) > 2 * LARGEST:
            # no END for so long: the rest of this frame is left aside
            self.bad += not self._skips
            self._rest, self._skips = b"", True
        return packets
