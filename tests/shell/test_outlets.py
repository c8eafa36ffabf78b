"""Which output has which axes, and what is refused before anything is opened."""

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import replace

import pytest

from sequencer.adapters.contract import Carries, Output, OutputKind
from sequencer.errors import LinkError, ProjectError
from sequencer.rig.axis import Axis, Rig
from sequencer.rig.outlet import Outlet
from sequencer.shell import outlets
from sequencer.shell.outlets import answering, as_served, demand, parts, timing, told
from sequencer.timebase.timecode import Timebase

RIG = Rig(
    name="quay",
    axes=tuple(
        Axis(
            name=name,
            kind=name,
            unit="deg",
            travel=None if name == "pan" else (-90, 90),
            speed=60,
            acceleration=120,
            jerk=600,
        )
        for name in ("pan", "tilt", "roll")
    ),
)


@contextmanager
def unopened(address: str, rig: Rig, timebase: Timebase) -> Iterator[Output]:
    raise AssertionError("nothing is opened here")
    yield


def kind(
    scheme: str, carries: Carries, *, drives: bool = True, answers: bool = True, camera: bool = True
) -> OutputKind:
    return OutputKind(
        schemes=(scheme,),
        answers=answers,
        stop_action="it holds",
        carries=lambda address, rig: carries,
        open=unopened,
        drives=drives,
        camera=camera,
    )


KINDS = {
    "wide": kind("wide", Carries()),
    "slow": kind("slow", Carries(most_hz=50.0, why="1,000 bytes a second, 20 a set")),
    "narrow": kind("narrow", Carries(most_axes=1, span=((-45.0, 45.0),)), answers=False),
    "early": kind("early", Carries(ahead_s=0.3, committed_s=0.1)),
    "later": kind("later", Carries(ahead_s=0.2, committed_s=0.15)),
    "book": kind("book", Carries(), drives=False, answers=False),
    "lens": kind("lens", Carries(triggers=("shutter", "cut")), drives=False, answers=False),
}


@pytest.fixture(autouse=True)
def _kinds(monkeypatch: pytest.MonkeyPatch) -> None:
    def found(address: str) -> OutputKind:
        try:
            return KINDS[address.partition(":")[0]]
        except KeyError:
            raise LinkError(f"{address!r} is no output") from None

    monkeypatch.setattr(outlets, "output_kind", found)


def axes_of(written: str, rig: Rig = RIG) -> dict[str, tuple[str, ...]]:
    return {part.outlet.address: part.rig.names for part in parts(written, rig)}


def test_one_address_has_all_axes() -> None:
    assert axes_of("wide:a") == {"wide:a": ("pan", "tilt", "roll")}


def test_axes_are_divided_and_one_output_may_have_the_rest() -> None:
    assert axes_of("tilt=narrow:b; wide:a") == {"narrow:b": ("tilt",), "wide:a": ("pan", "roll")}
    assert [part.places for part in parts("roll,pan=wide:a; tilt=wide:b", RIG)] == [(0, 2), (1,)]


def test_nothing_written_means_the_rigs_own_outputs() -> None:
    own = replace(
        RIG, outlets=(Outlet(address="wide:a", axes=("pan", "roll")), Outlet(address="narrow:b", axes=("tilt",)))
    )
    assert axes_of("", own) == {"wide:a": ("pan", "roll"), "narrow:b": ("tilt",)}
    assert axes_of("wide:c", own) == {"wide:c": ("pan", "tilt", "roll")}


def test_what_only_tells_has_all_axes_and_claims_none() -> None:
    assert axes_of("book:a; wide:b") == {"book:a": ("pan", "tilt", "roll"), "wide:b": ("pan", "tilt", "roll")}
    assert axes_of("book:a") == {"book:a": ("pan", "tilt", "roll")}
    assert [part.on_loss for part in parts("book:a; wide:b", RIG)] == ["go on", "stop"]


@pytest.mark.parametrize(
    ("written", "words"),
    [
        ("pan=wide:a; pan,tilt=wide:b; roll=wide:c", "pan is claimed by wide:a too"),
        ("wide:a; wide:b", "would drive the same axes"),
        ("pan,tilt,roll=wide:a; wide:b", "no axis is left for it"),
        ("pan=wide:a", "no output drives tilt, roll"),
        ("crane=wide:a; wide:b", "no axis 'crane'"),
        ("pan,pan=wide:a; wide:b", "'pan' twice"),
        ("somewhere", "'somewhere' is no output"),
        ("gone:a", "is no output"),
    ],
)
def test_what_cannot_be_divided_is_refused_with_the_mend(written: str, words: str) -> None:
    with pytest.raises((ProjectError, LinkError), match=words):
        parts(written, RIG)


