"""What words of linear timecode tell, whatever their rate. It follows no master for a rig: that is the chase's.

Source: SMPTE ST 12-1; a word does not tell its rate, only whether labels are dropped.
"""

from sequencer.sync.facts import Fact, Facts, rate_words, told_time
from sequencer.sync.line import Line
from sequencer.sync.tracks import pace, speed_sd
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting
from sequencer.wire.ltc import Heard, unpacked
from sequencer.wire.ltc_word import NOMINALS, Word, decode, fault

_PAUSE_S = 0.25  # without a word for longer than this it has stopped


class LtcEar:
    """Hears words of linear timecode. They do not tell their rate: the frames of a second are counted."""

    def __init__(self) -> None:
        self._line = Line(1 / 25)
        self._tick = 0
        self._begin_s = 0.0
        self._count = 0
        self._stamp_ns = 0
        self._last: Heard | None = None
        self._word = Word(0, 0, 0, 0)
        self._most = 0  # frames of a second, as far as they have been counted
        self._wrong = Facts()

    def feed(self, stamp_ns: int, data: bytes) -> None:
        heard = unpacked(data).heard
        if heard.marks[0] == heard.marks[-1]:
            self._wrong.add("LTC", "a word that takes no time", stamp_ns, wrong=True)
            return
        word = decode(heard.bits)
        self._count += 1
        at_s = (stamp_ns + heard.marks[0]) / 1e9
        before_s = self._begin_s
        before = self._last
        if before is None or before.backward != heard.backward or at_s - before_s > _PAUSE_S:
            length_s = abs(heard.marks[-1] - heard.marks[0]) / 1e9
            self._line, self._tick, self._most = Line(length_s), 0, 0
            self._line.feed(0, at_s)
        elif (ticks := round((at_s - before_s) / self._line.speed)) > 0:
            self._tick += ticks
            self._line.feed(self._tick, at_s)
            first, last = (word, self._word) if not heard.backward else (self._word, word)
            if ticks == 1 and first.seconds != last.seconds:
                self._most = last.frames + 1
        self._begin_s, self._last, self._word, self._stamp_ns = at_s, heard, word, stamp_ns
        counting = self._counting
        wrong = fault(heard.bits, counting.rate.nominal if counting else 30)
        if wrong:
            self._wrong.add("LTC label", wrong, stamp_ns, wrong=True)

    @property
    def _counting(self) -> Counting | None:
        """How frames are counted: as the drop flag or a whole second told; None until then."""
        if self._word.drop:
            return Counting(Rate(30000, 1001), drop=True)
        return Counting(Rate(self._most)) if self._most in NOMINALS else None

    def facts(self, now_ns: int) -> tuple[Fact, ...]:
        if self._last is None:
            return self._wrong.all()
        words, values = self._told(now_ns - self._stamp_ns > _PAUSE_S * 1e9)
        if any(self._word.user):
            groups = "".join(f"{four:X}" for four in reversed(self._word.user))
            words, values = f"{words}, user bits {groups}", {**values, "user_bits": groups}
        fact = Fact(what="LTC", words=words, count=self._count, at_ns=self._stamp_ns, values=values)
        return (fact, *self._wrong.all())

    def _told(self, stopped: bool) -> tuple[str, dict[str, str | float | None]]:
        counting, fit, at = self._counting, self._line.fit, str(self._word)
        assert self._last is not None
        assert fit is not None
        way = -1 if self._last.backward else 1
        if counting is None:
            rate = f"about {1 / fit.v_s:.0f} frames a second{', backward' if way < 0 else ''}"
            return f"{rate}, {'stopped at ' if stopped else ''}{at}", {"timecode": at}
        frame_s = float(counting.rate.seconds(1))
        speed = way * frame_s / fit.v_s
        told = pace(counting.rate, counting.drop, speed, speed_sd(self._line), self._line.sigma_s)
        if stopped:
            return f"{rate_words(counting, told)}, stopped at {at}", {"timecode": at}
        return told_time(at, counting, told)
