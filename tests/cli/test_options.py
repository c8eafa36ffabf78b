"""Numbers and speeds as an operator types them: exact, or refused in plain words."""

from fractions import Fraction

import pytest
import typer
from typer.testing import CliRunner

from sequencer.cli.options import Speed, fraction

app = typer.Typer()


@app.command()
def speed(speed: Speed = "1") -> None:
    print(speed)


@pytest.mark.parametrize("written", ["1/2", "0.5", ".5", "50%", " 50 %", "+0.5"])
def test_a_speed_is_exact_however_it_is_written(written: str) -> None:
    assert CliRunner().invoke(app, ["--speed", written]).output == "1/2\n"


@pytest.mark.parametrize("written", ["0", "-1/2", "1/0", "half", "1e3", "nan", "٥"])
def test_what_is_no_speed_is_refused_with_an_example(written: str) -> None:
    result = CliRunner().invoke(app, [f"--speed={written}"])
    assert result.exit_code == 2
    assert "1/2" in result.output


@pytest.mark.parametrize(
    ("written", "exact"), [("-2", Fraction(-2)), ("1/3", Fraction(1, 3)), ("12.25", Fraction(49, 4))]
)
def test_frames_are_exact(written: str, exact: Fraction) -> None:
    assert fraction(written) == exact


def test_what_is_no_number_is_refused() -> None:
    with pytest.raises(typer.BadParameter, match="not a number; write one like 12"):
        fraction("two")
