"""How well linear timecode is read, beside libltc on the same sound in the same run: words, instants and cost.

Sound is made by our own tone at 48 kHz, words begin anywhere; noise is white over the whole band of 24 kHz, below the
tone's own power. A wrong word is one that was not there, or ran the other way. libltc works on eight bits a sample.
"""

from collections.abc import Callable, Sequence
from functools import partial
from time import perf_counter, process_time

import numpy as np
from scipy.signal import butter, sosfilt

from sequencer.wire.ltc import Heard
from sequencer.wire.ltc_file import read
from sequencer.wire.ltc_reader import LtcReader
from sequencer.wire.ltc_tone import Tone
from tests import libltc
from tests.bench.table import Table
from tests.wire.ltc_sound import COUNTINGS, RATE_HZ, Floats, Recorded, Samples, noisy, record, score, words

_BLOCK = 256
_STUDY = 70
_FRESH = tuple(range(71, 76))
_HOW = COUNTINGS["30"]


def block_by_block(samples: Samples) -> list[Heard]:
    reader, samples = LtcReader(RATE_HZ), np.concatenate((samples, np.zeros(4 * _BLOCK, np.float32)))
    return [one for at in range(0, len(samples), _BLOCK) for one in reader.feed(samples[at : at + _BLOCK])]


def whole(samples: Samples) -> Sequence[Heard]:
    return read([samples], RATE_HZ).heard


def beside(sound: Recorded, samples: Samples, fps: float = 30.0) -> tuple[str, str, str]:
    """Return how libltc and our two readers do: percent of the words, and the number of wrong ones."""
    expected, falls = sound.expected(), sound.positions[-1] < sound.positions[0]
    theirs = libltc.decoder(RATE_HZ, fps, _BLOCK)(samples)
    edge = {sound.word(number) for number in (min(expected.values()) - 1, max(expected.values()) + 1)}
    good = {one.bits for one in theirs if one.bits in expected and one.backward == falls}
    bad = sum(one.bits not in {*expected, *edge} or one.backward != falls for one in theirs)
    cells = [f"{100 * len(good) / len(expected):.1f} ({bad})"]
    for reader in (block_by_block, whole):
        result = score(reader(samples), sound)
        cells.append(f"{100 * result.right:.1f} ({result.wrong})")
    return cells[0], cells[1], cells[2]


_COLUMNS = ("libltc", "blocks of 256", "whole file")


def noise_table() -> Table:
    rows = []
    limits = {20: "100", 10: "100", 6: "99.5", 3: "95", 0: "-"}
    for rate, seconds, seeds in (
        ("30", 60.0, (_STUDY,)),
        ("30", 20.0, _FRESH),
        ("25", 20.0, (65, 66)),
        ("24", 20.0, (64, 67)),
    ):
        sound = record(COUNTINGS[rate], seconds)
        for snr_db, limit in limits.items():
            cells = [
                beside(sound, noisy(sound.samples, snr_db, np.random.default_rng(seed)), float(rate)) for seed in seeds
            ]
            added = []
            for column in zip(*cells, strict=True):
                right, wrong = zip(
                    *((float(cell.split()[0]), int(cell.split("(")[1][:-1])) for cell in column), strict=True
                )
                added.append(f"{np.mean(right):.1f} ({sum(wrong)})")
            span = f"{min(seeds)}" if len(seeds) == 1 else f"{len(seeds)} seeds"
            rows.append((f"{rate} fps, {snr_db} dB, {span}", *added, limit))
    note = "Percent of the words, and in brackets wrong ones, none of which may come down to 3 dB."
    return Table("Linear timecode in noise", ("case", *_COLUMNS, "limit"), rows, note)


def _band(samples: Samples, low_hz: float, high_hz: float) -> Samples:
    sections = butter(2, (low_hz, high_hz), "bandpass", fs=RATE_HZ, output="sos")
    return np.asarray(sosfilt(sections, samples), np.float32)


