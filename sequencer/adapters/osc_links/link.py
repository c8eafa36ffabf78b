"""What carries whole OSC packets to a rig and back, whatever is under it."""

from typing import Protocol


class PacketLink(Protocol):
    """An open link. No method waits. Error: LinkError from any method once it is gone.

    `where` is the other end in words. `times` is how often a stop goes out: more than once where a link may lose it.
    """

    where: str
    times: int

    @property
    def dropped(self) -> int:
        """How many setpoint sets had no room."""
        ...

    @property
    def garbage(self) -> int:
        """How many pieces that came in were no packets."""
        ...

    @property
    def waiting(self) -> int:
        """How many bytes wait here to go out."""
        ...

    def fileno(self) -> int | None:
        """Return the descriptor that becomes readable when something has come in, or None where there is none."""
        ...

    def put(self, packet: bytes) -> bool:
        """Send a packet of which a newer one comes soon; False where it is dropped for want of room."""
        ...

    def put_urgent(self, packet: bytes, *, clears: bool = False) -> bool:
        """Send a packet before any that has not begun; where it must wait, it waits, up to a number.

        `clears`: what is urgent and waits has lost its sense, as before a stop. False: it is dropped.
        """
        ...

    def packets(self) -> list[bytes]:
        """Return what has come in since the last call, whole packets, at most so many that the tick goes on soon."""
        ...

    def go_on(self) -> None:
        """Send more of what waits; call it at each tick."""
        ...

    def trouble(self) -> str:
        """Return in plain words what is wrong although the link is not gone, with the mend; empty for nothing."""
        ...
