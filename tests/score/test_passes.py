"""What passes make of a move: scaled, offset, backward; and what cannot be made is said with its place."""

import re
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from sequencer.errors import ProjectError
from sequencer.motion.compile import compile_move
from sequencer.rig.axis import Axis, Rig
from sequencer.score.edits.selection import everything
from sequencer.score.edits.stretch import stretch
from sequencer.score.move import Cue, Ease, Key, Move, Pass, Scaled, Track
from sequencer.score.pace import step
from sequencer.score.passes import axis_renamed, cue_renamed, varied
from sequencer.timebase.rate import Rate
from tests.motion.machines import LAWS, SECONDS, rig, track
from tests.score.edits.moves import EASES, moves

FILM = Rate(24)
HALVES = Fraction(1, 2)


def axis(name: str, kind: str, **fields: object) -> Axis:
    plain = {"speed": 60.0, "acceleration": 120.0, "jerk": 600.0, "unit": "mm", "travel": (0.0, 1000.0)}
    return Axis(name=name, kind=kind, **plain | fields)  # type: ignore[arg-type]  # fields of one dict


TABLE = Rig(
    name="table",
    axes=(
        axis("pan", "pan", unit="deg", travel=None),
        axis("slide", "slide"),
        axis("lift", "lift", travel=(0.0, 300.0), home=100.0),
        axis("focus", "focus", unit="part", travel=(0.0, 1.0)),
    ),
)
CROSSING = Cue("crossing", Fraction(0), Fraction(10))
MOVE = Move(
    tracks=(
        track([1, 5, 9], [-20, 10, 30], "through", "pan"),
        track([2, 4, 8], [100, 400, 800], "poly345", "slide"),
        track([2, 8], [0.2, 0.6], "cycloidal", "focus"),
    ),
    cues=(CROSSING,),
)


def of(one: Pass, move: Move = MOVE, machine: Rig = TABLE) -> Move:
    return varied(replace(move, passes=(Pass("first"), one)), machine, one, LAWS)


def values(move: Move, name: str) -> list[float]:
    return [key.value for each in move.tracks if each.axis == name for key in each.keys]


def sampled(machine: Rig, move: Move, t_s: np.ndarray, rate: Rate = SECONDS) -> np.ndarray:
    return compile_move(machine, move, rate, LAWS).sample(t_s)


# --- other speeds


@given(moves(), st.sampled_from([HALVES, Fraction(1, 4), Fraction(2), Fraction(2, 3), Fraction(1001, 1000)]))
def test_at_shared_frames_another_speed_shows_the_positions_of_the_move(move: Move, speed: Fraction) -> None:
    one, machine = Pass("other", speed), rig(2)
    cue = move.cues[0]
    start_s = float(FILM.seconds(cue.start))
    whole = compile_move(machine, move, FILM, LAWS)
    passed = whole.stretched(speed, start_s)
    between = step(FILM, one)
    # the frames of the pass that are whole frames of the move
    number = np.arange(0, 400)
    shot_s = start_s + number * between.denominator * FILM.den / FILM.num
    written_s = start_s + number * between.numerator * FILM.den / FILM.num
    assert np.abs(passed.sample(shot_s) - whole.sample(written_s)).max() <= 1e-9 * max(
        1.0, np.abs(whole.coeffs[-1]).max()
    )
    # and another way there: the keys themselves written further apart
    slow = compile_move(machine, stretch(move, everything(move), 1 / speed, cue.start), FILM, LAWS)
    assert slow.sample(shot_s) == pytest.approx(whole.sample(written_s), abs=1e-6)


def test_a_pass_at_its_speed_only_leaves_the_move_as_it_is() -> None:
    for one in (Pass("slow", HALVES), Pass("fast", Fraction(2), rate=Fraction(48), note="clean plate")):
        move = replace(MOVE, passes=(one,))
        assert varied(move, TABLE, one, LAWS) is move


# --- offset and scale


def test_an_offset_is_added_to_its_axes_alone() -> None:
    found = of(Pass("second eye", offset=(("slide", 65.0), ("pan", -1.5))))
    assert values(found, "slide") == [165, 465, 865]
    assert values(found, "pan") == [-21.5, 8.5, 28.5]
    assert values(found, "focus") == [0.2, 0.6]
    assert found.cues == MOVE.cues


def test_an_axis_without_a_track_stands_beside_its_home() -> None:
    found = of(Pass("higher", offset=(("lift", 20.0),)))
    t_s = np.linspace(-5, 15, 9)
    assert sampled(TABLE, found, t_s)[:, 2] == pytest.approx(np.full(9, 120.0))
    # the new track brings no instant at which nothing happened before
    assert compile_move(TABLE, found, SECONDS, LAWS).start_s == compile_move(TABLE, MOVE, SECONDS, LAWS).start_s


