"""`twintake rig`: what it asks, what it does with the answers, and what it writes. The rig itself: tests/shell."""

import json
from collections.abc import Callable, Mapping
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner, Result

from sequencer.cli.app import app
from sequencer.cli.exits import console
from sequencer.project.store import load_rig
from sequencer.rig.axis import Axis
from sequencer.shell import trials
from sequencer.takes.trials.course import Course, Tried, begin
from sequencer.takes.trials.following import Following
from sequencer.takes.trials.ladder import climbed
from sequencer.takes.trials.seen import Floats, Seen
from sequencer.takes.trials.step import Step
from sequencer.takes.trials.steps import Most
from tests.takes.trials.rows import seen_of

STANDS = {"pan": -48.0, "tilt": 9.0, "roll": 0.0, "slide": -0.02, "focus": 0.3}


class Bench:
    """A rig that does at once what trials ask of it: `course` and `answer` are what it shows."""

    def __init__(self) -> None:
        self.moved: list[str] = []
        self.most: dict[str, Most] = {}
        self.steps: list[Step] = []
        self.trouble = ""
        self.late_trouble = ""
        self.meanwhile: Callable[[], None] = lambda: None
        self.factor = 1.0
        self.places = dict(STANDS)

    def stands(self, ground: trials.Ground) -> dict[str, float]:
        return self.places

    def run_step(
        self, ground: trials.Ground, axis: str, step: Step, places: Mapping[str, float], teller: trials.Teller
    ) -> Seen:
        self.moved.append(f"{axis} a little")
        self.steps.append(step)

        def answer(at_s: Floats, position: Floats) -> Floats:
            went: Floats = position[0] + (position - position[0]) * self.factor
            return went

        return seen_of(step, answer)

    def run_course(
        self, ground: trials.Ground, axis: str, most: Most, places: Mapping[str, float], teller: trials.Teller
    ) -> Course:
        self.moved.append(axis)
        self.most[axis] = most
        self.meanwhile()
        rig = ground.project.rig
        course = begin(rig.axes[rig.index(axis)], most, places[axis])
        if self.trouble:
            one = Tried("a small move", 0.0, None, False, self.trouble)
            teller.tried(one)
            return replace(course, stage="done", trouble=self.trouble, tried=(one,))
        teller.tried(Tried("speed 40", 80.0, 70.0, False, "follows badly, 1.7 off at most"))
        follows = tuple(Following(delay_s=0.0101, lag_s=0.0, offset=0.02, peak=0.01) for _ in range(3))
        return replace(
            course,
            stage="done",
            follows=follows,
            plays=(0.04, 0.04),
            resolution=0.0055,
            runs=((1.0, 70.0), (-1.0, 70.2)),
            pull=climbed(course.pull, course.pull.most, True),
            trouble=self.late_trouble,
            tried=(Tried("speed 40", 80.0, 70.0, False, "follows badly"),),
        )


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    there = Bench()
    for name in ("stands", "run_step", "run_course"):
        monkeypatch.setattr(trials, name, getattr(there, name))
    return there


def rig(folder: Path, *options: str, typed: str | None = None) -> Result:
    return CliRunner().invoke(app, ["rig", str(folder), *options], input=typed)


def axis_of(folder: Path, name: str) -> Axis:
    found = load_rig(folder)
    return found.axes[found.index(name)]


def test_nothing_is_done_before_the_caution_is_answered(bench: Bench, harbour: Path) -> None:
    done = rig(harbour, typed="n\n")
    assert done.exit_code == 0
    assert "emergency stop" in " ".join(done.output.split())
    assert bench.moved == []


def test_each_axis_is_armed_by_itself(bench: Bench, harbour: Path) -> None:
    before = (harbour / "rig.json").read_bytes()
    # go on; then for each axis: travel, origin, the most as they are, and not armed
    done = rig(harbour, typed="y\n" + "\n\n\nn\n" * 5)
    assert done.exit_code == 0, done.output
    assert bench.moved == []
    assert done.output.count("not armed; nothing moves") == 5
    assert (harbour / "rig.json").read_bytes() == before


