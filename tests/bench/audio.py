"""How far playback is followed from what leaves, and how linear timecode comes back: through a PulseAudio null sink.

The null sink's monitor is recorded in a process of its own. Run it alone with
`python -m tests.bench.audio --seconds 60`.
"""

import argparse
import shutil
import time
from collections.abc import Callable
from concurrent.futures import Future, ProcessPoolExecutor
from contextlib import AbstractContextManager, nullcontext
from dataclasses import dataclass
from multiprocessing import get_context
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from rich.console import Console

from sequencer.adapters.audio_ports.player import Player
from sequencer.adapters.audio_ports.streams import open_input, open_output
from sequencer.adapters.contract import Chunk
from sequencer.adapters.sources.ltc_in import open_ltc
from sequencer.sync.audio import audio_follower
from sequencer.sync.followed import Followed
from sequencer.sync.ltc import ltc_follower
from sequencer.timebase.rate import Rate
from sequencer.timebase.timecode import Counting, Timebase, parse
from sequencer.wire.ltc import unpacked
from sequencer.wire.ltc_tone import Tone
from sequencer.wire.ltc_word import Word, encode
from tests.adapters_audio.coded import coded, numbers
from tests.bench.__main__ import show
from tests.bench.load import load
from tests.bench.table import Table
from tests.pulse import pulse_server

RATE_HZ = 48_000
COUNTING = Counting(Rate(25))
BASE = Timebase(COUNTING, parse("10:00:00:00", COUNTING))
LOOK_S = 0.005
LEAD_S = 10.0  # until the recorder's own stamps have settled
EARLY_S, SETTLED_S = 2.0, 10.0  # since playback began
AFTER_GAP_S = 1.0
NS = 1e9

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Case:
    """What else the machine does, whether the server answers in real time, and the limit of p99."""

    name: str
    load: Callable[[], AbstractContextManager[None]]
    realtime: bool
    limit_ms: float


CASES = (
    Case("none", nullcontext, True, 1.0),
    Case("busy", load, True, 2.0),
    Case("busy, server not in real time", load, False, 2.0),
)


class Look(NamedTuple):
    """A chunk with the instant of the look that found it."""

    look_ns: int
    chunk: Chunk


@dataclass(frozen=True)
class Recorded:
    """What left, as the monitor has it. `line_ns` gives the instant of its sample 0, and how long a sample lasts.

    Shape: `numbers` (n,), which sample of the recording that is played each of them is; `off_ms` (blocks,), how far the
    stamps are from the line.
    """

    numbers: NDArray[np.int64]
    line_ns: tuple[float, float]
    off_ms: Floats
    gaps: int


def record(seconds: float) -> Recorded:
    """Record the monitor, in a process of its own."""
    blocks = []
    with open_input("quay_heard", RATE_HZ, 2) as heard:
        ends_ns = time.monotonic_ns() + round(seconds * NS)
        while time.monotonic_ns() < ends_ns:
            time.sleep(LOOK_S)
            blocks += [(block.first, block.stamp_ns, numbers(block.samples)) for block in heard.read(0)]
            heard.check()
        gaps = heard.gaps
    firsts = np.array([first for first, _, _ in blocks], np.float64)
    stamps_ns = np.array([stamp_ns for _, stamp_ns, _ in blocks], np.int64)
    zero_ns = int(stamps_ns[0])
    since_ns = (stamps_ns - zero_ns).astype(np.float64)
    # a null sink counts its samples off the monotonic clock, so that its line is straight; the stamps wander at first
    settled = firsts > LEAD_S * RATE_HZ
    slope, level = np.polyfit(firsts[settled], since_ns[settled], 1)
    for _ in range(3):
        off_ns = since_ns - level - slope * firsts
        near = settled & (np.abs(off_ns) < 3 * np.median(np.abs(off_ns[settled])) + 1000)
        slope, level = np.polyfit(firsts[near], since_ns[near], 1)
    off_ms = (since_ns - level - slope * firsts)[settled] / 1e6
    return Recorded(np.concatenate([found for _, _, found in blocks]), (zero_ns + level, slope), off_ms, gaps)


@dataclass(frozen=True)
class Run:
    """A recording was played from `begins_ns` on."""

    looks: list[Look]
    begins_ns: int
    gaps: int