@given(st.fractions(Fraction(1, 60), Fraction(5, 4), max_denominator=60), st.integers(0, 4))
def test_lengths_of_a_scaled_pass_are_exact(factor: Fraction, about: int) -> None:
    found = of(Pass("model", scale=Scaled(factor, (("slide", about * 25.0),))))
    exact = [about * 25 + (Fraction(value) - about * 25) * factor for value in (100, 400, 800)]
    got = [Fraction(value) for value in values(found, "slide")]
    assert max(abs(one - other) for one, other in zip(got, exact, strict=True)) <= 1e-12
    lengths = zip(got, got[1:], (300, 400), strict=False)
    assert all(abs((after - before) - way * factor) <= 1e-12 for before, after, way in lengths)
    # angles and the lens stay; the lift, which has no track, is scaled from its home
    assert values(found, "pan") == values(MOVE, "pan")
    assert values(found, "focus") == values(MOVE, "focus")
    assert sampled(TABLE, found, np.array([5.0]))[0, 2] == pytest.approx(float(100 * factor), abs=1e-12)


def test_a_model_path_is_the_full_one_in_small_at_every_instant() -> None:
    moved = replace(MOVE, tracks=(*MOVE.tracks[:1], track([1, 3, 6, 9], [100, 500, 650, 800], "through", "slide")))
    found = of(Pass("model", scale=Scaled(Fraction(1, 6), (("slide", 300.0),))), moved)
    t_s = np.linspace(0, 10, 401)
    small, full = (sampled(TABLE, each, t_s) for each in (found, moved))
    assert small[:, 1] == pytest.approx(300 + (full[:, 1] - 300) / 6, abs=1e-9)
    assert small[:, 0] == pytest.approx(full[:, 0], abs=1e-12)


def test_an_offset_comes_after_the_scale() -> None:
    found = of(Pass("both", offset=(("slide", 65.0),), scale=Scaled(HALVES)))
    assert values(found, "slide") == [115, 265, 465]


def test_what_was_done_is_not_done_twice() -> None:
    one = Pass("both", HALVES, offset=(("slide", 65.0),), scale=Scaled(HALVES), reversed=True, note="plate")
    done = of(one)
    again = done.passes[1]
    assert again == Pass("both", HALVES, note="plate")
    assert varied(done, TABLE, again, LAWS) is done


# --- backward


@given(moves(EASES))
def test_backward_the_whole_move_shows_at_each_instant_what_it_showed_as_long_before_its_end(move: Move) -> None:
    keys = [key.at for each in move.tracks for key in each.keys]
    span = Cue("whole", min(keys) - 10, max(keys) + 25)
    found = of(Pass("back", reversed=True), replace(move, cues=(span,)), rig(2))
    t_s = np.linspace(float(span.start), float(span.end), 301)
    there, back = sampled(rig(2), move, t_s), sampled(rig(2), found, float(span.start + span.end) - t_s)
    # two legs of speed that jump where they meet are each right but for the instant itself
    assert np.abs(back - there).max() <= 1e-6 * max(1.0, np.abs(there).max())


def test_backward_cues_keep_their_frames_and_the_rig_goes_from_one_to_the_next() -> None:
    move = Move(
        tracks=(
            track([1, 4, 12, 15], [0, 40, 40, 100], [Ease("poly345"), Ease("hold"), Ease("poly345"), Ease("hold")]),
        ),
        cues=(Cue("one", Fraction(0), Fraction(5)), Cue("two", Fraction(11), Fraction(16))),
    )
    found = of(Pass("back", reversed=True), move, rig())
    assert found.cues == move.cues
    for cue in move.cues:
        t_s = np.linspace(float(cue.start), float(cue.end), 101)
        back = sampled(rig(), found, float(cue.start + cue.end) - t_s)
        assert back == pytest.approx(sampled(rig(), move, t_s), abs=1e-9)
    between_s = np.linspace(5, 11, 601)
    assert np.abs(np.diff(sampled(rig(), found, between_s)[:, 0])).max() < 0.5  # no jump on the way


def test_of_one_cue_only_that_one_is_left_and_runs_backward() -> None:
    move = replace(MOVE, cues=(CROSSING, Cue("all of it", Fraction(-5), Fraction(20))))
    found = of(Pass("back", of="crossing", reversed=True), move)
    assert found.cues == (CROSSING,)
    t_s = np.linspace(0, 10, 101)
    assert sampled(TABLE, found, 10 - t_s) == pytest.approx(sampled(TABLE, move, t_s), abs=1e-9)


