"""What an address of a motor board may say, and what is said of it before anything is opened."""

import pytest

from sequencer.adapters.outputs.gcode import KIND, carries_gcode
from sequencer.errors import LinkError
from tests.adapters.test_gcode import ADDRESS, RIG


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ("pan=A", "no letter for slide"),
        ("pan=A&slide=A", "letter A to pan and slide"),
        ("pan=A&slide=E", "slide=E"),
        ("pan=A&slide=X&hz=200&baud=57600", r"hz=200, but 57600 baud carry 5760 characters a second.*155\.7 lines"),
        ("pan=A&slide=X&window=20", "window=20, but a line has up to 37"),
        ("pan=A&slide=X&held=0.03", "held=0.03, less than two pieces"),
        ("pan=A&slide=X&holds=-1", "holds=-1"),
        ("pan=A&slide=X&shutter=G1", "shutter=G1; it must be an M word"),
        ("pan=A&slide=X&shutter=M7%0AG0", "shutter=M7"),
        ("pan=A&slide=X&halt=M0%0AG0", "halt="),
        ("pan=A&slide=X&begin=there", "begin=there"),
        ("pan=A&slide=X&colour=7", "option colour"),
    ],
)
def test_a_wrong_address_says_what_is_wrong(options: str, said: str) -> None:
    with pytest.raises(LinkError, match=said):
        carries_gcode(f"gcode:/dev/ttyUSB0?{options}", RIG)


def test_what_it_carries_is_said_with_figures() -> None:
    carries = carries_gcode(f"{ADDRESS}&digits=3&held=0.2", RIG)
    assert carries.most_hz == pytest.approx(11_520 / 35)
    assert "115200 baud carry 11520 characters" in carries.why
    assert carries.resolution == (0.001, 0.001)
    assert (carries.committed_s, carries.ahead_s) == pytest.approx((0.2, 0.48))
    assert not KIND.answers
    assert not KIND.shared
