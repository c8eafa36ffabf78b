"""The gcode output where there is little room: short windows, slow wires, lines that stall. Simulated time."""

import pytest

from sequencer.adapters.outputs.gcode import carries_gcode
from sequencer.errors import LinkError
from sequencer.rig.signals import Trigger
from tests.adapters.stepper_board import StepperBoard
from tests.adapters.test_gcode import ADDRESS, MS, RIG, SECOND, Stage


def test_a_stop_waits_for_room_and_the_board_is_not_over_full_for_it() -> None:
    stage = Stage("&window=48&halt=M62 P1 Q2 R3 S4 E5 D6", StepperBoard(characters=48, blocks=2))
    stage.run(4)
    while len(stage.output._window) == 0:
        stage.run(stage.now_ns / SECOND + 0.004)
    stage.output.stop()
    stage.run(4.5)
    assert [code for code, _ in stage.board.fired] == ["M62"]
    assert not stage.board.overfull


def test_nothing_overtakes_a_stop_that_waits_for_room() -> None:
    stage = Stage("&window=48&shutter=M7&halt=M62 P1 Q2 R3 S4 E5 D6", StepperBoard(characters=48, blocks=2))
    stage.run(4)
    while len(stage.output._window) == 0:
        stage.run(stage.now_ns / SECOND + 0.004)
    stage.output.stop()
    stage.output.ask()
    stage.output.fire(Trigger(stage.now_ns, "shutter"))
    stage.run(4.5)
    assert [code for code, _ in stage.board.fired] == ["M62", "M7"]


@pytest.mark.parametrize("what", ["halt", "shutter"])
def test_a_line_that_no_window_holds_is_refused_before_anything_is_opened(what: str) -> None:
    line = "M62 P1 Q2 R3 S4 E5 D6 H7 I8 J9 K10 L11 P12 Q13"
    with pytest.raises(LinkError, match="window=40, but a line has up to 47 characters"):
        carries_gcode(f"{ADDRESS}&window=40&{what}={line}", RIG)


def test_a_first_piece_with_a_long_line_is_not_gone_in_haste() -> None:
    # first the slide alone, with short lines, then both axes
    stage = Stage("&hz=25", StepperBoard(baud=9_600))

    def place(at_s: float) -> list[float]:
        again_s = max(0.0, min(at_s, 7) - 5)
        return [-60 + 10 * again_s, 100 + 50 * max(0, min(at_s, 4) - 2) + 50 * again_s]

    stage.place = place
    stage.run(8)
    again = next(way for way in stage.board.ways if way.begins_ns > 4.5 * SECOND)
    assert again.begins_ns == pytest.approx(5 * SECOND, abs=6 * MS)
    lasts_s = (again.ends_ns - again.begins_ns) / SECOND
    assert (again.to["X"] - again.start["X"]) / lasts_s < 1.1 * 50
    assert (again.to["A"] - again.start["A"]) / lasts_s < 1.1 * 10


def test_codes_and_pieces_share_a_short_window() -> None:
    stage = Stage("&window=48&shutter=M62 P1 Q2 R3 S4", StepperBoard(characters=48, blocks=2))
    stage.run(2)
    for number in range(10):
        stage.output.fire(Trigger(round((3 + 0.1 * number) * SECOND), "shutter"))
    stage.run(9)
    assert len(stage.board.fired) == 10
    assert not stage.board.overfull


def test_a_code_at_rest_goes_in_its_own_time_on_a_slow_wire() -> None:
    stage = Stage("&hz=25&shutter=M7", StepperBoard(baud=9_600))  # three characters take three milliseconds, a way 39
    stage.run(0.4)
    stage.output.fire(Trigger(600 * MS, "shutter"))
    stage.run(0.9)
    assert stage.board.fired[0][1] == pytest.approx(600 * MS, abs=6 * MS)