def test_more_axes_than_an_output_carries_are_refused() -> None:
    with pytest.raises(ProjectError, match=r"carries 1 axes, and 3 are given"):
        demand(parts("narrow:a", replace(RIG)), 250)


def test_a_rate_that_the_link_cannot_carry_is_refused_with_the_figure() -> None:
    rig = replace(RIG, outlets=(Outlet(address="slow:a", rate_hz=100.0),))
    with pytest.raises(ProjectError, match=r"holds 50 setpoints a second \(1,000 bytes a second, 20 a set\), and 100"):
        demand(parts("", rig), 250)
    demand(parts("", replace(RIG, outlets=(Outlet(address="slow:a", rate_hz=50.0),))), 250)
    # a tick of less is no more than the link holds
    demand(parts("", rig), 50)


def test_where_no_rate_is_said_the_link_sets_the_pace_and_the_operator_is_told() -> None:
    (part,) = parts("slow:a", RIG)
    demand((part,), 250)
    assert part.rate_hz == 50.0
    assert "50 times a second (1,000 bytes a second, 20 a set)" in told((part,), 250)[0]


def test_an_axis_is_kept_within_what_its_output_can_say() -> None:
    served = parts("pan=narrow:a; tilt=narrow:b; roll=wide:c", RIG)
    rig = as_served(RIG, served)
    assert [axis.travel for axis in rig.axes] == [(-45.0, 45.0), (-45.0, 45.0), (-90, 90)]
    assert "pan is kept within -45 to 45: narrow:a carries no more" in told(served, 250)
    elsewhere = replace(RIG, axes=(replace(RIG.axes[1], travel=(50, 90), home=60), *RIG.axes[2:]))
    with pytest.raises(ProjectError, match="carries tilt from -45 to 45 only"):
        demand(parts("tilt=narrow:a; roll=wide:c", elsewhere), 250)


def test_a_home_that_an_output_cannot_say_is_refused_with_the_mend() -> None:
    rig = replace(RIG, axes=(RIG.axes[0], replace(RIG.axes[1], home=60.0), RIG.axes[2]))
    with pytest.raises(ProjectError, match="carries tilt from -45 to 45 only, outside the axis's home at 60"):
        demand(parts("tilt=narrow:b; wide:a", rig), 250)


def test_an_output_is_led_by_its_links_latency() -> None:
    own = replace(
        RIG,
        axes=(replace(RIG.axes[0], latency_s=0.01), *RIG.axes[1:]),
        outlets=(
            Outlet(address="wide:a", axes=("pan", "tilt"), latency_s=0.04),
            Outlet(address="wide:b", axes=("roll",)),
        ),
    )
    assert [axis.latency_s for axis in as_served(own, parts("", own)).axes] == pytest.approx([0.05, 0.04, 0.0])


def test_setpoints_are_made_as_early_as_the_one_that_wants_them_earliest() -> None:
    pace = timing(parts("pan=early:a; tilt=later:b; roll=wide:c", RIG), 250)
    assert (pace.period_ns, pace.ahead_ns, pace.committed_ns) == (4_000_000, 300_000_000, 150_000_000)
    assert timing(parts("wide:a", RIG), 250).ahead_ns == 0


def test_what_happens_when_setpoints_end_is_told_before_arming() -> None:
    rig = replace(
        RIG, outlets=(Outlet(address="wide:a", at_end="drop power", on_loss="go on"), Outlet(address="book:b"))
    )
    first, second, third = told(parts("", rig), 250)
    assert "drops motor power: what it carries can fall" in first
    assert second == "when wide:a is lost, the others go on moving"
    assert third == "book:b is told of the move, and moves nothing"
    assert told(parts("lens:c", RIG), 250) == ("lens:c has the camera (shutter, cut), and moves nothing",)


def test_only_axes_whose_output_can_answer_are_waited_for() -> None:
    assert answering(parts("tilt=narrow:a; wide:b; book:c", RIG), RIG) == (True, False, True)