def play(player: Player, seconds: float, wait_s: float = 0.5) -> Run:
    """Open the device, play after `wait_s`, and look at what playback says of itself every few ms."""
    looks: list[Look] = []
    with open_output("quay", RATE_HZ, player.channels, player.fill) as going:
        begins_ns = time.monotonic_ns() + round(wait_s * NS)
        player.play(begins_ns, 0)
        while (now_ns := time.monotonic_ns()) < begins_ns + seconds * NS:
            looks += [Look(now_ns, chunk) for chunk in player.read(now_ns)]
            going.check()
            time.sleep(LOOK_S)
        return Run(looks, begins_ns, going.gaps)


def followed(follower: Followed, looks: list[Look], from_ns: int, seconds: float) -> tuple[Floats, Floats]:
    """Return instants at 100 Hz at which the follower steers, and positions. Unit: s since `from_ns`, s. Shape: (T,)"""
    waiting = iter(looks)
    following = next(waiting, None)
    at, positions = [], []
    for since_s in np.arange(0.01, seconds, 0.01):
        now_ns = from_ns + round(since_s * NS)
        while following is not None and following.look_ns <= now_ns:
            follower.feed(following.chunk.stamp_ns, following.chunk.data)
            following = next(waiting, None)
        clock = follower.at(now_ns)
        if clock.steers:
            at.append(since_s)
            positions.append(clock.position_s)
    return np.array(at), np.array(positions)


def errors_ms(run: Run, recorded: Recorded, seconds: float) -> tuple[Floats, Floats, int]:
    """Return instants since the beginning, the follower's errors there, and how often the sound was broken.

    What lies within a second after a break is left out. Shape: (T,). Unit: s, ms.
    """
    at_s, positions_s = followed(audio_follower(BASE, 0.0), run.looks, run.begins_ns, seconds)
    zero_ns, slope_ns = recorded.line_ns
    places = (run.begins_ns + at_s * NS - zero_ns) / slope_ns
    inside = places < len(recorded.numbers) - 1
    at_s, positions_s, places = at_s[inside], positions_s[inside], places[inside]
    whole = np.floor(places).astype(np.int64)
    truth_s = (recorded.numbers[whole] + places - whole) / RATE_HZ
    broken = np.flatnonzero(np.diff(recorded.numbers) != 1)
    begun = int(np.flatnonzero(recorded.numbers == RATE_HZ)[0])  # its first second is fade and settling
    ended = int(recorded.numbers.argmax())
    broken = broken[(broken > begun) & (broken < ended)]
    broken_s = (zero_ns + broken * slope_ns - run.begins_ns) / NS
    near = np.zeros(len(at_s), bool)
    for one_s in broken_s:
        near |= (at_s > one_s - 0.01) & (at_s < one_s + AFTER_GAP_S)
    breaks = int(np.count_nonzero(np.diff(broken_s, prepend=-np.inf) > AFTER_GAP_S))
    return at_s[~near], 1e3 * (positions_s - truth_s)[~near], breaks


def size(errors: Floats) -> str:
    if not len(errors):
        return "-"
    return f"{errors.mean():+.3f} / {errors.std():.3f} / {np.percentile(np.abs(errors), 99):.3f}"


def master_row(case: Case, seconds: float) -> tuple[str, ...]:
    """Play, follow and record once."""
    player = Player(coded(np.arange(round((seconds + 2) * RATE_HZ))), RATE_HZ)
    with pulse_server(realtime=case.realtime), ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        recording: Future[Recorded] = pool.submit(record, LEAD_S + seconds + 4)
        time.sleep(LEAD_S / 2)
        with case.load():
            run = play(player, seconds)
        recorded = recording.result()
    at_s, off_ms, breaks = errors_ms(run, recorded, seconds)
    early = off_ms[(at_s >= EARLY_S) & (at_s < SETTLED_S)]
    settled = off_ms[at_s >= SETTLED_S]
    p99_ms = float(np.percentile(np.abs(off_ms[at_s >= EARLY_S]), 99))
    return (
        case.name,
        size(early),
        size(settled),
        f"{p99_ms:.3f} ({case.limit_ms:.0f})",
        "yes" if p99_ms <= case.limit_ms else "no",
        f"{breaks} / {run.gaps} / {recorded.gaps}",
        f"{recorded.off_ms.std():.3f}",
    )


