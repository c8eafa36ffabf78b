"""The command line of the simulated rig: what it cannot take is said with how to write it."""

import pytest

from sequencer.shell.simulated_options import arguments, faults_of


@pytest.mark.parametrize(
    ("option", "written", "words"),
    [
        ("--seed", "-3", "-3 is no seed; write a whole number, zero or more"),
        ("--seed", "inf", "inf is no seed; write a whole number, zero or more"),
        ("--seed", "one", "one is no seed; write a whole number, zero or more"),
        ("--drop", "1.5", "1.5 is not a share; write a number from 0 to 1"),
        ("--drop", "nan", "nan is not a share; write a number from 0 to 1"),
        ("--drop", "much", "much is not a share; write a number from 0 to 1"),
        ("--away", "5", "5 is no while; write it as 2,5: from 2 s to 5 s"),
        ("--away", "5,2", "5,2 is no while; write it as 2,5: from 2 s to 5 s"),
        ("--away", "-1,2", "-1,2 is no while; write it as 2,5: from 2 s to 5 s"),
        ("--count-off", "slide=far", "slide=far is no axis and number; write it as slide=37.5"),
        ("--count-off", "=3", "=3 is no axis and number; write it as slide=37.5"),
    ],
)
def test_an_option_that_cannot_be_is_refused_with_its_name_and_the_mend(
    capsys: pytest.CaptureFixture[str], option: str, written: str, words: str
) -> None:
    with pytest.raises(SystemExit) as ended:
        arguments(["--rig", "rig.json", f"{option}={written}"])
    assert ended.value.code == 2
    assert f"argument {option}: {words}" in " ".join(capsys.readouterr().err.split())


def test_what_lies_at_the_edges_is_taken() -> None:
    how = arguments(["--rig", "rig.json", "--seed=0", "--drop=1", "--away=0,0.5"])
    assert how.seed == 0
    assert (faults_of(how).drop, faults_of(how).away_s) == (1.0, (0.0, 0.5))
