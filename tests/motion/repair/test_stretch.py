"""One factor for all: exact for the curve as drawn, less where the curve may bend, and honest where none helps."""

from dataclasses import dataclass, replace
from fractions import Fraction

import numpy as np
import pytest

from sequencer.motion.compile import compile_move
from sequencer.motion.peaks import over, peaks
from sequencer.motion.repair.outcome import Cancelled, Impossible, Repaired, Unrepaired
from sequencer.motion.repair.smooth import smooth
from sequencer.motion.repair.stretch import Solve, stretch, stretch_and_smooth
from sequencer.rig.axis import Rig
from sequencer.rig.limits import SumLimit
from sequencer.score.easing import LawKind, Leg, UnitCurve
from sequencer.score.move import Cue, Ease, Marker, Move
from tests.motion.machines import LAWS, rig, track
from tests.motion.repair.limits import RATE, hasty, instants, most, pinned

KINDS = ("beats", "uneven", "one way", "holds")


def repaired(answer: Repaired | Impossible) -> Move:
    assert isinstance(answer, Repaired), answer
    return answer.move


def refused(answer: Repaired | Impossible) -> Impossible:
    assert isinstance(answer, Impossible), answer
    return answer


@pytest.mark.parametrize("law", ["poly345", "through", "modified-trapezoid", "s-curve"])
@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize("seed", range(3))
def test_a_stretched_move_just_keeps_the_limits(law: str, kind: str, seed: int) -> None:
    move = Move(tracks=(hasty(kind, seed, law), hasty(kind, seed + 50, law, axis="pan1")))
    found = repaired(stretch(rig(2), move, RATE, LAWS))
    if not over(compile_move(rig(2), move, RATE, LAWS), rig(2)):
        assert found == move
        return
    assert most(rig(2), found) <= 1 + 1e-9
    before, after = np.array(instants(move)[0]), np.array(instants(found)[0])
    factor = (after[-1] - after[0]) / (before[-1] - before[0])
    # keys on thousandths of a frame stay exact in nine decimals, so that there is one factor to the last digit
    assert factor.denominator <= 10**6 or (factor * 10**6).denominator == 1
    assert (after - before[0] == (before - before[0]) * factor).all()
    # a millionth less does not do
    shorter = [
        replace(one, keys=tuple(replace(key, at=key.at * (1 - Fraction(3, 10**6))) for key in one.keys))
        for one in found.tracks
    ]
    tight = compile_move(rig(2), Move(tracks=tuple(shorter)), RATE, LAWS)
    parts = [(one.speed.value / 60, one.acceleration.value / 120, one.jerk.value / 600) for one in peaks(tight, rig(2))]
    assert max(max(each) for each in parts) > 1


def test_the_factor_is_the_closed_form_of_the_peaks() -> None:
    move = Move(tracks=(track([0, 25], [0, 90], "poly345"),))
    # peaks of 3-4-5 over 1 s and 90 deg (Cam Design Handbook, from memory): 15/8, 10/sqrt 3, 60
    factor = max(15 / 8 * 90 / 60, (10 / 3**0.5 * 90 / 120) ** 0.5, (60 * 90 / 600) ** (1 / 3))
    at = instants(repaired(stretch(rig(), move, RATE, LAWS)))[0]
    assert float(at[1] / 25) == pytest.approx(factor, abs=1.1e-6)
    assert at[1] / 25 >= Fraction(factor)


def test_all_stays_about_one_frame_and_cues_go_along_while_markers_stay() -> None:
    move = Move(
        tracks=(track([50, 75, 100], [0, 90, 0], "poly345"),),
        cues=(Cue("all", Fraction(30), Fraction(120)), Cue("half", Fraction(75), Fraction(175, 2))),
        markers=(Marker("drop", Fraction(75)),),
    )
    found = repaired(stretch(rig(), move, RATE, LAWS))
    first, middle, last = instants(found)[0]
    assert first == 50
    assert [(cue.start, cue.end) for cue in found.cues] == [(30, last + 20), (middle, (middle + last) / 2)]
    assert found.markers == move.markers
    about = repaired(stretch(rig(), move, RATE, LAWS, about=Fraction(75)))
    assert instants(about)[0] == [75 - (middle - 50), 75, 75 + (middle - 50)]


