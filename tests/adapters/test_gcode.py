"""The gcode output against a motor board, both in simulated time: no port and no clock."""

import math
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
import pytest

from sequencer.adapters.gcode_boards.board import read_board
from sequencer.adapters.outputs.gcode import GcodeOutput, carries_gcode
from sequencer.errors import LinkError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.signals import Setpoint, Trigger
from tests.adapters.stepper_board import StepperBoard

MS = 1_000_000
SECOND = 1_000 * MS
TICK = 4 * MS
RIG = Rig(
    name="quay",
    axes=(
        Axis(name="pan", kind="pan", unit="deg", travel=(-170, 170), speed=60, acceleration=120, jerk=600),
        Axis(name="slide", kind="slide", unit="mm", travel=(0, 2000), speed=400, acceleration=800, jerk=4000),
    ),
)
ADDRESS = "gcode:/dev/ttyUSB0?pan=A&slide=X"


@dataclass
class Wire:
    """The host's end of the cable: it takes a line when those before are through, but for 4 ms."""

    board: StepperBoard
    now_ns: int = 0
    through_ns: float = 0.0

    def fileno(self) -> None:
        return None

    def write(self, message: bytes) -> bool:
        if self.through_ns - self.now_ns > 4 * MS:
            return False
        self.urgent(message)
        return True

    def urgent(self, message: bytes) -> None:
        self.through_ns = max(self.through_ns, self.now_ns) + len(message) * 1e10 / self.board.baud
        self.board.hear(message, self.now_ns)

    def go_on(self) -> None:
        pass

    def read(self) -> bytes:
        return self.board.spoken(self.now_ns)


def move(at_s: float) -> list[float]:
    """Rest to 1 s, then six seconds of a cycloidal way with a wobble, then rest."""
    part = min(max(at_s - 1, 0), 6) / 6
    way = part - math.sin(math.tau * part) / math.tau
    return [-60 + 45 * way + 5 * math.sin(at_s) * way * (1 - way), 100 + 450 * way]


