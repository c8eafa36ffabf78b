"""The questions about a device's time that are on their way, and what their coming back says of the link."""

from collections import deque
from dataclasses import dataclass
from statistics import median

from sequencer.wire.device import NUMBERS
from sequencer.wire.echo import LATE_NS, LOSS_NS, ROUND_TRIP_NS


@dataclass(slots=True)
class _Question:
    number: int
    sent_ns: int
    back_ns: int | None = None


class Questions:
    """The questions of the last few seconds. One that is answered twice, or was never asked, says nothing."""

    def __init__(self) -> None:
        self._asked: deque[_Question] = deque()
        self._number = -1
        self._heard = False

    def since_ns(self, now_ns: int) -> int:
        """Return how long ago the last one was asked."""
        return now_ns - self._asked[-1].sent_ns if self._asked else LOSS_NS

    def ask(self, now_ns: int) -> int:
        """Return the number of a question that is sent now."""
        while self._asked and now_ns - self._asked[0].sent_ns > LOSS_NS + LATE_NS:
            self._asked.popleft()
        self._number = (self._number + 1) % NUMBERS
        self._asked.append(_Question(self._number, now_ns))
        return self._number

    def hear(self, number: int, now_ns: int) -> int | None:
        """Return when the question was sent that is answered now; None for one that is not waited for."""
        if not self._asked:
            return None
        place = (number - self._asked[0].number) % NUMBERS
        if place >= len(self._asked) or self._asked[place].back_ns is not None:
            return None
        asked = self._asked[place]
        asked.back_ns, self._heard = now_ns, True
        return asked.sent_ns

    def round_trip_s(self, now_ns: int) -> float | None:
        """Return the median of what came back in the last second, None where nothing did."""
        took_ns = [
            one.back_ns - one.sent_ns
            for one in self._asked
            if one.back_ns is not None and now_ns - one.back_ns <= ROUND_TRIP_NS
        ]
        return median(took_ns) * 1e-9 if took_ns else None

    def lost(self, now_ns: int) -> float | None:
        """Return the part of four seconds' questions that did not come back within half a second or later.

        None where none ever came back, or before the first is half a second old.
        """
        judged = [one.back_ns for one in self._asked if LATE_NS <= now_ns - one.sent_ns <= LOSS_NS + LATE_NS]
        return judged.count(None) / len(judged) if self._heard and judged else None
