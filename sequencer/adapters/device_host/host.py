"""The host's side of the device protocol over any link: sets go out ahead of time, on the device's own clock.

It decides nothing. What a device must not be trusted with any more (it was reset, its clock jumped, it ran out of sets)
is a LinkError, so that the run stops and stays stopped until the operator resets.
Source: the protocol is our own (docs/device.md).
"""

import time
from collections import deque
from collections.abc import Callable
from math import inf

import numpy as np

from sequencer.adapters.contract import LinkState
from sequencer.adapters.device_host import words
from sequencer.adapters.device_host.answers import Answers
from sequencer.adapters.device_host.manner import Manner
from sequencer.adapters.device_host.questions import Questions
from sequencer.adapters.osc_links.link import PacketLink
from sequencer.errors import LinkError
from sequencer.rig.axis import Rig
from sequencer.rig.signals import TRIGGER_NAMES, Feedback, Setpoint, Trigger
from sequencer.sync.device_clock import DeviceClock, Exchange, Slewed
from sequencer.wire.device import (
    NUMBERS,
    VERSION,
    Able,
    Held,
    RanOut,
    Sets,
    Time,
    after,
    at,
    device_tag,
    hello,
    time_question,
)
from sequencer.wire.osc import command
from sequencer.wire.resend import Unheard

_ASK = command("/rig/ask")
_STOP = command("/stop")
_TRIGGERS = {name: command(f"/camera/{name}") for name in TRIGGER_NAMES}

_SECOND_NS = 1_000_000_000
_PACES = ((5e-4, 10_000_000), (1e-4, 20_000_000))  # between questions about the time, while its error is above
_CALM_NS = 100_000_000
_HELLO_NS, _HELLO_AGAIN_NS = 200_000_000, 1_000_000_000
_PATIENCE = 1.25  # round trips before a set goes out again: half of all take longer than the median
_FIRST_TRIP_S = 0.1
_PACED = 64  # sets by which their pace is judged
_PACE_GAP_NS = 200_000_000  # sets further apart are no pace
_LOW = 0.25  # of what the device should hold
_LOW_NS = 500_000_000
_ODD = 5  # packets in a row that cannot be read, before the operator hears of it


