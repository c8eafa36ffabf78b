"""Packets in a stream of bytes: SLIP frames, written with END before and after, and read however spoilt they are.

It does not look into the packets. A frame with a broken escape is left aside, not patched up as RFC 1055 suggests for
want of better: its numbers would move a rig. What comes before the first END is the end of something older, likewise.
Source: RFC 1055 (END 192, ESC 219, ESC END as 219 220, ESC ESC as 219 221; empty packets are dropped); OSC 1.1
(opensoundcontrol.org), which asks for SLIP with END at both ends on streams.
"""

END = b"\xc0"
_ESC = b"\xdb"
_ESC_END = b"\xdb\xdc"
_ESC_ESC = b"\xdb\xdd"
LARGEST = 16_384
"""Bytes of the largest packet that is read: no rig has reason to send more."""


def frame(packet: bytes) -> bytes:
    """Return the packet as it goes into the stream."""
    return END + packet.replace(_ESC, _ESC_ESC).replace(END, _ESC_END) + END


def longest(packet: bytes, open_bytes: int) -> int:
    """Return how long the frame of a packet like this can get, where `open_bytes` of it may take any value.

    In `packet` they must be such as need no escape.
    """
    return len(frame(packet)) + open_bytes


class Frames:
    """Takes a stream apart. `garbage` counts the frames that were left aside: broken escapes, too long, none at all."""

    __slots__ = ("_largest", "_part", "_skips", "garbage")

    def __init__(self, largest: int = LARGEST) -> None:
        self._largest = largest
        self._part = b""
        self._skips = True
        self.garbage = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Return the packets that `data` completes."""
        first, *others = data.split(END)
        self._add(first)
        if not others:
            return []
        frames, self._part = [self._part, *others[:-1]], b""
        if self._skips:
            self.garbage += bool(frames[0])
            frames[0], self._skips = b"", False
        self._add(others[-1])
        return [packet for packet in map(self._packet, frames) if packet]

    def _add(self, data: bytes) -> None:
        """Keep the beginning of a frame, within bounds: an escape takes two bytes, so a frame has twice a packet's."""
        if self._skips:
            self._part = self._part or data[:1]  # enough to know later that something was skipped
        elif len(self._part) + len(data) > 2 * self._largest:
            self._part, self._skips = b"\0", True
        else:
            self._part += data

    def _packet(self, frame: bytes) -> bytes:
        """Return the packet of a frame; empty where it is none, or an empty one."""
        if _ESC in frame:
            if frame.count(_ESC) != frame.count(_ESC_END) + frame.count(_ESC_ESC):
                self.garbage += 1
                return b""
            frame = frame.replace(_ESC_END, END).replace(_ESC_ESC, _ESC)
        if len(frame) > self._largest:
            self.garbage += 1
            return b""
        return frame