def hear_ltc(seconds: float) -> list[Look]:
    """Listen for timecode, in a process of its own as the io process does it."""
    looks: list[Look] = []
    with open_ltc("ltc:quay_heard") as source:
        ends_ns = time.monotonic_ns() + round(seconds * NS)
        while (now_ns := time.monotonic_ns()) < ends_ns:
            looks += [Look(now_ns, chunk) for chunk in source.read(now_ns)]
            time.sleep(0.001)
    return looks


def ltc_row(case: Case, seconds: float) -> tuple[str, ...]:
    """Send timecode out of one device and hear it from the other."""
    frames = round((seconds + 2) * COUNTING.rate.nominal)
    fps = COUNTING.rate.nominal

    def word(number: int) -> bytes:
        minutes, seconds = divmod(number // fps + 36_000, 60)
        return encode(Word(*divmod(minutes, 60), seconds, number % fps), fps)

    sound = np.zeros(frames * RATE_HZ // fps, np.float32)
    Tone(word).render(0.0, fps, RATE_HZ, sound)
    player = Player(sound[:, None], RATE_HZ)
    with pulse_server(realtime=case.realtime), ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        hearing: Future[list[Look]] = pool.submit(hear_ltc, LEAD_S + seconds)
        with case.load():
            run = play(player, seconds, LEAD_S)
        looks = hearing.result()
    sent = {word(number): number for number in range(frames)}
    late_ms, waited_ms, known = [], [], set()
    for look_ns, chunk in looks:
        heard = unpacked(chunk.data).heard
        number = sent[heard.bits]
        known.add(number)
        begins_ms = (chunk.stamp_ns + heard.marks[0] - run.begins_ns) / 1e6
        late_ms.append(begins_ms - 1e3 * number / fps)
        waited_ms.append((look_ns - chunk.stamp_ns - heard.marks[4]) / 1e6)
    at_s, positions_s = followed(ltc_follower(BASE), looks, run.begins_ns, seconds)
    used = at_s >= SETTLED_S
    off_ms = 1e3 * (positions_s - at_s)[used]
    lost = max(known) + 1 - min(known) - len(known)
    return (
        case.name,
        size(np.array(late_ms)),
        size(off_ms),
        f"{np.mean(waited_ms):.1f} / {np.percentile(waited_ms, 99):.1f}",
        f"{lost} of {max(known) + 1 - min(known)}",
        str(run.gaps),
    )


def tables(seconds: float = 40.0) -> list[Table]:
    """Return the tables of playback as master and of timecode through the sound card."""
    errors = "mean / sd / p99 of size, ms"
    master = Table(
        f"Playback as master: the follower's position against the recorded output, {seconds:.0f} s a run",
        (
            "load",
            f"{EARLY_S:.0f} to {SETTLED_S:.0f} s after the device was opened: {errors}",
            f"later: {errors}",
            "p99 of all (limit), ms",
            "held",
            "broken: sound / told by output / by recorder",
            "recorder's stamps off their line, sd, ms",
        ),
        [],
        "Sound that carries its own sample numbers is played to a null sink, its monitor recorded by another process. "
        "A null sink counts samples off the monotonic clock, so a straight line through the recorder's settled stamps "
        "says when each sample was there. Nothing is left out but a second after each break of the sound. "
        "What both ends have in common, the server's idea of its own latency, cannot be seen this way. A server "
        "whose main thread waits for the processor tells its clients a latency that is milliseconds off.",
    )
    ltc = Table(
        f"Linear timecode out of one device and into another, 25 frames a second, {seconds:.0f} s a run",
        (
            "load",
            f"a word's beginning late: {errors}",
            f"followed, from {SETTLED_S:.0f} s on: {errors}",
            "in hand after a word's end: mean / p99, ms",
            "words lost",
            "gaps told by output",
        ),
        [],
        "Against the instant at which playback was asked to begin, which is long after the device was opened. A word "
        "is in hand when the io process has it; a monitor hands sound over before its time, by what the sink holds.",
    )
    if shutil.which("pulseaudio") is None:
        for table in (master, ltc):
            table.note = "Not measured: pulseaudio is not installed here."
        return [master, ltc]
    master.rows = [master_row(case, seconds) for case in CASES]
    ltc.rows = [ltc_row(case, seconds) for case in CASES]
    return [master, ltc]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=40.0, help="how long a run is")
    for table in tables(parser.parse_args().seconds):
        show(Console(width=200), table)


if __name__ == "__main__":
    main()
