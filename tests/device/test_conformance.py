"""The trials of a device in simulated time: two that were written apart pass them, each fault fails its own clause."""

import math
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from sequencer.errors import PeerError
from sequencer.project.store import load_rig
from sequencer.shell.simulated_options import Faults
from sequencer.shell.simulated_rig import WAKE_NS, Device
from sequencer.takes.conformance.bench import Bench, NoAnswer
from sequencer.takes.conformance.clauses import CLAUSES, Result, chosen
from sequencer.takes.conformance.speech import bundle, heard, message, one
from sequencer.takes.conformance.talk import went
from sequencer.wire.timetag import WallOffset
from tests.device.bench import BEGIN_NS, MS_NS, REFERENCE, Ends, Reference, run
from tests.device.faulty import FAULTS, Fault
from tests.needs import needs

HARBOUR = Path(__file__).parents[2] / "projects" / "harbour-lanterns"
HOST = ("127.0.0.1", 50_000)


class Simulated:
    """The simulated rig, without its process."""

    def __init__(self, faults: Faults = Faults()) -> None:  # noqa: B008  # a frozen value
        self.device = Device(load_rig(HARBOUR), 1, faults, WallOffset(0, 1_700_000_000_000_000_000))

    def hear(self, packet: bytes, now_ns: int) -> None:
        self.device.hear(packet, HOST, now_ns)

    def answers(self, now_ns: int) -> list[bytes]:
        said = self.device.times(now_ns)
        if now_ns % WAKE_NS == 0:
            said += self.device.answers(now_ns)
        return [packet for packet, _ in said]


class Stepped:
    """The reference device as MicroPython runs it, in simulated time."""

    def __init__(self, process: subprocess.Popen[str]) -> None:
        self._process = process
        self._waiting: list[str] = []

    def hear(self, packet: bytes, now_ns: int) -> None:
        self._waiting.append(packet.hex() or "-")

    def answers(self, now_ns: int) -> list[bytes]:
        assert self._process.stdin is not None
        assert self._process.stdout is not None
        self._process.stdin.write(" ".join([str(now_ns), *self._waiting]) + "\n")
        self._process.stdin.flush()
        self._waiting = []
        return [bytes.fromhex(packet) for packet in self._process.stdout.readline().split()]


@contextmanager
def stepped() -> Iterator[Stepped]:
    needs("micropython")
    with subprocess.Popen(
        ["micropython", str(Path(__file__).parent / "stepped.py"), str(REFERENCE)],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
    ) as process:
        yield Stepped(process)


def broken(results: list[Result]) -> dict[str, str]:
    return {one.clause.name: one.judged.words for one in results if one.judged.kept is False}


def check_passes(device: Ends, absent: set[str], schedules: bool = True) -> None:
    results = run(Bench(by=1.0, schedules=schedules), device)
    assert broken(results) == {}
    assert [one.clause for one in results] == list(chosen(schedules))
    assert {one.clause.name for one in results if one.judged.kept is None} == absent


def test_the_reference_device_keeps_every_clause() -> None:
    check_passes(Reference(), set())


def test_the_reference_device_keeps_every_clause_as_micropython_runs_it() -> None:
    with stepped() as device:
        check_passes(device, set())


def test_the_simulated_rig_keeps_every_clause() -> None:
    check_passes(Simulated(), {"switch"})


@pytest.mark.parametrize("device", [Reference, Simulated])
def test_a_device_is_tried_as_a_plain_one_too(device: type[Ends]) -> None:
    check_passes(device(), {"switch"} if device is Simulated else set(), schedules=False)


@pytest.mark.parametrize("most_hz", [31.7, 47.9])
def test_a_link_that_holds_an_odd_number_of_sets_a_second_breaks_no_clause(most_hz: float) -> None:
    bench = Bench(by=1.0, schedules=True)
    bench.most_hz = most_hz
    assert broken(run(bench, Reference())) == {}


@pytest.mark.parametrize("device", [Reference, Simulated])
@pytest.mark.parametrize("numbered", [True, False])
def test_a_stop_is_obeyed_behind_a_set_in_the_same_packet_too(device: type[Ends], numbered: bool) -> None:
    bench, ends = Bench(by=1.0, schedules=True), device()
    assert broken(run(bench, ends, ["hello", "due"])) == {}
    bench.out.clear()
    begins_ns = bench.now_ns - BEGIN_NS
    ends.hear(one("/rig/ask"), begins_ns)
    first = [message("/plan/number", "i", 9000)] if numbered else []
    ends.hear(bundle([*first, *bench.pose(1.0), message("/stop")]), begins_ns + MS_NS)
    mark = bench.mark()
    for at_ms in range(2, 1500):
        at_ns = begins_ns + at_ms * MS_NS
        if at_ms % 20 == 0:
            ends.hear(bundle(bench.pose(1.0)), at_ns)
        for packet in ends.answers(at_ns):
            bench.hear(packet, BEGIN_NS + at_ns)
    assert not went(bench, mark), "deaf until it is asked"


