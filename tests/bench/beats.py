"""How well and how fast the beats of music are found: four minutes at 48 kHz whose beats are known."""

import time
from collections.abc import Callable

import numpy as np

from sequencer.music.beats import Beats, beats
from sequencer.music.grid import stepped
from sequencer.music.onsets import onsets
from sequencer.timebase.rate import RATES
from tests.bench.table import Table
from tests.music import sounds
from tests.music.sounds import RATE_HZ, Song, match

LENGTH_S = 240.0
ROUNDS = 3
MOST_S = 3.0
TEMPO_PERCENT, BEAT_MS, ONSET_MS, LEAST_F = 0.05, 5.0, 10.0, 0.95
# of each: how it is made, and the tempo that is named where the one that is found first is another octave
SONGS: tuple[tuple[str, Callable[[], Song], float | None], ...] = (
    ("click 120", lambda: sounds.clicks(120, LENGTH_S), None),
    ("click 93.7", lambda: sounds.clicks(93.7, LENGTH_S), None),
    ("drums 128", lambda: sounds.drums(128, LENGTH_S), None),
    ("drums 87.3, swung", lambda: sounds.drums(87.3, LENGTH_S, swing=2 / 3), None),
    ("drums 171", lambda: sounds.drums(171, LENGTH_S), None),
    ("drums 171, 171 named", lambda: sounds.drums(171, LENGTH_S), 171.0),
    ("drums 100 to 112", lambda: sounds.drifting(LENGTH_S), None),
    ("drums 100 to 112, 106 named", lambda: sounds.drifting(LENGTH_S), 106.0),
)


def tables() -> list[Table]:
    return [
        Table(
            "Beats of four minutes at 48 kHz",
            ("music", "BPM found", "error, %", "F at 70 ms", "median, ms", "p95, ms", "CPU, s", "within"),
            [_row(*song) for song in SONGS],
            f"Sounds made by the tests, so that every beat is known. Within: tempo {TEMPO_PERCENT} % where steady, "
            f"F {LEAST_F}, p95 {BEAT_MS:.0f} ms, {MOST_S:.0f} s. The time of its process, best of {ROUNDS} rounds. "
            "A tempo is named as the operator does who presses x2 or ÷2, or taps. Median: signed.",
        ),
        Table(
            "Tempi at bars for music from 100 to 112 BPM",
            ("at most, ms", "tempi", "farthest beat, ms", "p95, ms"),
            _stepped(),
            "Distance of the tempo map's beats from those that were found.",
        ),
        Table(
            "Onsets: 525 hits at random instants in a pad",
            ("threshold", "found", "F at 70 ms", "median, ms", "p95, ms", f"p95 within {ONSET_MS:.0f} ms"),
            _onsets(),
            "The threshold is in multiples of the mean growth; 2 is where the slider stands first.",
        ),
    ]


def _row(name: str, make: Callable[[], Song], near: float | None) -> tuple[str, ...]:
    song = make()
    cost_s, heard = [], None
    for _ in range(ROUNDS):
        begin_s = time.process_time()
        heard = beats(song.samples, song.rate_hz, near)
        cost_s.append(time.process_time() - begin_s)
    if not isinstance(heard, Beats):
        return (name, "none", *[""] * 5, "NO")
    fit = match(heard.at_s, song.beats_s)
    error = 100 * (heard.bpm / song.bpm - 1)
    good = fit.f >= LEAST_F and fit.p95_s * 1000 <= BEAT_MS and min(cost_s) <= MOST_S
    good = good and (not heard.steady or abs(error) <= TEMPO_PERCENT)
    return (
        name,
        f"{heard.bpm:.3f}{'' if heard.steady else ', mean'}",
        f"{error:+.4f}" if heard.steady else "",
        f"{fit.f:.3f}",
        f"{fit.median_s * 1000:+.2f}",
        f"{fit.p95_s * 1000:.2f}",
        f"{min(cost_s):.2f}",
        "yes" if good else "NO",
    )


def _stepped() -> list[tuple[str, ...]]:
    heard = beats(sounds.drifting(LENGTH_S).samples, RATE_HZ, 106.0)
    if not isinstance(heard, Beats):
        return [("", "none", "", "")]
    rows: list[tuple[str, ...]] = []
    for within_s in (0.010, 0.005, 0.002):
        fit = stepped(heard, RATES["25"].seconds(0), RATES["25"], within_s=within_s)
        rows.append(
            (
                f"{within_s * 1000:.0f}",
                str(len(fit.tempo.stretches)),
                f"{fit.worst_s * 1000:.2f}",
                f"{fit.p95_s * 1000:.2f}",
            )
        )
    return rows


def _onsets() -> list[tuple[str, ...]]:
    song = sounds.scattered(LENGTH_S)
    rows: list[tuple[str, ...]] = []
    for threshold in (1.0, 1.5, 2.0, 3.0, 5.0):
        found = onsets(song.samples, song.rate_hz, threshold)
        fit = match(found.at_s, song.beats_s)
        rows.append(
            (
                f"{threshold:g}",
                str(np.size(found.at_s)),
                f"{fit.f:.3f}",
                f"{fit.median_s * 1000:+.2f}",
                f"{fit.p95_s * 1000:.2f}",
                "yes" if fit.p95_s * 1000 <= ONSET_MS else "NO",
            )
        )
    return rows
