"""The device for a board, under MicroPython, with stand-ins for the board's own modules."""

import os
import subprocess
from pathlib import Path

from tests.device.bench import REFERENCE, reference
from tests.needs import needs

HERE = Path(__file__).parent


def test_the_board_s_loop_answers_a_hello_over_its_uart_and_sends_on_what_the_port_had_no_room_for() -> None:
    needs("micropython")
    packets = reference("packets")
    hello = packets.framed(packets.bundle(1, [packets.message("/device/hello", "i", 1)]))
    done = subprocess.run(
        ["micropython", "-c", "import board; board.run()"],
        input="\n".join([hello[:7].hex(), hello[7:].hex(), *[""] * 80]) + "\n",
        env={**os.environ, "MICROPYPATH": f"{HERE / 'stand_ins'}:{REFERENCE}"},
        capture_output=True,
        text=True,
        timeout=30,
        check=False,
    )
    assert done.stderr == ""
    frames = packets.Frames()
    heard = [one for line in done.stdout.split() for one in frames.feed(bytes.fromhex(line))]
    said = [packets.read(one) for packet in heard for _, one in packets.split(packet)]
    able = [values for address, values in said if address == b"/device/able"]
    assert [(one[0], one[1], one[6:]) for one in able] == [(1, b"my-head", [b"pan", b"tilt"])]
    assert b"/rig/pan/actual" in [address for address, _ in said]
    assert frames.bad == 0
