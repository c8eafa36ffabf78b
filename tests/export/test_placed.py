"""Where a file's instants fall in a project: exactly at its own rate, by real time at another, and what is said."""

from fractions import Fraction

import pytest
from timecode.timecode import Timecode as OtherTimecode

from sequencer.errors import ImportFault
from sequencer.export.found import FoundCut, FoundMarker, FoundShot
from sequencer.export.placed import Asked, Placed, merge, place
from sequencer.score.move import Cue, Marker
from sequencer.timebase.rate import Rate
from sequencer.timebase.tempo import TempoMap
from sequencer.timebase.timecode import Counting, Timebase, count, parse

PAL, FILM, NTSC = Rate(25), Rate(24000, 1001), Rate(30000, 1001)
CONVERT = Asked(convert=True)


def timebase(rate: Rate = PAL, start: str = "10:00:00:00", drop: bool = False) -> Timebase:
    counting = Counting(rate, drop)
    return Timebase(counting, parse(start, counting))


def cut(rate: Rate | None, *labels: str, drop: bool | None = False) -> FoundCut:
    """A file with a marker at each label, which begins at the first."""
    counting = Counting(rate or PAL, bool(drop))
    at = [counting.rate.seconds(count(parse(one, counting), counting)) for one in labels]
    return FoundCut(rate=rate, drop=drop, start=at[0], markers=tuple(map(FoundMarker, labels, at)))


def frames(found: Placed) -> list[Fraction]:
    return [one.at for one in found.markers]


def test_at_the_projects_rate_labels_are_the_projects() -> None:
    base = timebase()
    found = place(cut(PAL, "10:00:05:12", "10:00:00:00", "09:59:59:24"), base, Asked(), "f")
    assert frames(found) == [137, 0, -1]
    assert found.remarks == ("before the project's start: marker 09:59:59:24 at 09:59:59:24",)


@pytest.mark.parametrize(
    ("theirs", "ours"), [(Rate(24), PAL), (PAL, FILM), (FILM, Rate(24)), (NTSC, PAL), (Rate(60), FILM)]
)
def test_at_another_rate_real_time_is_kept_from_the_projects_start(theirs: Rate, ours: Rate) -> None:
    """Sixty labelled seconds of the file are 60 * nominal / rate real seconds, by the definition of a rate."""
    given = cut(theirs, "10:00:00:00", "10:01:00:00", "10:00:00:06")
    with pytest.raises(ImportFault, match=rf"f counts {theirs}, the project {ours}: .*--convert takes it so"):
        place(given, timebase(ours), Asked(), "f")
    found = place(given, timebase(ours), CONVERT, "f")
    seconds = [ours.seconds(at) for at in frames(found)]
    wanted = [Fraction(0), 60 * theirs.nominal / theirs.fraction, 6 / theirs.fraction]
    assert seconds == pytest.approx(wanted, abs=1e-10)


def test_how_far_off_frames_and_labels_are_is_said() -> None:
    """24 frames are 25 in a second; after a minute at 24000/1001 labels are 0.06 s, 1.5 frames of 25, behind."""
    with pytest.raises(ImportFault) as caught:
        place(cut(Rate(24), "10:00:00:00", "10:00:00:06", "10:00:00:12"), timebase(), Asked(), "f")
    assert "2 of 3 fall between frames, by up to 0.50 of one" in str(caught.value)
    assert "labels differ" not in str(caught.value)
    with pytest.raises(ImportFault) as caught:
        place(cut(FILM, "10:00:00:00", "10:10:00:00"), timebase(), Asked(), "f")
    assert "labels differ by up to 15 frames" in str(caught.value)


def test_drop_frame_and_non_drop_frame_agree_at_the_start_and_drift_from_there() -> None:
    """The labels' drift is counted beside the PyPI package timecode."""
    given = cut(NTSC, "10:00:00;00", "10:10:00;00", drop=True)
    base = timebase(NTSC)
    with pytest.raises(
        ImportFault, match=r"f counts 30000/1001 drop-frame, the project 30000/1001: .*by up to 18 frames"
    ):
        place(given, base, Asked(), "f")
    found = place(given, base, CONVERT, "f")
    other = OtherTimecode("29.97", "10:10:00;00").frames - OtherTimecode("29.97", "10:00:00;00").frames
    assert frames(found) == [0, other] == [0, 17_982]
    assert str(base.label(17_982)) == "10:09:59:12"