def test_cues_that_overlap_are_told_apart_first() -> None:
    move = replace(MOVE, cues=(CROSSING, Cue("all of it", Fraction(-5), Fraction(20))))
    with pytest.raises(ProjectError, match=r"passes\[1\]\.of: .*all of it and crossing overlap.*say which cue"):
        of(Pass("back", reversed=True), move)


def test_cues_that_meet_in_other_places_backward_are_refused() -> None:
    move = Move(
        tracks=(track([0, 5, 10], [0, 40, 100], "poly345"),),
        cues=(Cue("one", Fraction(0), Fraction(5)), Cue("two", Fraction(5), Fraction(10))),
    )
    with pytest.raises(ProjectError, match=r"pan0 would jump from 0 to 100 where one meets two"):
        of(Pass("back", reversed=True), move, rig())


@pytest.mark.parametrize(
    ("ease", "end", "rest"),
    [
        ("poly345", 6, "@5 or @9"),  # in the middle of a leg
        ("through", 5, "@1 or @9"),  # at a key that a smooth run passes
        ("linear", 5, "@1 or @9"),  # at a key with speed on both sides
    ],
)
def test_a_cue_that_does_not_rest_at_its_end_is_not_run_backward(ease: str, end: int, rest: str) -> None:
    move = Move(tracks=(track([1, 5, 9], [-20, 10, 30], ease),), cues=(Cue("turn", Fraction(0), Fraction(end)),))
    with pytest.raises(ProjectError) as fault:
        of(Pass("back", reversed=True), move, rig())
    assert fault.value.path == "passes[1].reversed"
    assert f"pan0 moves at @{end}, where turn ends" in fault.value.what
    assert rest in fault.value.mend
    # what is offered works
    for at in [int(word[1:]) for word in rest.split(" or ")]:
        if at > 1:
            cued = replace(move, cues=(Cue("turn", Fraction(0), Fraction(at)),))
            assert of(Pass("back", reversed=True), cued, rig()).tracks[0].keys


def test_a_hold_within_a_run_is_rest_enough() -> None:
    keys = [
        Key(Fraction(at), value, Ease("through"), how)  # type: ignore[arg-type]  # a word of the list there is
        for at, value, how in ((0, 0, "pass"), (3, 20, "pass"), (6, 50, "hold"), (9, 60, "pass"), (12, 90, "pass"))
    ]
    move = Move(tracks=(Track("pan0", tuple(keys)),), cues=(Cue("first", Fraction(0), Fraction(6)),))
    found = of(Pass("back", reversed=True), move, rig())
    t_s = np.linspace(0, 6, 121)
    assert sampled(rig(), found, 6 - t_s) == pytest.approx(sampled(rig(), move, t_s), abs=1e-6)


def test_a_jolt_to_rest_at_the_end_of_a_cue_is_for_the_check_and_no_motion_that_is_missing() -> None:
    eases = [Ease("linear"), Ease("hold"), Ease("linear"), Ease("linear")]
    move = Move(tracks=(track([1, 5, 9, 12], [0, 40, 40, 0], eases),), cues=(Cue("one", Fraction(0), Fraction(5)),))
    found = of(Pass("back", reversed=True), move, rig())
    t_s = np.linspace(0, 5, 101)
    assert sampled(rig(), found, 5 - t_s) == pytest.approx(sampled(rig(), move, t_s), abs=1e-9)


def test_keys_hardly_beside_the_ends_of_a_cue_are_mirrored_about_its_middle() -> None:
    near = Fraction(1, 10**8)
    move = Move(tracks=(track([near, 4, 10], [0, 30, 50], "poly345"),), cues=(CROSSING,))
    found = of(Pass("back", reversed=True), move, rig())
    assert [key.at for key in found.tracks[0].keys] == [0, 6, 10 - near]


# --- what cannot be


def refused(one: Pass, path: str, words: str, move: Move = MOVE) -> None:
    with pytest.raises(ProjectError) as fault:
        of(one, move)
    assert fault.value.path == path
    assert words in f"{fault.value.what}; {fault.value.mend}"


def test_an_offset_of_an_axis_that_is_gone_is_said() -> None:
    refused(Pass("eye", offset=(("crane", 65.0),)), "passes[1].offset.crane", "no axis 'crane'; remove it, or name one")


def test_an_origin_of_what_is_not_scaled_is_said() -> None:
    one = Pass("model", scale=Scaled(HALVES, (("pan", 3.0),)))
    refused(one, "passes[1].scale.about.pan", "pan is a pan, which is not scaled")