class DeviceOutput:
    """The open link to one device. `withheld` counts sets that were due while the device's clock was not known.

    `number` is that of the next set; another link to the same device begins with one far from it. `now_ns` is this
    machine's clock, by which exchanges are stamped. `boots` has the boot number of each device met before, by its
    place, so that one that was reset while its link was gone is known. Error: ValueError for an axis name that OSC
    cannot carry.
    """

    def __init__(
        self,
        link: PacketLink,
        rig: Rig,
        manner: Manner,
        number: int,
        now_ns: Callable[[], int] = time.monotonic_ns,
        boots: dict[str, int] | None = None,
    ) -> None:
        self.clock = DeviceClock()
        self.unheard = Unheard()
        self.able: Able | None = None
        self.held: Held | None = None
        self.withheld = 0
        self._link, self._rig, self._manner, self._now_ns = link, rig, manner, now_ns
        self._boots = {} if boots is None else boots
        self._sets = Sets(rig.names, manner.form)
        self._answers = Answers(rig.names)
        self._slewed = Slewed()
        self.number = number % NUMBERS
        self._first: int | None = None  # number since the device was told to listen; None: it was not
        self._from_ns: int | None = None
        self._questions = Questions()
        self._hello_ns = -_SECOND_NS
        self._dues: deque[int] = deque(maxlen=_PACED)
        self._due_ns = 0  # of the newest set
        self._hz: float | None = None
        self._low_ns: int | None = None
        self._is_low = self._stands = False

    @property
    def left_aside(self) -> int:
        """How many packets were not understood."""
        return self._answers.left_aside

    @property
    def ready(self) -> bool:
        """Whether the device has said who it is, and its clock is known well enough."""
        return self.able is not None and self.clock.certain(self._now_ns())

    def fileno(self) -> int | None:
        return self._link.fileno()

    def send(self, setpoint: Setpoint) -> None:
        now_ns = self._now_ns()
        if self.able is None or not self.clock.certain(now_ns):
            self.withheld += 1
            return
        self._judge_pace(self.able, setpoint.due_ns)
        due = max(0, self._slewed.device_ns(self.clock, setpoint.due_ns, bool(setpoint.velocity.any())))
        from_tag = None
        if self._from_ns is not None:
            from_tag = device_tag(max(0, min(self.clock.device_ns(self._from_ns), due)))
            self._from_ns = None
        values = setpoint.position.tolist() + setpoint.velocity.tolist()
        number, self.number = self.number, (self.number + 1) % NUMBERS
        packet = self._sets.pack(number, device_tag(due), values, from_tag)
        went = self._link.put(packet)
        if self._first is not None:
            self.unheard.sent(number, packet, setpoint.due_ns, now_ns if went else None)

    def replace(self, from_ns: int) -> None:
        self._from_ns = from_ns if self._from_ns is None else min(from_ns, self._from_ns)
        self.unheard.replace(from_ns)

    def fire(self, trigger: Trigger) -> bool:
        if not self.clock.certain(self._now_ns()):
            return False
        packet = at(_TRIGGERS[trigger.name], device_tag(max(0, self.clock.device_ns(trigger.due_ns))))
        # the device fires one and the same instant once
        return sum(self._link.put_urgent(packet) for _ in range(self._link.times)) > 0

    def ask(self) -> None:
        if self._first is None:
            self._first, self._stands = self.number, False
            self.unheard.clear()
        self._link.put_urgent(_ASK)

    def stop(self) -> None:
        self._first = self._from_ns = None
        self.unheard.clear()
        for _ in range(self._link.times):
            self._link.put_urgent(_STOP, clears=True)

    def here(self, axis: str, value: float) -> None:
        self._link.put_urgent(command(f"/rig/{axis}/here", float(value), form=self._manner.form))

    def look(self, now_ns: int) -> None:
        self._link.go_on()
        # a link that stalls is asked nothing: the questions would only fill what waits
        if self._link.waiting:
            return
        if now_ns - self._hello_ns >= (_HELLO_NS if self.able is None else _HELLO_AGAIN_NS):
            self._hello_ns = now_ns
            self._link.put_urgent(hello())
        if self._questions.since_ns(now_ns) >= self._question_ns(now_ns):
            # before the sending: an instant behind it would make a packet faster than the link
            self._link.put_urgent(time_question(self._questions.ask(self._now_ns())))

    def link(self, now_ns: int) -> LinkState:
        return LinkState(self._questions.round_trip_s(now_ns), self._questions.lost(now_ns))

    def read(self, heard_ns: int) -> tuple[Feedback, ...]:
        self._answers.spoilt(self._link.garbage)
        packets = self._link.packets()
        # behind the reading: an instant before it would make a packet faster than the link
        back_ns = self._now_ns()
        heard = []
        for packet in packets:
            actual = self._answers.actual(packet)
            if actual is None:
                for answer in self._answers.others(packet, heard_ns):
                    self._take(answer, back_ns)
                actual = self._answers.told()
            if actual is not None:
                heard.append(self._feedback(*actual, heard_ns))
        return tuple(heard)

    def trouble(self) -> str:
        where, now_ns = self._link.where, self._now_ns()
        if told := self._link.trouble():
            return told
        if self._answers.odd >= _ODD:
            return words.garbage(where)
        if self.able is None:
            return words.silent(where)
        if not self.clock.certain(now_ns):
            return words.unsure(where)
        if self._stands:
            return words.stands(where)
        if self._is_low and self._hz is not None:
            return words.low(where, self._manner.ahead_s, self._hz, _LOW)
        return words.rough(where, self.clock.error_s(now_ns))

    def _question_ns(self, now_ns: int) -> int:
        """Return how long to wait between two questions about the time: the less is known, the shorter."""
        error_s = inf if self.clock.in_doubt else self.clock.error_s(now_ns)
        pace_ns = next((pace_ns for above_s, pace_ns in _PACES if error_s > above_s), _CALM_NS)
        return max(self._manner.ask_ns, pace_ns)

    def _resend(self) -> None:
        """Send again what the device did not name although it was sent a round trip before it spoke."""
        now_ns = self._now_ns()
        trip_s = self._questions.round_trip_s(now_ns) or _FIRST_TRIP_S
        least_s = min(self.clock.round_trip_s, trip_s)
        for packet in self.unheard.due(now_ns, round(trip_s * 1e9 * _PATIENCE), round(least_s * 5e8)):
            if not self._link.put(packet):
                break

    def _take(self, answer: Able | Time | Held | RanOut, back_ns: int) -> None:
        """Take in what the device says. Error: LinkError where it cannot be trusted any more."""
        match answer:
            case Able():
                self._meet(answer)
            case Time(number, received_ns, answered_ns):
                self._time(number, received_ns, answered_ns, back_ns)
            case Held():
                self.held = answer
                self.unheard.hear(answer)
                self._judge_level(answer.level, back_ns)
                self._resend()
            case RanOut(number) if self._first is not None and after(number, self._first) >= 0:
                self._first, self._stands = None, True
                raise LinkError(words.ran_out(self._link.where))
            case RanOut():
                self._stands = self._first is None

    def _meet(self, able: Able) -> None:
        where = self._link.where
        if able.version != VERSION:
            raise LinkError(words.version(where, able.name, able.version, VERSION))
        if missing := [name for name in self._rig.names if name not in able.axes]:
            raise LinkError(words.axes(where, able.name, missing, able.axes))
        before = self._boots.get(where, able.boot) if self.able is None else self.able.boot
        self._boots[where] = able.boot
        if able.boot != before:
            raise self._astray(words.reset(where, able.name))
        if self.able is None:
            self._answers.name(able.axes)
        self.able = able

    def _time(self, number: int, received_ns: int, answered_ns: int, back_ns: int) -> None:
        sent_ns = self._questions.hear(number, back_ns)
        if sent_ns is None:
            return
        steps = self.clock.steps
        self.clock.feed(Exchange(sent_ns, received_ns, answered_ns, back_ns))
        if self.clock.steps != steps:
            raise self._astray(words.jumped(self._link.where, self.clock.step_s))

    def _astray(self, why: str) -> LinkError:
        """Stop the device, whose sets have no meaning any more, and return the error that says so."""
        self.stop()
        return LinkError(why)

    def _judge_pace(self, able: Able, due_ns: int) -> None:
        """Find out how many sets a second come. Error: LinkError where the device cannot take or hold them."""
        dues, self._due_ns = self._dues, due_ns
        if dues and not 0 < due_ns - dues[-1] <= _PACE_GAP_NS:
            dues.clear()
        dues.append(due_ns)
        if len(dues) < _PACED:
            return
        self._hz = hz = (_PACED - 1) * _SECOND_NS / (dues[-1] - dues[0])
        dues.clear()
        if hz > able.most_hz * 1.02:
            raise LinkError(words.too_fast(self._link.where, able.name, hz, able.most_hz))
        if hz * self._manner.ahead_s > able.room:
            raise LinkError(words.too_far(self._link.where, able.name, hz, self._manner.ahead_s, able.room))

    def _judge_level(self, level: int, now_ns: int) -> None:
        streams = self._hz is not None and self._due_ns >= now_ns
        if not streams or level >= _LOW * self._manner.ahead_s * (self._hz or 0):
            self._low_ns, self._is_low = None, False
        elif self._low_ns is None:
            self._low_ns = now_ns
        elif now_ns - self._low_ns >= _LOW_NS:
            self._is_low = True

    def _feedback(self, at_device_ns: int | None, position: list[float], heard_ns: int) -> Feedback:
        """Place an answer in this machine's time, at its receipt where the device's clock is not known."""
        at_ns = heard_ns
        if at_device_ns is not None and self.clock.certain(heard_ns):
            at_ns = self.clock.here_ns(at_device_ns)
            at_ns = heard_ns if abs(at_ns - heard_ns) > _SECOND_NS else at_ns
        return Feedback(at_ns, np.array(position), heard_ns, self._answers.switches(heard_ns))