def test_a_start_between_seconds_shares_its_second_and_one_at_a_dropped_label_the_next() -> None:
    found = place(cut(Rate(24), "10:00:01:00", "10:00:02:12"), timebase(start="10:00:01:05"), CONVERT, "f")
    assert frames(found) == [-5, Fraction(75, 2) - 5]
    given = cut(NTSC, "10:01:00;02", "10:01:01;00", drop=True)
    found = place(given, timebase(NTSC, "10:01:00:00"), CONVERT, "f")
    assert frames(found) == [0, 28]


def test_a_file_without_timecode_begins_at_the_start_or_where_it_is_put() -> None:
    given = FoundCut(markers=(FoundMarker("m", Fraction(2)),), tempo=TempoMap(Fraction(100), 4))
    found = place(given, timebase(), Asked(), "f")
    assert [found.start, *frames(found)] == [0, 50]
    found = place(given, timebase(), Asked(at=Fraction(75), offset=Fraction(-1)), "f")
    assert [found.start, *frames(found)] == [74, 124]
    assert found.tempo == TempoMap(Fraction(100), 4, Fraction(74, 25))


def test_a_file_with_timecode_can_be_put_elsewhere() -> None:
    found = place(cut(PAL, "01:00:00:00", "01:00:01:00"), timebase(), Asked(at=Fraction(10)), "f")
    assert frames(found) == [10, 35]
    found = place(cut(PAL, "01:00:00:00", "01:00:01:00"), timebase(), Asked(), "f")
    assert frames(found) == [-9 * 3600 * 25, -9 * 3600 * 25 + 25]


def test_a_shots_out_is_the_frame_after_a_cues_last() -> None:
    shots = (
        FoundShot("a", Fraction(36_000), Fraction(36_002)),
        FoundShot("b", Fraction(36_002), Fraction(900_051, 25)),
    )
    found = place(FoundCut(rate=PAL, drop=False, start=Fraction(36_000), shots=shots), timebase(), Asked(), "f")
    assert found.cues == (Cue("a", Fraction(0), Fraction(49)),)
    assert found.remarks == ("shots of one frame, which are no cues: 1, the first b at 10:00:02:00",)


def test_a_file_that_does_not_say_how_it_counts_counts_as_the_project_does() -> None:
    given = FoundCut(rate=NTSC, start=NTSC.seconds(100), markers=(FoundMarker("m", NTSC.seconds(1800)),))
    assert frames(place(given, timebase(NTSC, "00:00:00:00", True), Asked(), "f")) == [1800]
    assert frames(place(given, timebase(NTSC, "00:00:00:00"), Asked(), "f")) == [1800]


def test_a_recording_counts_real_time_since_midnight() -> None:
    """At 24000/1001 the label 01:00:00:00 is 3603.6 real seconds after midnight."""
    found = place(FoundCut(start=Fraction(36_036, 10)), timebase(FILM, "01:00:00:00"), Asked(), "f")
    assert found.start == 0


def test_what_is_there_already_stays_once_and_names_of_cues_stay_apart() -> None:
    base = timebase()
    markers = (Marker("verse", Fraction(375, 2)), Marker("chorus", Fraction(500)))
    cues = (Cue("late", Fraction(700), Fraction(800)), Cue("turn", Fraction(0), Fraction(50)))
    new = [Marker("verse", Fraction(188)), Marker("chorus", Fraction(501)), Marker("end", Fraction(900))]
    new += [Marker("end", Fraction(900))]
    shots = [
        Cue("turn", Fraction(0), Fraction(50)),
        Cue("turn", Fraction(60), Fraction(70)),
        Cue("x", *[Fraction(1)] * 2),
    ]
    found = merge(markers, cues, new, shots, base)
    assert found.had_markers == (new[0], new[3])
    assert found.new_markers == (new[1], new[2])
    assert found.markers == (markers[0], markers[1], new[1], new[2])
    assert found.had_cues == (shots[0],)
    assert found.cues == (*cues, Cue("turn (2)", Fraction(60), Fraction(70)), shots[2])
    assert found.remarks == (
        "marker chorus at 10:00:20:01: another of this name stays at 10:00:20:00",
        "cue turn at 10:00:02:10 is called turn (2): there is one of its name",
    )
    again = merge(found.markers, found.cues, new, shots, base)
    assert (again.new_markers, again.new_cues) == ((), ())
    assert (again.markers, again.cues) == (found.markers, found.cues)