def test_a_cue_that_is_gone_is_said() -> None:
    refused(Pass("back", of="finale"), "passes[1].of", "no cue 'finale'; there are: crossing")


def test_an_offset_out_of_the_travel_is_said_with_what_fits_and_that_fits() -> None:
    words = "slide would be at 1050 mm at @8, travel [0, 1000]; an offset from -100 to 200 fits"
    refused(Pass("eye", offset=(("slide", 250.0),)), "passes[1].offset.slide", words)
    for fits in (-100.0, 200.0):
        assert of(Pass("eye", offset=(("slide", fits),))).tracks


def test_of_an_axis_that_counts_in_parts_no_unit_is_said() -> None:
    move = replace(MOVE, tracks=(track([0, 8], [0.2, 0.9], "poly345", "focus"),))
    refused_at = "focus would be at 1.15 at @8, travel [0, 1]; an offset from -0.2 to 0.1 fits"
    with pytest.raises(ProjectError, match=re.escape(f"passes[1].offset.focus: {refused_at}")):
        of(Pass("eye", offset=(("focus", 0.25),)), move)
    machine = Rig(name="toy", axes=(axis("slide", "slide", unit="part", travel=(0.0, 1.0)),))
    move = replace(MOVE, tracks=(track([0, 8], [0.2, 0.9], "poly345", "slide"),))
    with pytest.raises(ProjectError, match=re.escape("passes[1].scale: slide would be at 1.8 at @8, travel [0, 1]; ")):
        of(Pass("eye", scale=Scaled(Fraction(2), ())), move, machine)


places = st.decimals(-500, 900, places=3).map(float)


@given(
    st.lists(places, min_size=1, max_size=5),
    places,
    st.none() | st.fractions(Fraction(1, 12), 30, max_denominator=12),
    places,
)
@example([-0.001], 0.292, Fraction(1, 12), -0.001)  # at the origin, but for a rounding: no scale helps
@example([447.058], 0.0, Fraction(283, 11), 0.001)  # far off a short travel: of ten digits all count
def test_whatever_is_offered_fits(stands: list[float], by: float, factor: Fraction | None, about: float) -> None:
    """Offers are read out of the words and tried, as an operator would."""
    low, high = min(stands) - 0.37, max(stands) + 0.291
    slide = axis("slide", "slide", travel=(low, high), home=stands[0])
    machine = Rig(name="slide", axes=(slide,))
    move = Move(tracks=(track(list(range(len(stands))), stands, "poly345", "slide"),), cues=(CROSSING,))
    scale = None if factor is None else Scaled(factor, (("slide", about),))
    one = Pass("eye", offset=(("slide", by),) if by else (), scale=scale)
    try:
        of(one, move, machine)
    except ProjectError as fault:
        said = fault.mend
    else:
        return
    if found := re.search(r"offset from (\S+) to (\S+) fits", said):
        for fits in found.groups():
            assert of(replace(one, offset=(("slide", float(fits)),)), move, machine).tracks
    for fits in re.findall(r"a scale (?:of up to|from (\S+) to) (\S+) fits", said):
        for each in filter(None, fits):
            assert Fraction(each) > 0
            assert of(replace(one, scale=Scaled(Fraction(each), (("slide", about),))), move, machine).tracks


def test_an_offset_that_leads_to_the_very_end_of_the_travel_fits_whatever_floats_make_of_it() -> None:
    assert 0.1 + 0.2 > 0.3
    machine = Rig(name="slide", axes=(axis("slide", "slide", travel=(0.0, 0.3)),))
    move = Move(tracks=(track([0, 5], [0.0, 0.1], "poly345", "slide"),), cues=(CROSSING,))
    assert of(Pass("eye", offset=(("slide", 0.2),)), move, machine).tracks


def test_a_scale_out_of_the_travel_is_said_with_what_fits_and_that_fits() -> None:
    about = (("slide", 50.0),)
    one = Pass("model", scale=Scaled(Fraction(3, 2), about))
    refused(one, "passes[1].scale", "about 50 a scale of up to 1.266 fits")
    assert of(replace(one, scale=Scaled(Fraction("1.266"), about))).tracks
    with pytest.raises(ProjectError):
        of(replace(one, scale=Scaled(Fraction("1.267"), about)))


def test_new_names_are_followed() -> None:
    one = Pass("eye", of="crossing", offset=(("slide", 65.0),), scale=Scaled(HALVES, (("slide", 1.0),)))
    (found,) = cue_renamed(axis_renamed((one,), "slide", "track"), "crossing", "wide")
    assert found == Pass("eye", of="wide", offset=(("track", 65.0),), scale=Scaled(HALVES, (("track", 1.0),)))