def test_the_walk_of_one_axis(bench: Bench, harbour: Path) -> None:
    # travel, origin here, the most, armed, the way; speed accepted, latency kept, backlash accepted
    answers = ["y", "-100..120", "here", "80,150", "y", "sideways", "right", "y", "n", "y"]
    done = rig(harbour, "--axis", "pan", typed="\n".join(answers) + "\n")
    assert done.exit_code == 0, done.output
    assert bench.moved == ["pan a little", "pan"]
    assert bench.most["pan"] == Most(speed=80.0, acceleration=150.0)
    pan = axis_of(harbour, "pan")
    assert pan.travel == (-100.0, 120.0)
    assert pan.home == -48.0
    assert dict(load_rig(harbour).geometry.positive)["pan"] == "right"
    assert pan.measured is not None
    assert pan.measured.on == date.today().isoformat()
    assert pan.measured.figures["speed"].value == pytest.approx(70.0)
    assert done.output.count("Take it over?") == 3, "an acceleration that held all that was tried keeps its limit"
    assert pan.speed == 63.0
    assert pan.acceleration == 160.0
    assert pan.latency_s == 0.006, "kept, as the operator said"
    assert pan.backlash == 0.04
    other = load_rig(harbour)
    assert other.axes[1:] == load_rig(Path("projects/harbour-lanterns")).axes[1:]


def test_yes_takes_over_what_is_given_and_measured(bench: Bench, harbour: Path) -> None:
    done = rig(harbour, "--arm", "--yes", "--axis", "slide", "--most", "slide=300,800", "--begin", "1/4")
    assert done.exit_code == 0, done.output
    assert bench.moved == ["slide"], "nobody is asked which way it went, so it is not shown"
    assert bench.most["slide"] == Most(speed=300.0, acceleration=800.0, begin=0.25)
    slide = axis_of(harbour, "slide")
    assert (slide.speed, slide.acceleration, slide.latency_s) == (63.0, 800.0, 0.0101)
    assert "twintake check" in done.output


def test_one_document_with_the_evidence(bench: Bench, harbour: Path) -> None:
    done = rig(harbour, "--arm", "--yes", "--json", "--axis", "pan", "--positive", "pan=right", "--home", "pan=1.5")
    assert done.exit_code == 0, done.output
    document: dict[str, Any] = json.loads(done.stdout)
    (pan,) = document["axes"]
    assert document["written"] is True
    assert (pan["axis"], pan["stands"], pan["home"], pan["positive"]) == ("pan", -48.0, 1.5, "right")
    assert pan["measured"]["speed"] == {"value": 70.0, "spread": 0.0, "trials": 1, "at_least": False}
    assert {"field": "speed", "now": 90.0, "new": 63.0, "why": "90% of what it reached", "taken_over": True} in pan[
        "limits"
    ]
    assert pan["trials"] == [
        {"step": "speed 40", "asked": 80.0, "reached": 70.0, "held": False, "words": "follows badly"}
    ]


def test_only_the_description_without_measuring(bench: Bench, harbour: Path) -> None:
    done = rig(harbour, "--arm", "--yes", "--no-measure", "--travel", "pan=endless", "--positive", "slide=forward")
    assert done.exit_code == 0, done.output
    assert bench.moved == []
    assert axis_of(harbour, "pan").travel is None
    assert dict(load_rig(harbour).geometry.heading_deg)["slide"] == 0.0
    assert axis_of(harbour, "pan").measured is None


def test_trouble_ends_the_walk_with_words_and_leaves_the_limits(bench: Bench, harbour: Path) -> None:
    before = (harbour / "rig.json").read_bytes()
    bench.trouble = "pan says it stands still: is the motor on, is the axis blocked, does the encoder report?"
    done = rig(harbour, "--arm", "--yes")
    assert done.exit_code == 1
    said = " ".join(done.output.split())
    assert "is the motor on" in said
    assert "not tried: tilt, roll, slide, focus" in said
    assert bench.moved == ["pan"]
    assert (harbour / "rig.json").read_bytes() == before


