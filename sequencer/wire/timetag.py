"""Instants of the monotonic clock as OSC timetags, and back; it reads no clock: the offset to the wall clock is given.

Source: OSC 1.0, "OSC Time Tags": 64 bits, seconds since 1900-01-01 00:00 UTC and the fraction of a second in 32 bits
each, the value 1 meaning at once; the same as the NTP timestamp of RFC 5905, section 6, whose eras last 2^32 s.
"""

from dataclasses import dataclass

IMMEDIATELY = 1
UNIX_EPOCH_S = 2_208_988_800
"""Seconds from 1900-01-01 to 1970-01-01. Source: RFC 5905, figure 4."""

_ERA = 1 << 64
_SECOND_NS = 1_000_000_000
# A disciplined clock is slewed by at most 500 parts in a million (RFC 5905, section 11.3); what is more is a step.
_SLEW = 500e-6
_READING_NS = 200_000


def timetag(at_ns: int, offset_ns: int) -> int:
    """Return the timetag of the monotonic instant `at_ns`, where `offset_ns` makes it wall-clock time since 1970.

    Error: below the tag's step of 0.23 ns, so that `instant` gives `at_ns` back exactly.
    """
    since_1900_ns = at_ns + offset_ns + UNIX_EPOCH_S * _SECOND_NS
    return (since_1900_ns << 32) // _SECOND_NS % _ERA


def instant(tag: int, offset_ns: int, near_ns: int) -> int:
    """Return the monotonic instant of `tag`, in the era that brings it nearest to `near_ns`; at once is `near_ns`."""
    if tag == IMMEDIATELY:
        return near_ns
    apart = (tag - timetag(near_ns, offset_ns) + _ERA // 2) % _ERA - _ERA // 2
    return near_ns + (apart * _SECOND_NS + (1 << 31) >> 32)


@dataclass(frozen=True, slots=True)
class WallOffset:
    """What makes monotonic time wall-clock time (`offset_ns`), as last measured at `at_ns`.

    A step of the wall clock while a rig is connected would throw every timetag by as much, and the rig with it. So
    `offset_ns` follows the drift of the clock but not its steps: timetags run on as they began, and `stepped_ns` says
    by how much they now differ from the wall clock. Opening the link anew takes the new time over.
    """

    at_ns: int
    offset_ns: int
    stepped_ns: int = 0

    def follow(self, at_ns: int, measured_ns: int) -> "WallOffset":
        """Return the offset after a new measurement `measured_ns` at `at_ns`."""
        change_ns = measured_ns - (self.offset_ns + self.stepped_ns)
        drift = abs(change_ns) <= _READING_NS + _SLEW * (at_ns - self.at_ns)
        if drift:
            return WallOffset(at_ns, self.offset_ns + change_ns, self.stepped_ns)
        return WallOffset(at_ns, self.offset_ns, self.stepped_ns + change_ns)