def test_a_move_within_its_limits_stays_as_it_is() -> None:
    move = Move(tracks=(pinned(track([0, 250], [0, 10], "poly345"), 0, 1),))
    answer = stretch(rig(), move, RATE, LAWS)
    assert isinstance(answer, Repaired)
    assert answer.move == move
    assert "stays as it is" in answer.words[0]


def test_pinned_keys_refuse_it_but_where_all_turns_about_them() -> None:
    tracks = (track([0, 25, 50], [0, 90, 0], "poly345"), track([0, 25], [0, 1], "poly345", "pan1"))
    one = Move(tracks=(pinned(tracks[0], 1), pinned(tracks[1], 1)))
    assert [key.at for key in repaired(stretch(rig(2), one, RATE, LAWS)).tracks[0].keys if key.pin] == [25]
    two = Move(tracks=(pinned(tracks[0], 1, 2), tracks[1]))
    (reason,) = refused(stretch(rig(2), two, RATE, LAWS)).reasons
    assert (reason.axis, reason.keys, reason.at) == ("pan0", (2,), (Fraction(50),))
    assert "unpin" in reason.words


@pytest.mark.parametrize(("law", "cure"), [("linear", "soften"), ("harmonic", "soften"), ("trapezoid", "soften")])
def test_a_jolt_is_not_cured_by_stretching(law: str, cure: str) -> None:
    move = Move(tracks=(track([0, 25, 50], [0, 10, 30], [Ease("poly345"), Ease(law), Ease(law)]),))
    (reason,) = refused(stretch(rig(), move, RATE, LAWS)).reasons
    assert (reason.axis, reason.keys, reason.at) == ("pan0", (1, 2), (Fraction(25), Fraction(50)))
    assert law in reason.words
    assert cure in reason.words


def test_a_position_beyond_the_travel_is_not_cured_by_stretching() -> None:
    move = Move(tracks=(track([0, 25, 50], [0, 90, 0], "poly345"),))
    reasons = refused(stretch(rig(travel=(-50, 50)), move, RATE, LAWS)).reasons
    assert [reason.keys for reason in reasons] == [(0, 1), (1, 2)]
    assert "travel" in reasons[0].words


def test_a_combined_limit_counts_too() -> None:
    both = SumLimit(name="wall", sum=(("pan0", 1.0), ("pan1", 1.0)), speed=30.0)
    machine = replace(rig(2), combined=(both,))
    move = Move(tracks=tuple(track([0, 50], [0, 20], "poly345", axis) for axis in ("pan0", "pan1")))
    at = instants(repaired(stretch(machine, move, RATE, LAWS)))[0]
    assert float(at[1]) == pytest.approx(50 * 15 / 8 * 40 / 2 / 30, abs=1e-4)


def test_a_hair_s_breadth_between_keys_is_kept_and_limits_of_very_different_axes() -> None:
    slow = replace(rig(2).axes[1], speed=0.06, acceleration=0.12, jerk=0.6)
    machine = Rig(name="two", axes=(rig(2).axes[0], slow))
    at = [Fraction(0), Fraction(100), Fraction(101), Fraction(101) + Fraction(1, 1000), Fraction(300)]
    move = Move(
        tracks=(track(at, [0, 30, 31, 31, 0], "poly345"), track(at, [0, 0.01, 0.0105, 0.0105, 0], "poly345", "pan1"))
    )
    found = repaired(stretch(machine, move, RATE, LAWS))
    assert most(machine, found) <= 1 + 1e-9


@pytest.mark.parametrize("seed", range(1, 5))
def test_smoothing_at_the_same_time_needs_less(seed: int) -> None:
    move = Move(tracks=(hasty("beats", seed, "through", scale=6.0),))
    factors: set[Fraction] = set()

    def solve(one: Move) -> Repaired | Impossible:
        factors.add(one.tracks[0].keys[-1].at / move.tracks[0].keys[-1].at)
        return smooth(rig(), one, RATE, LAWS)

    answer = stretch_and_smooth(rig(), move, RATE, LAWS, solve)
    assert isinstance(answer, Repaired)
    assert most(rig(), answer.move) <= 1 + 1e-9
    drawn = repaired(stretch(rig(), move, RATE, LAWS))
    found = instants(answer.move)[0][-1] / instants(move)[0][-1]
    assert 1 < found <= instants(drawn)[0][-1] / instants(move)[0][-1]
    # a thousandth less was tried, and did not do
    assert found - Fraction(1, 1000) in factors


