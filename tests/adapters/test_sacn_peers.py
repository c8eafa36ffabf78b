"""The output over streaming ACN with others: the receiver of the library `sacn`, and tshark, which names the fields."""

import os
import queue
import shutil
import subprocess
from contextlib import suppress

import pytest
import sacn
from sacn.messages.data_packet import DataPacket

from sequencer.shell.kinds import open_output
from tests.adapters.hearing import LOOPBACK, hearing
from tests.adapters.test_sacn import AXES, RIG, address, setpoint
from tests.needs import needs


@pytest.mark.real_time
def test_the_librarys_receiver_has_what_was_sent() -> None:
    """Source: the library `sacn` as the other side of E1.31."""
    with hearing() as free:
        number = free.getsockname()[1]
    heard: queue.Queue[DataPacket] = queue.Queue()
    receiver = sacn.sACNreceiver(bind_address=LOOPBACK, bind_port=number)
    receiver.register_listener("universe", heard.put, universe=7)
    receiver.start()
    try:
        with open_output(f"sacn://{LOOPBACK}:{number}/7?{AXES}", RIG) as output:
            for pan in (0.0, 85.0, -170.0):
                output.send(setpoint(pan, 360.0))
                packet = heard.get(timeout=5)
                assert int.from_bytes(packet.dmxData[:2], "big") / 65_535 * 340 - 170 == pytest.approx(pan, abs=0.003)
                assert int.from_bytes(packet.dmxData[2:5], "big") / 16_777_215 == pytest.approx(0.75, abs=1e-7)
    finally:
        receiver.stop()


def no_capture(why: str) -> None:
    """Skip the running test where this machine lets nobody capture; under CI=true, where it must, fail it.

    Any other reason for not beginning is a fault of the test's own, and fails it everywhere.
    """
    forbidden = "permi" in why.lower()  # "You do not have permission", "Operation not permitted"
    if forbidden and os.environ.get("CI") != "true":
        pytest.skip(f"tshark may not capture here: {why[:200]}")
    pytest.fail(f"tshark does not capture: {why[:500]}")


def begun(capture: subprocess.Popen[str]) -> None:
    """Wait until it captures; skip where it may not."""
    assert capture.stderr is not None
    said = []
    for line in capture.stderr:
        said.append(line.strip())
        if "Capturing on" in line:
            return
    no_capture(" ".join(said))


FIELDS = (
    "cid",  # 5.6
    "protocol_id",  # 5.5, the root layer's vector
    "dmx_vector",  # 6.2.1
    "dmx.source_name",  # 6.2.2
    "dmx.priority",  # 6.2.3
    "dmx.seq_number",  # 6.2.5
    "dmx.option_s",  # 6.2.6, Stream_Terminated
    "dmx.universe",  # 6.2.7
    "dmx.increment",  # 7.5
    "dmx.count",  # 7.6
    "dmx.start_code2",  # 7.7
)
"""Fields of Wireshark's dissector, each with its section of E1.31."""


@pytest.mark.real_time
def test_tshark_reads_a_capture_of_the_loopback_and_names_the_fields() -> None:
    """Source: Wireshark's dissector of E1.31, which knows nothing of ours; sections of the standard at `FIELDS`."""
    needs("tshark")
    with hearing() as port:
        number = port.getsockname()[1]
        command = [shutil.which("tshark") or "tshark", "-i", "lo", "-f", f"udp dst port {number}", "-c", "4"]
        command += ["-a", "duration:30", "--enable-heuristic", "acn", "-o", "acn.dmx_enable:TRUE", "-T", "fields"]
        with subprocess.Popen(
            [*command, *(word for field in FIELDS for word in ("-e", f"acn.{field}"))],
            stdout=subprocess.PIPE,
            stderr=subprocess.PIPE,
            text=True,
        ) as capture:
            begun(capture)
            out = ""
            for n in range(100):  # it says that it captures a little before it does
                with open_output(address(port, AXES + "&priority=150"), RIG) as output:
                    output.send(setpoint(170.0, 720.0 - n))
                with suppress(subprocess.TimeoutExpired):
                    out, _ = capture.communicate(timeout=0.3)
                    break
            capture.kill()
    rows = [dict(zip(FIELDS, line.split("\t"), strict=True)) for line in out.splitlines()]
    assert len(rows) == 4
    for row in rows:
        assert row["dmx.source_name"] == "twintake quay"
        assert (row["dmx.priority"], row["dmx.universe"], row["dmx.count"]) == ("150", "7", "513")
        assert (int(row["protocol_id"], 0), int(row["dmx_vector"], 0)) == (4, 2)
        assert (int(row["dmx.start_code2"], 0), int(row["dmx.increment"], 0)) == (0, 1)
        assert row["cid"] == rows[0]["cid"] != ""
    ended = [row["dmx.option_s"] in ("1", "True") for row in rows]
    numbers = [int(row["dmx.seq_number"]) for row in rows]
    assert sorted(zip(numbers, ended, strict=True)) == [(0, False), (1, True), (2, True), (3, True)]
