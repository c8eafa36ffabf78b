"""A MIDI byte stream as whole messages, however it is split and spoilt.

It does not look into the messages.
Source: MIDI 1.0 Detailed Specification: running status, and what ends it; system exclusive between F0 and F7; real-time
messages, F8 to FF, each of one byte that may stand inside any other message.
"""

from collections.abc import Iterator

from mido.tokenizer import Tokenizer

_SYSTEM = 0xF0
_UNDEFINED = (0xF4, 0xF5)  # they end whatever was begun, where the tokenizer reads on
REAL_TIME = 0xF8  # and above
_REAL_TIME_BYTES = bytes(range(REAL_TIME, 0x100))
_LONGEST = 4096  # bytes of an unfinished message, far beyond any that is read here


class Messages:
    """Takes a stream apart, real-time messages left out unless they are asked for.

    `garbage` counts the bytes that belong to no whole message, `unfinished` those that may still come to be one.
    """

    def __init__(self, *, real_time: bool = False) -> None:
        self._left_out = b"" if real_time else _REAL_TIME_BYTES
        self._tokens = Tokenizer()
        self.unfinished = 0
        self.garbage = 0

    def feed(self, data: bytes) -> Iterator[bytes]:
        """Yield the messages that `data` completes, each with its status byte."""
        for byte in data.translate(None, self._left_out):
            if byte >= REAL_TIME:
                yield bytes((byte,))
                continue
            if byte in _UNDEFINED or self.unfinished == _LONGEST:
                self.garbage += self.unfinished
                self._tokens, self.unfinished = Tokenizer(), 0
            self._tokens.feed_byte(byte)
            self.unfinished += 1
            for message in self._tokens:
                self.garbage += max(0, self.unfinished - len(message))
                self.unfinished = 0
                if message[0] < _SYSTEM:
                    self._tokens.feed_byte(message[0])  # running status: the next of its kind may leave it out
                yield bytes(message)
