"""A delivery of takes, cues and markers, as formats for editing have them, at any rate."""

from dataclasses import replace
from fractions import Fraction

from sequencer.export.delivery import Delivery, TakeMade
from sequencer.score.move import Cue, Marker
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Counting, Timebase, parse
from tests.export.deliveries import delivery

PAL = Rate(25)
TURN = Cue("lantern turn", Fraction(185), Fraction(385))
SWEEP = Cue("crowd sweep", Fraction(415), Fraction(635))
LIGHT = Cue("last light", Fraction(675), Fraction(975))
MARKERS = (
    Marker("verse", Fraction(375, 2)),
    Marker("first lamp", Fraction(250)),
    Marker("Größe; 10:00:00;00", Fraction(500)),
    Marker("lamps out", Fraction(940)),
)


def take(number: int, cue: Cue, run: str = "band", *, circled: bool = False, note: str = "") -> TakeMade:
    """Return a take of a whole cue."""
    return TakeMade(
        name=f"{cue.name} {run} {number:03}",
        cue=cue.name,
        run=run,
        number=number,
        span=(cue.start, cue.end),
        started=f"2026-11-25T18:{number:02}:00",
        circled=circled,
        note=note,
        file=f"{cue.name}-{run}-{number:03}.mcap",
    )


TAKES = (
    take(1, TURN),
    take(2, TURN, circled=True, note="the one"),
    take(3, TURN),
    take(4, SWEEP),
    take(5, TURN, "clean plate"),
)


def edited(
    *,
    rate: Rate = PAL,
    drop: bool = False,
    start: str = "10:00:00:00",
    takes: tuple[TakeMade, ...] = TAKES,
    markers: tuple[Marker, ...] = MARKERS,
    cues: tuple[Cue, ...] = (TURN, SWEEP, LIGHT),
    tempo: TempoMap | None = None,
) -> Delivery:
    """Return a delivery without a camera."""
    counting = Counting(rate, drop)
    return replace(
        delivery(1),
        project="Harbour lanterns",
        path=None,
        timebase=Timebase(counting, parse(start, counting)),
        takes=takes,
        markers=markers,
        cues=cues,
        tempo=tempo,
    )