def limited(least: Fraction, fault: type[Exception] | None = None) -> Solve:
    """Return a fake solver: a move that is `least` times as long as 100 frames can be done."""

    def solve(move: Move) -> Repaired | Impossible:
        if move.tracks[0].keys[-1].at >= 100 * least:
            return Repaired(move=move, words=("smoothed",))
        if fault is not None:
            raise fault("the arithmetic did not suffice")
        return Impossible(reasons=())

    return solve


@pytest.mark.parametrize("fault", [None, Unrepaired])
@pytest.mark.parametrize(
    ("least", "found"), [("1", "1"), ("1.0004", "1.001"), ("1.371", "1.371"), ("50.0001", "50.001")]
)
def test_the_least_factor_is_found_by_bisection(least: str, found: str, fault: type[Exception] | None) -> None:
    move = Move(tracks=(track([0, 100], [0, 90], "linear"),))
    answer = stretch_and_smooth(rig(), move, RATE, LAWS, limited(Fraction(least), fault))
    assert isinstance(answer, Repaired)
    assert instants(answer.move)[0][-1] == 100 * Fraction(found)
    assert answer.words[-1] == "smoothed"


def test_where_no_factor_helps_the_last_answer_stands() -> None:
    move = Move(tracks=(track([0, 100], [0, 90], "linear"),))
    assert isinstance(stretch_and_smooth(rig(), move, RATE, LAWS, limited(Fraction(1000))), Impossible)
    with pytest.raises(Unrepaired):
        stretch_and_smooth(rig(), move, RATE, LAWS, limited(Fraction(1000), Unrepaired))
    pins = Move(tracks=(pinned(move.tracks[0], 0, 1),))
    (reason,) = refused(stretch_and_smooth(rig(), pins, RATE, LAWS, limited(Fraction(2)))).reasons
    assert reason.keys == (1,)


def test_the_search_tells_how_far_it_is_and_stops_when_told_to() -> None:
    move = Move(tracks=(track([0, 100], [0, 90], "linear"),))
    told: list[float] = []

    def tell(done: float) -> bool:
        told.append(done)
        return len(told) < 4

    with pytest.raises(Cancelled):
        stretch_and_smooth(rig(), move, RATE, LAWS, limited(Fraction(3, 2)), tell=tell)
    assert len(told) == 4
    assert told == sorted(told)
    assert 0 < told[0] < told[-1] < 1


@dataclass(frozen=True, slots=True)
class Snap:
    """The whole way in the last `part` of the time."""

    part: float = 0.5


def snap(how: Snap) -> UnitCurve:
    powers = np.array([6, -15, 10, 0, 0, 0]) / how.part ** np.arange(5, -1, -1)
    return UnitCurve(np.array([0.0, 1 - how.part, 1.0]), np.stack((np.zeros(6), powers), axis=1))


def at_the_last_moment(how: Snap, leg: Leg) -> Snap:
    """A tenth of a second, however long the leg is."""
    return Snap(min(0.1 / leg.lasts_s, 0.5))


def test_a_law_that_asks_as_much_at_every_factor_is_named_with_its_leg() -> None:
    snaps = dict(LAWS) | {"snap": LawKind("snap", Snap, snap, suited=at_the_last_moment)}
    move = Move(tracks=(track([0, 50], [0, 1], "poly345"), track([0, 25, 50], [0, 1, 20], "snap", "pan1")))
    words = "no factor suffices for the leg of pan1 from @25, be it that snap takes another shape at each, or .*"
    with pytest.raises(Unrepaired, match=f"{words}; soften it, or mend the values of its keys, then stretch"):
        stretch(rig(2), move, RATE, snaps)
    soft = Move(tracks=(move.tracks[0], track([0, 25, 50], [0, 1, 20], "poly345", "pan1")))
    assert most(rig(2), repaired(stretch(rig(2), soft, RATE, snaps))) <= 1 + 1e-9


def test_a_way_without_end_is_named() -> None:
    move = Move(tracks=(track([0, 25, 50], [0, 1, 9e6], "poly345"),))
    slow = replace(rig(), axes=(replace(rig().axes[0], speed=0.01),))
    with pytest.raises(Unrepaired, match=r"for the leg of pan0 from @25, .* that it goes much too far; .*values"):
        stretch(slow, move, RATE, LAWS)
