"""What waits to go out on a stream that may take a message in pieces: never half of one, and nothing old.

A message that has begun is finished before any other begins. What has not begun does not wait, since the next setpoint
is newer; only what is urgent does, in its order. It writes nothing and knows no port. Source: none; it is a definition.
"""

MOST_URGENT = 16


class Outgoing:
    """The rest of the message that has begun (`tail`), and the urgent ones that have not."""

    __slots__ = ("_urgent", "tail")

    def __init__(self) -> None:
        self.tail = b""
        self._urgent: list[bytes] = []

    @property
    def waiting(self) -> int:
        """How many bytes wait, those of the message that has begun among them."""
        return len(self.tail) + sum(map(len, self._urgent))

    @property
    def hurried(self) -> bool:
        """Whether something urgent waits that has not begun."""
        return bool(self._urgent)

    def begin(self, message: bytes) -> bool:
        """Make `message` the one that has begun; False where another still waits, which drops this one."""
        if self.tail or self._urgent:
            return False
        self.tail = message
        return True

    def withdraw(self) -> None:
        """Drop the message that has begun: nothing of it went out."""
        self.tail = b""

    def urgent(self, message: bytes, *, clears: bool = False) -> bool:
        """Have `message` go out before any other that has not begun, after what is urgent already.

        The same words twice in a row wait once. `clears`: what is urgent already has lost its sense, as before a stop.
        False: `MOST_URGENT` wait already, and this one is dropped.
        """
        if clears:
            self._urgent = []
        if self._urgent and self._urgent[-1] == message:
            return True
        if len(self._urgent) == MOST_URGENT:
            return False
        self._urgent.append(message)
        return True

    def begin_urgent(self) -> bool:
        """Make the first urgent message the one that has begun; False where none may."""
        if self.tail or not self._urgent:
            return False
        self.tail = self._urgent.pop(0)
        return True

    def taken(self, count: int) -> None:
        """Forget the first `count` bytes of the message that has begun: they went out."""
        self.tail = self.tail[count:]