def test_an_axis_that_does_not_move_is_not_measured(bench: Bench, harbour: Path) -> None:
    bench.factor = 0.0
    done = rig(harbour, "--axis", "pan", typed="y\n\n\n\ny\n")
    assert done.exit_code == 1
    assert "stands still: is the motor on" in " ".join(done.output.split())
    assert bench.moved == ["pan a little"]


def test_what_moved_unseen_is_trouble(bench: Bench, harbour: Path) -> None:
    done = rig(harbour, "--axis", "pan", typed="y\n\n\n\ny\nnone\n")
    assert done.exit_code == 1
    assert "nobody saw it" in " ".join(done.output.split())
    assert bench.moved == ["pan a little"]


@pytest.mark.parametrize(
    ("options", "words"),
    [
        (["--json"], "nobody can be asked"),
        (["--json", "--arm"], "add --arm and --yes"),
        (
            ["--axis", "tilt", "--travel", "pan=-90..90"],
            "--travel: pan is not among the axes of --axis; add --axis pan",
        ),
        (["--axis", "crane"], "no axis 'crane'; its axes are pan, tilt, roll, slide, focus"),
        (["--travel", "pan"], "'pan' names no axis and value; write pan=-90..90"),
        (["--travel", "crane=0..1"], "no axis 'crane'"),
        (["--arm", "--yes", "--travel", "pan=wide"], "'wide' is no travel"),
        (["--arm", "--yes", "--travel", "pan=90..-90"], "the low end must be below the high end"),
        (["--arm", "--yes", "--travel", "pan=0..10"], "home is -48"),
        (["--arm", "--yes", "--travel", "focus=0..0.35"], "of its keys would be outside the travel"),
        (["--arm", "--yes", "--home", "pan=there"], "'there' is not a number"),
        (["--arm", "--yes", "--positive", "pan=up"], "'up' is no way for pan; write left or right"),
        (["--arm", "--yes", "--positive", "focus=left"], "a focus has none, leave it out"),
        (["--arm", "--yes", "--most", "pan=60"], "'60' is no speed and acceleration"),
        (["--arm", "--yes", "--most", "pan=0,60"], "the most speed to try is 0"),
        (["--arm", "--yes", "--begin", "2"], "from 0.01 to 1"),
    ],
)
def test_what_makes_no_sense_is_refused_with_the_mend(
    bench: Bench, harbour: Path, terminal: None, options: list[str], words: str
) -> None:
    done = rig(harbour, *options)
    assert done.exit_code == 2, done.output
    said = " ".join(done.output.replace("│", " ").split())
    assert words in said
    assert bench.moved == []


def test_an_axis_outside_its_travel_is_not_moved(bench: Bench, harbour: Path, terminal: None) -> None:
    bench.places["focus"] = 1.2
    done = rig(harbour, "--arm", "--yes")
    assert done.exit_code == 2
    assert "rig.json: axes: focus stands at 1.2, outside its travel [0, 1]" in done.output
    assert bench.moved == [], "not even those before it"


def test_which_way_is_positive_is_seen_from_where_the_axis_stands(bench: Bench, harbour: Path) -> None:
    """At its high end it goes down first, and what the operator sees is then the way that is not positive."""
    bench.places["pan"] = 170.0
    done = rig(harbour, "--axis", "pan", "--no-measure", typed="y\n\n\n\ny\nleft\n")
    assert done.exit_code == 0, done.output
    assert bench.steps[0].legs[0].start == 170.0
    assert bench.steps[0].legs[0].end < 170.0
    assert dict(load_rig(harbour).geometry.positive)["pan"] == "right"


def test_a_way_that_has_no_word_is_not_lost_by_pressing_enter(bench: Bench, harbour: Path) -> None:
    tree = json.loads((harbour / "rig.json").read_text())
    tree["geometry"] = {"heading_deg": {"slide": 30.0}}
    (harbour / "rig.json").write_text(json.dumps(tree))
    rig(harbour, "--axis", "slide", "--no-measure", typed="y\n\n\n\ny\n\n\n")
    assert dict(load_rig(harbour).geometry.heading_deg)["slide"] == 30.0