@dataclass
class Stage:
    """Both ends, and the engine's ticks: it sends setpoints `ahead_s` before they are due."""

    options: str = ""
    board: StepperBoard = field(default_factory=StepperBoard)
    place: Callable[[float], list[float]] = move
    troubles: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.now_ns = 0
        self.wire = Wire(self.board)
        address = f"{ADDRESS}&baud={self.board.baud}{self.options}"
        self.output = GcodeOutput(self.wire, read_board(address, RIG), RIG)
        self.carries = carries_gcode(address, RIG)
        self.sends = True

    def run(self, to_s: float) -> None:
        while self.now_ns < to_s * SECOND:
            self.now_ns += TICK
            self.wire.now_ns = self.now_ns
            self.board.advance(self.now_ns)
            self.output.read(self.now_ns)
            self.output.look(self.now_ns)
            if self.sends:
                self.send_due(self.now_ns + round(self.carries.ahead_s * SECOND))
            if self.now_ns % SECOND == 0 and (trouble := self.output.trouble()):
                self.troubles.append(trouble)

    def send_due(self, due_ns: int) -> None:
        self.output.send(Setpoint(due_ns, np.array(self.place(due_ns / SECOND)), np.zeros(2)))

    def furthest_ms(self, from_ms: int = 500, to_ms: int = 60_000) -> float:
        """How far from its time the slide is at worst, where it moves at more than 5 mm a second."""
        worst = 0.0
        for at_ms in range(from_ms, min(to_ms, self.now_ns // MS), 5):
            at_s = at_ms / 1000
            speed = (self.place(at_s + 1e-3)[1] - self.place(at_s - 1e-3)[1]) / 2e-3
            if speed > 5:
                off = self.board.at(at_ms * MS, "X") - self.place(at_s)[1]
                worst = max(worst, abs(off / speed) * 1e3)
        return worst

    @property
    def rests_at(self) -> tuple[float, float]:
        return self.board.at(self.now_ns, "A"), self.board.at(self.now_ns, "X")


def ways(stage: Stage) -> list[str]:
    return [line for line in stage.board.lines if line.startswith("G1")]


def test_a_move_is_gone_as_it_is_due_and_ends_where_it_should() -> None:
    stage = Stage()
    stage.run(9)
    assert stage.furthest_ms() < 3  # a tick, less what a first piece makes up
    assert stage.rests_at == pytest.approx(move(9), abs=1e-4)
    assert stage.board.lines[0] == "G21 G90 G93"
    assert stage.board.lines[1].startswith("G92 A")
    assert stage.troubles == []


def test_at_rest_nothing_is_sent() -> None:
    stage = Stage()
    stage.run(0.9)
    assert len(stage.board.lines) == 2
    stage.run(9)
    sent = len(stage.board.lines)
    stage.run(12)
    assert len(stage.board.lines) == sent
    assert 295 <= sent <= 305  # six seconds at fifty a second


@pytest.mark.parametrize("hz", [20, 125])
def test_the_pace_is_the_one_that_was_asked_for(hz: int) -> None:
    stage = Stage(f"&hz={hz}")
    stage.run(9)
    assert 5.95 * hz <= len(ways(stage)) <= 6.3 * hz + 3
    assert stage.furthest_ms() < 4


@pytest.mark.parametrize(
    ("options", "board"),
    [
        ("", StepperBoard()),
        ("&window=48", StepperBoard(characters=48)),
        ("&lines=1", StepperBoard(blocks=1)),
        ("&window=48", StepperBoard(characters=48, blocks=2)),
        ("&holds=0", StepperBoard(characters=127, answers="done")),
        ("&holds=17", StepperBoard(characters=127, blocks=16)),
        ("&hz=20&window=64", StepperBoard(characters=64, baud=9600)),
    ],
)
def test_the_look_ahead_is_full_and_never_over_full(options: str, board: StepperBoard) -> None:
    stage = Stage(options, board)
    stage.run(9)
    assert not board.overfull
    assert board.deepest <= stage.carries.committed_s + 1e-9
    assert stage.rests_at == pytest.approx(move(9), abs=1e-4)
    gaps = [after.begins_ns - before.ends_ns for before, after in zip(board.ways, board.ways[1:], strict=False)]
    assert max(gaps) < 25 * MS  # it never came to rest in between


def test_a_board_that_holds_long_may_take_as_long_to_acknowledge() -> None:
    board = StepperBoard(characters=1024, blocks=64, answers="done")
    stage = Stage("&held=0.6&holds=0&window=1024&lines=64", board)
    stage.run(9)
    assert 0.5 < board.deepest <= 0.6
    assert stage.furthest_ms() < 4


@pytest.mark.parametrize("slow", [0.005, -0.005])
@pytest.mark.parametrize(
    ("options", "blocks", "answers"), [("&holds=0", 16, "done"), ("&holds=17", 16, "taken"), ("&holds=7", 6, "taken")]
)
def test_a_clock_that_is_off_by_half_a_percent_is_steered(slow: float, options: str, blocks: int, answers: str) -> None:
    # half a percent is what a ceramic resonator may be off (common practice, no source)
    board = StepperBoard(slow=slow, blocks=blocks, answers=answers)  # type: ignore[arg-type]  # of these words
    stage = Stage(options, board)
    stage.run(9)
    assert stage.furthest_ms() < 16
    # thirty milliseconds is what it would be off by itself
    assert abs(stage.output._steering.factor - 1 / (1 + slow)) < 0.003


@pytest.mark.parametrize("holds", [0, 5])
def test_a_board_that_holds_more_than_was_said_is_not_steered(holds: int) -> None:
    stage = Stage(f"&holds={holds}", StepperBoard())
    stage.run(9)
    assert stage.output._steering.factor == 1
    assert stage.furthest_ms() < 4


def test_a_slow_wire_is_led() -> None:
    stage = Stage("&hz=20", StepperBoard(baud=19_200))  # a line takes about fifteen milliseconds
    stage.place = lambda at_s: [0.0, 100 + 50 * max(0, min(at_s, 4) - 2) + 50 * max(0, min(at_s, 7) - 5)]
    stage.run(8)
    assert stage.board.ways[0].begins_ns == pytest.approx(2 * SECOND, abs=6 * MS)
    again = next(way for way in stage.board.ways if way.begins_ns > 4.5 * SECOND)
    assert again.begins_ns == pytest.approx(5 * SECOND, abs=6 * MS)
    assert stage.furthest_ms(2_050, 3_950) < 2  # but for the jerks at both ends


def test_a_clock_that_nobody_compares_is_never_ahead_by_more_than_what_the_board_holds() -> None:
    stage = Stage("", StepperBoard(slow=-0.05))
    stage.run(9)
    assert 50 < stage.furthest_ms() < stage.carries.committed_s * 1e3


def test_a_clock_that_is_too_far_off_is_told() -> None:
    stage = Stage("&holds=0&window=512", StepperBoard(characters=512, slow=0.03, answers="done"))
    stage.run(6)
    assert any("late; its clock is too far off" in trouble for trouble in stage.troubles)


def test_a_changed_plan_withdraws_what_the_board_does_not_hold() -> None:
    stage = Stage()
    stage.run(4)
    from_ns = stage.now_ns + round(stage.carries.committed_s * SECOND)
    stage.output.replace(from_ns)
    stand = move(from_ns / SECOND)
    stage.place = lambda at_s: move(at_s) if at_s * SECOND < from_ns else stand
    for due_ns in range(from_ns, stage.now_ns + round(stage.carries.ahead_s * SECOND), TICK):
        stage.send_due(due_ns)
    stage.run(6)
    assert stage.rests_at == pytest.approx(stand, abs=1e-4)
    assert stage.board.ways[-1].ends_ns < from_ns + 20 * MS


def test_a_stop_sends_nothing_more_and_the_board_ends_what_it_holds() -> None:
    stage = Stage("&halt=M0")
    stage.run(4)
    stage.output.stop()
    stage.run(6)
    (code, at_ns), *others = stage.board.fired
    assert (code, others) == ("M0", [])
    assert at_ns <= (4 + stage.carries.committed_s) * SECOND + 5 * MS
    assert stage.board.ways[-1].ends_ns <= (4 + stage.carries.committed_s) * SECOND + MS
    stage.output.stop()
    stage.run(6.1)
    assert len(stage.board.fired) == 1
    assert stage.output.trouble() == ""


def test_after_a_stop_and_a_question_the_rest_is_made_up_slowly() -> None:
    stage = Stage()
    stage.run(4)
    stage.output.stop()
    stage.run(6)
    left = stage.rests_at
    stage.place = lambda at_s: move(4.4 + 0.1 * max(0.0, at_s - 8))
    stage.output.ask()
    stage.run(7.5)
    assert stage.rests_at == left  # nothing moves by itself
    stage.run(14)
    stage.sends = True
    for way in stage.board.ways[200:]:
        lasts_s = (way.ends_ns - way.begins_ns) / SECOND
        if way.begins_ns > 7 * SECOND:
            assert abs(way.to["X"] - way.start["X"]) / lasts_s < 0.1 * 400 + 0.1 * 160
    assert stage.rests_at == pytest.approx(stage.place(14), abs=0.2)


def test_codes_go_out_at_their_instants_and_others_are_not_carried() -> None:
    stage = Stage("&shutter=m7&record=M62 P1")
    assert stage.carries.triggers == ("shutter", "record")
    stage.run(0.5)
    assert stage.output.fire(Trigger(600 * MS, "record"))
    assert stage.output.fire(Trigger(4_003 * MS, "shutter"))
    assert not stage.output.fire(Trigger(5_000 * MS, "cut"))
    stage.run(6)
    (record, record_ns), (shutter, shutter_ns) = stage.board.fired
    assert (record, shutter) == ("M62", "M7")
    assert record_ns == pytest.approx(600 * MS, abs=6 * MS)
    assert shutter_ns == pytest.approx(4_003 * MS, abs=6 * MS)
    assert stage.furthest_ms() < 4


def test_a_refused_code_is_told_and_a_refused_piece_is_a_link_that_is_gone() -> None:
    stage = Stage("&shutter=M7", StepperBoard(refuses="M7"))
    stage.run(0.5)
    stage.output.fire(Trigger(600 * MS, "shutter"))
    stage.run(0.9)
    assert "refused 'M7': error: not now" in stage.output.trouble()
    stage.board.refuses = "G1"
    with pytest.raises(LinkError, match=r"refused 'G1 A.*F.*': error: not now; .*home the rig"):
        stage.run(2)


def test_a_board_that_stalls_is_a_link_that_is_gone_within_half_a_second() -> None:
    stage = Stage()
    stage.run(4)
    stage.board.dead = True
    with pytest.raises(LinkError, match=r"has not acknowledged 'G1 .*' for 0.3 s"):
        stage.run(6)
    assert stage.now_ns < 4.5 * SECOND


@pytest.mark.parametrize(("options", "most_ms"), [("&window=512&lines=32", 4), ("", 40)])
def test_acknowledgements_that_come_late_cost_nothing_where_the_window_is_wide(options: str, most_ms: float) -> None:
    stage = Stage(options, StepperBoard(characters=512, late_ns=90 * MS))
    stage.run(9)
    assert stage.furthest_ms() < most_ms
    assert not stage.board.overfull
    assert stage.rests_at == pytest.approx(move(9), abs=1e-4)
    assert any("take a lower hz, or a larger window" in trouble for trouble in stage.troubles) == (most_ms > 4)


def test_acknowledgements_that_come_twice_are_told_and_the_window_is_right_again_at_rest() -> None:
    stage = Stage("&window=64", StepperBoard())
    stage.run(0.9)
    stage.board.times = 2
    stage.run(9)
    assert any("more than it was sent" in trouble for trouble in stage.troubles)
    assert stage.rests_at == pytest.approx(move(9), abs=1e-4)
    assert len(stage.output._window) == 0


def test_a_board_that_begins_anew_in_mid_move_is_a_link_that_is_gone_and_is_sent_nothing_more() -> None:
    stage = Stage("", StepperBoard())
    stage.board.say("board 1.0 ready", 0)  # what it says after the power comes on
    stage.run(4)
    stage.board.reset()
    sent = len(stage.board.lines)
    with pytest.raises(LinkError, match=r"began anew .* lost its place; home the rig"):
        stage.run(6)
    assert stage.now_ns <= 4 * SECOND + 2 * TICK
    with pytest.raises(LinkError):
        stage.run(6)
    stage.board.advance(stage.now_ns + SECOND)
    assert len(stage.board.lines) <= sent + 2  # what was on the wire


def test_the_greeting_can_be_given_where_it_is_not_heard() -> None:
    stage = Stage("&greeting=board")
    stage.run(4)
    stage.board.reset()
    with pytest.raises(LinkError, match="began anew"):
        stage.run(6)


def test_garbage_is_told_counted_and_harmless() -> None:
    stage = Stage()
    stage.run(2)
    for at_ms in range(2_000, 5_000, 7):
        stage.board.say("\xff\x00 noise", at_ms * MS)
    stage.run(9)
    assert stage.output.left_aside > 400
    assert "noise" in stage.output.trouble()
    assert stage.rests_at == pytest.approx(move(9), abs=1e-4)


def test_a_board_that_never_answers_is_told_with_its_baud() -> None:
    stage = Stage("", StepperBoard(mute=True))
    stage.run(0.1)
    assert "has not answered yet" in stage.output.trouble()
    with pytest.raises(LinkError, match=r"no board answers at /dev/ttyUSB0 at 115200 baud"):
        stage.run(5)
    assert 5 <= len(stage.board.lines) <= 7


def test_a_board_that_knows_no_inverse_time_says_so_before_anything_moves() -> None:
    stage = Stage("", StepperBoard(refuses="G21 G90 G93"))
    with pytest.raises(LinkError, match="it says 'error: not now'"):
        stage.run(5)


def test_a_board_that_boots_for_two_seconds_is_waited_for_and_what_went_by_is_not_made_up_at_once() -> None:
    stage = Stage("", StepperBoard(mute=True))
    stage.run(2.4)
    stage.board.mute = False
    stage.run(9)
    assert stage.output.ready
    speeds = [
        abs(way.to["X"] - way.start["X"]) / (way.ends_ns - way.begins_ns) * SECOND for way in stage.board.ways if way.to
    ]
    assert max(speeds) < 400


def test_a_homed_board_is_not_told_where_it_stands_and_hears_all_axes_first() -> None:
    stage = Stage("&begin=board")
    stage.run(1.5)
    assert not [line for line in stage.board.lines if line.startswith("G92")]
    assert ways(stage)[0].startswith("G1 A-60 X100.")


def test_where_an_axis_stands_is_told_at_rest_and_counts_from_there() -> None:
    stage = Stage()
    stage.run(9)
    stage.output.here("slide", 7.25)
    stage.place = lambda at_s: [move(9)[0], 7.25 + max(0, at_s - 10)]
    stage.run(12)
    assert "G92 X7.25" in stage.board.lines
    assert stage.rests_at[1] == pytest.approx(9.25, abs=0.01)
    assert ways(stage)[-1].startswith("G1 X")