def _holes(samples: Samples) -> Samples:
    samples = samples.copy()
    for at in range(RATE_HZ // 2, len(samples), RATE_HZ):
        samples[at : at + RATE_HZ // 100] = 0
    return samples


def _steps(samples: Samples) -> Samples:
    loud = np.where(np.arange(len(samples)) // RATE_HZ % 2, 1.0, 10 ** (-20 / 20))
    return (samples * loud).astype(np.float32)


def cable_table() -> Table:
    seconds = 10.0
    plain = record(_HOW, seconds)
    time_s = np.arange(len(plain.samples)) / RATE_HZ
    chance = np.random.default_rng(_STUDY)
    hum = 0.25 * np.sin(2 * np.pi * 50 * time_s)
    cases: list[tuple[str, Recorded, Samples]] = [
        ("clean", plain, plain.samples),
        ("the other polarity", plain, -plain.samples),
        ("30 dB down", plain, plain.samples * np.float32(10 ** (-30 / 20))),
        ("50 dB down", plain, plain.samples * np.float32(10 ** (-50 / 20))),
        ("offset of 30 percent", plain, plain.samples + np.float32(0.15)),
        ("hum 6 dB down", plain, (plain.samples + hum).astype(np.float32)),
        ("clipped 12 dB over", plain, (plain.samples * 8).clip(-1, 1)),
        ("band of a tape, 150 to 5000 Hz", plain, _band(plain.samples, 150, 5000)),
        ("the same, 10 dB over noise", plain, noisy(_band(plain.samples, 150, 5000), 10, chance)),
        ("hole of 10 ms each second", plain, _holes(plain.samples)),
        ("level steps by 20 dB each second", plain, _steps(plain.samples)),
    ]
    speeds: dict[str, float | Callable[[Floats], Floats]] = {
        **{f"speed {speed:g}": speed for speed in (0.5, 0.75, 1.5, 2.0, -1.0, -0.5, -2.0)},
        "ramp 0.5 to 1.5": lambda t: 0.5 + t / seconds,
        "ramp 0.5 to 2 in 1.5 s, over and over": lambda t: 0.5 + t % 1.5,
        "wow 4 percent, 1 Hz": lambda t: 1 + 0.04 * np.sin(2 * np.pi * t),
        "wow 4 percent, 6 Hz": lambda t: 1 + 0.04 * np.sin(12 * np.pi * t),
        "steps by 4 percent each second": lambda t: 1 + 0.04 * (t.astype(int) % 2),
        "half and double speed, by turns each second": lambda t: np.where(t.astype(int) % 2, 2.0, 0.5),
    }
    for name, speed in speeds.items():
        sound = record(_HOW, seconds, speed)
        cases.append((name, sound, sound.samples))
    backward = record(_HOW, seconds, -1.0)
    cases.append(("speed -1, 10 dB over noise", backward, noisy(backward.samples, 10, chance)))
    rows = [(name, *beside(sound, samples)) for name, sound, samples in cases]
    note = (
        "30 fps, 10 s each. Limit: 99.8 from half to double speed, backward and 30 dB down. "
        "A hole takes the word that it is in."
    )
    return Table("Linear timecode through speeds and cables", ("case", *_COLUMNS), rows, note)


def _errors_us(reader: Callable[[Samples], Sequence[Heard]], sound: Recorded, samples: Samples) -> Floats:
    return score(reader(samples), sound).errors_s * 1e6


def instant_table() -> Table:
    rows = []
    for name, rate, speed, snr_db in (
        ("clean", "30", 1.0, None),
        ("clean, speed 0.5", "24", 0.5, None),
        ("clean, speed -1", "30", -1.0, None),
        ("20 dB", "30", 1.0, 20),
        ("10 dB", "30", 1.0, 10),
        ("3 dB", "30", 1.0, 3),
    ):
        sound = record(COUNTINGS[rate], 20.0, speed)
        samples = sound.samples if snr_db is None else noisy(sound.samples, snr_db, np.random.default_rng(_STUDY))
        expected = sound.expected()
        theirs = [
            one.start - np.interp(expected[one.bits], sound.positions, np.arange(len(sound.positions)))
            for one in libltc.decoder(RATE_HZ, 30)(samples)
            if one.bits in expected and speed > 0
        ]
        theirs = [off for off in theirs if abs(off) < RATE_HZ / 120]
        cells = [f"{np.std(theirs) / RATE_HZ * 1e6:.1f}" if theirs else "-"]
        for reader in (block_by_block, whole):
            off = _errors_us(reader, sound, samples)
            cells.append(f"{np.mean(off):+.2f}, {np.std(off):.2f}, {np.abs(off).max():.1f}")
        rows.append((f"{rate} fps, {name}", *cells))
    note = (
        "Microseconds, of words less than a quarter of a frame off. libltc: standard deviation of a word's start, in "
        "whole samples of 20.8 us. "
        "Ours: mean, deviation and worst of five marks a word."
    )
    return Table("Instants of words", ("case", *_COLUMNS), rows, note)


def first_table() -> Table:
    """Join a clean tone anywhere and count the frames until the first label is there."""
    rows = []
    for name, speed in (("speed 1", 1.0), ("speed -1", -1.0), ("speed 2", 2.0), ("speed 0.5", 0.5)):
        waits: tuple[list[float], list[float]] = [], []
        for part in np.arange(0.025, 1, 0.05):
            sound = record(_HOW, 0.5, speed, start=5000 + part)
            frame = RATE_HZ / 30 / abs(speed)
            end = next(
                at + _BLOCK
                for reader in [LtcReader(RATE_HZ)]
                for at in range(0, len(sound.samples), _BLOCK)
                if reader.feed(sound.samples[at : at + _BLOCK])
            )
            waits[1].append(end / frame)
            theirs = libltc.decoder(RATE_HZ, 30)(sound.samples)
            waits[0].append((theirs[0].end + 1) / frame if theirs else np.nan)
        rows.append((name, *(f"{np.mean(wait):.2f}, {np.max(wait):.2f}" for wait in waits)))
    note = (
        "Frames, mean and most of 20 joins; 1.5 and 2 is what a whole word takes. "
        "Ours counts whole blocks; libltc up to the last sample of the word."
    )
    return Table("First label after joining", ("case", "libltc", "blocks of 256"), rows, note)


def _cpu_ms(work: Callable[[], object], seconds: float) -> float:
    """Return the least processor time of some runs for each second of sound."""
    costs = []
    for _ in range(5):
        begin = process_time()
        work()
        costs.append(process_time() - begin)
    return min(costs) / seconds * 1e3


def cost_table() -> Table:
    seconds = 20.0
    rows = []
    chance = np.random.default_rng(_STUDY)
    clean = record(_HOW, seconds).samples
    sounds = {
        "30 fps, clean": clean,
        "30 fps, 6 dB over noise": noisy(clean, 6, chance),
        "30 fps, speed 2": record(_HOW, seconds, 2.0).samples,
        "24 fps, speed 0.5": record(COUNTINGS["24"], seconds, 0.5).samples,
        "noise alone": (0.1 * chance.standard_normal(len(clean))).astype(np.float32),
        "silence": np.zeros_like(clean),
    }
    decode = libltc.decoder(RATE_HZ, 30, _BLOCK)
    for name, samples in sounds.items():
        theirs = _cpu_ms(partial(decode, samples), seconds)
        ours = _cpu_ms(partial(block_by_block, samples), seconds)
        times = 1000 / _cpu_ms(partial(whole, samples), seconds)
        rows.append((name, f"{theirs:.2f}", f"{ours:.1f}", f"{ours / theirs:.1f}", f"{times:.0f}"))
    note = (
        "Processor time in ms for a second of sound, least of five runs. "
        "Limits: 12 ms, 15 times libltc; whole files 50 times real time."
    )
    return Table(
        "Cost of reading", ("sound", "libltc", "blocks of 256", "ratio", "whole file, x real time"), rows, note
    )


def false_table() -> Table:
    """Count words in sound that is no timecode."""
    chance = np.random.default_rng(_STUDY)
    minute = 60 * RATE_HZ
    time_s = np.arange(minute) / RATE_HZ
    square = np.sign(np.sin(2 * np.pi * 1200 * time_s))
    flips = np.repeat(chance.choice((-1.0, 1.0), minute // 10), 10)
    sounds = {
        "white noise": [0.2 * chance.standard_normal(minute) for _ in range(5)],
        "square of 1200 Hz": [square],
        "a coin tossed for each half bit": [flips],
    }
    rows = []
    for name, pieces in sounds.items():
        reader, theirs, ours = LtcReader(RATE_HZ), 0, 0
        for piece in pieces:
            samples = piece.astype(np.float32)
            ours += len(reader.feed(samples))
            theirs += len(libltc.decoder(RATE_HZ, 30)(samples))
        rows.append((f"{name}, {len(pieces)} min", str(theirs), str(ours)))
    return Table("Words in sound that is none", ("sound", "libltc", "ours"), rows)


def tone_table() -> Table:
    tone, out = Tone(words(_HOW)), np.zeros(_BLOCK, np.float32)
    costs, step = [], _BLOCK * 30 / RATE_HZ
    for number in range(4000):
        begin = perf_counter()
        tone.render(number * step, 30.0, RATE_HZ, out)
        costs.append(perf_counter() - begin)
    middle, late, most = np.percentile(costs, (50, 99, 100)) * 1e6
    row = ("render, 256 samples", f"{middle:.0f}", f"{late:.0f}", f"{most:.0f}")
    return Table("Cost of making the tone", ("call", "median us", "p99 us", "most us"), [row], "A block lasts 5333 us.")


def tables() -> list[Table]:
    """Return all tables of this part."""
    return [noise_table(), cable_table(), instant_table(), first_table(), cost_table(), false_table(), tone_table()]