@pytest.mark.parametrize(("clause", "fault"), FAULTS, ids=[fault.__name__ for _, fault in FAULTS])
def test_each_fault_fails_its_clause_and_no_other(clause: str, fault: Fault, monkeypatch: pytest.MonkeyPatch) -> None:
    device = Reference()
    fault(device, monkeypatch.setattr)
    results = run(Bench(by=1.0, schedules=True), device)
    assert list(broken(results)) == [clause], broken(results)
    assert broken(results)[clause]


def test_every_clause_has_a_fault_that_fails_it() -> None:
    assert {clause for clause, _ in FAULTS} == {clause.name for clause in CLAUSES}


@pytest.mark.parametrize("axis", ["", "tilt"])
def test_another_axis_may_move_and_backward(axis: str) -> None:
    results = run(Bench(by=-2.5, schedules=True, axis=axis), Reference(), ["due", "from", "stop", "end"])
    assert broken(results) == {}


def test_an_axis_that_is_not_there_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    results = run(Bench(by=1.0, schedules=True, axis="lift"), Reference())
    assert broken(results) == {"hello": "it has no axis lift; it has pan, tilt"}
    assert len(results) == 1, "nothing is tried of a device that is not known"


def test_a_move_too_small_for_the_noise_is_said_so() -> None:
    results = run(Bench(by=0.01, schedules=True), Simulated(), ["due"])
    assert "or --by is too small to be told from its noise" in broken(results)["due"]


def test_a_clause_that_is_not_there_is_refused_with_those_that_are() -> None:
    with pytest.raises(ValueError, match="there is no clause 'from' for this device; there are actual, silent"):
        chosen(False, ["from"])
    assert [one.name for one in chosen(True, ["stop"])] == ["hello", "stop"]


def test_a_rig_that_is_reset_in_the_middle_is_found_out() -> None:
    results = run(Bench(by=1.0, schedules=True), Simulated(Faults(reboot_at_s=20.0)))
    assert broken(results)["reset"] == "its boot number has changed: it was reset in the middle of the trials"


class Altered(Reference):
    """The reference device on a wire that gives other packets for those that say something; None: they do not come."""

    def __init__(self, said: bytes, instead: bytes | None) -> None:
        super().__init__()
        self._said, self._instead = said, instead

    def answers(self, now_ns: int) -> list[bytes]:
        packets = super().answers(now_ns)
        altered = [self._instead if self._said in packet else packet for packet in packets]
        return [packet for packet in altered if packet is not None]


@pytest.mark.parametrize(
    ("said", "instead", "words"),
    [
        (b"/device/time", None, "it did not say its time"),
        (b"/rig/pan/actual", None, "it said no number in /rig/pan/actual for 4 s"),
        (b"/rig/pan/actual", one("/rig/pan/actual"), "it said no number in /rig/pan/actual for 4 s"),
        (b"/rig/pan/actual", one("/rig/pan/actual", "s", "left"), "it said no number in /rig/pan/actual for 4 s"),
        (b"/rig/pan/actual", one("/rig/pan/actual", "f", math.nan), "it said no number in /rig/pan/actual for 4 s"),
    ],
    ids=["no time", "no place", "empty", "text", "not finite"],
)
def test_a_device_that_does_not_say_what_a_trial_needs_is_told_so(
    said: bytes, instead: bytes | None, words: str
) -> None:
    results = run(Bench(by=1.0, schedules=True), Altered(said, instead), ["due"])
    assert broken(results) == {"due": words}


@pytest.mark.parametrize(
    "odd", [message("/rig/tilt/actual"), message("/rig/tilt/actual", "s", "down")], ids=["empty", "text"]
)
def test_an_axis_that_says_no_number_breaks_its_clause_and_ends_no_trial(odd: bytes) -> None:
    there = bundle([message("/rig/pan/actual", "f", 2.0), odd], 1 << 32)
    results = run(Bench(by=1.0, schedules=False), Altered(b"/rig/pan/actual", there), ["actual", "ping"])
    assert broken(results) == {"actual": "/rig/tilt/actual has something else than one number"}
    assert [one.clause.name for one in results] == ["actual", "ping"]


def test_a_device_without_a_buffer_that_lacks_the_axis_is_tried_no_further() -> None:
    with pytest.raises(NoAnswer, match=r"^it has no axis lift; it has pan, tilt$"):
        run(Bench(by=1.0, schedules=False, axis="lift"), Reference())


@pytest.mark.parametrize(
    "packet",
    [
        b"/rig/pan/actual\0,T\0\0",  # a type that no device needs
        b"/rig/pan/actual\0,f\0\0\0\0",  # it ends in the middle
        b"/rig/pan/actual\0,s\0\0\xff\xfe\0\0",  # no text
    ],
    ids=["type", "short", "text"],
)
def test_arguments_that_cannot_be_read_are_refused_and_counted(packet: bytes) -> None:
    with pytest.raises(PeerError, match=r"'/rig/pan/actual' has arguments b',[Tfs]' that cannot be read$"):
        heard(packet, 0)
    bench = Bench(by=1.0, schedules=False)
    bench.hear(packet, 0)
    assert (bench.refused, bench.told) == (1, [])