def test_an_answer_that_cannot_be_is_asked_for_again(bench: Bench, harbour: Path) -> None:
    answers = ["y", "wide", "0..90", "", "-90..90", "there", "-90..90", "here", "fast", "0,100", "50,100", "n"]
    done = rig(harbour, "--axis", "pan", typed="\n".join(answers) + "\n")
    said = " ".join(done.output.split())
    assert done.exit_code == 0, done.output
    for words in ("'wide' is no travel", "home is -48", "'there' is not a number", "'fast' is no speed", "above zero"):
        assert words in said
    assert "not armed; nothing moves" in said
    assert axis_of(harbour, "pan").travel == (-90.0, 90.0)


def test_a_travel_without_the_place_where_the_axis_stands_is_asked_for_again(bench: Bench, harbour: Path) -> None:
    bench.places["pan"] = 100.0
    done = rig(harbour, "--axis", "pan", typed="y\n-60..60\n\n-60..120\n\n\nn\n")
    assert done.exit_code == 0, done.output
    assert "pan stands at 100, outside its travel [-60, 60]" in " ".join(done.output.split())
    assert axis_of(harbour, "pan").travel == (-60.0, 120.0)


def test_here_is_written_as_it_is_read(bench: Bench, harbour: Path) -> None:
    """A place in single precision has six digits that mean something."""
    bench.places["pan"] = -48.00400161743164
    rig(harbour, "--arm", "--yes", "--no-measure", "--home", "pan=here")
    assert axis_of(harbour, "pan").home == -48.004


@pytest.mark.parametrize(("options", "typed"), [(["--arm", "--yes"], None), ([], "y\n\n\n\ny\n\n" + "\n" * 9)])
def test_after_trouble_only_an_operator_takes_over(
    bench: Bench, harbour: Path, options: list[str], typed: str | None
) -> None:
    """What was measured up to then is kept as evidence, and the trouble is said before anything is asked."""
    bench.late_trouble = "the rig is not where it was sent (pan by 3 deg)"
    before = axis_of(harbour, "pan")
    done = rig(harbour, "--axis", "pan", *options, typed=typed)
    assert done.exit_code == 1
    said = " ".join(done.output.split())
    assert said.index("not where it was sent") < said.index("90% of what it reached")
    after = axis_of(harbour, "pan")
    assert after.measured is not None
    assert after == replace(before, measured=after.measured)


def test_what_another_program_saved_meanwhile_stays(bench: Bench, harbour: Path) -> None:
    """The editor may be open beside a walk of many minutes."""

    def saved() -> None:
        tree = json.loads((harbour / "project.json").read_text())
        tree["name"] = "Renamed meanwhile"
        (harbour / "project.json").write_text(json.dumps(tree))

    bench.meanwhile = saved
    done = rig(harbour, "--arm", "--yes", "--axis", "pan")
    assert done.exit_code == 0, done.output
    assert json.loads((harbour / "project.json").read_text())["name"] == "Renamed meanwhile"
    assert axis_of(harbour, "pan").speed == 63.0


def test_a_rig_that_another_program_changed_meanwhile_is_left_as_it_is(bench: Bench, harbour: Path) -> None:
    def saved() -> None:
        tree = json.loads((harbour / "rig.json").read_text())
        tree["axes"][1]["speed"] = 12.0
        (harbour / "rig.json").write_text(json.dumps(tree))

    bench.meanwhile = saved
    done = rig(harbour, "--arm", "--yes", "--axis", "pan")
    assert done.exit_code == 2
    assert "changed by somebody else since the walk began" in " ".join(done.output.split())
    assert (axis_of(harbour, "pan").speed, axis_of(harbour, "tilt").speed) == (90.0, 12.0)


def test_the_table_of_the_axes_fits_a_narrow_terminal(
    bench: Bench, harbour: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    rig(harbour, "--arm", "--yes", "--axis", "pan")
    monkeypatch.setattr(console, "_width", 80)
    done = rig(harbour, "--arm", "--yes", "--no-measure")
    assert "…" not in done.output
    assert date.today().isoformat() in done.output
