"""Look modes: a warning where a move turns the camera by axes of both references, and only there."""

from fractions import Fraction

import pytest

from sequencer.motion.look import mixed_references
from sequencer.rig.axis import Axis, AxisKind, Reference, Rig
from sequencer.score.move import Ease, Key, Move, Track

KINDS: dict[str, AxisKind] = {"pan": "pan", "tilt": "tilt", "roll": "roll", "slide": "slide"}


def rig(**references: Reference | None) -> Rig:
    return Rig(
        name="quay",
        axes=tuple(
            Axis(
                name=name,
                kind=KINDS[name],
                unit="mm" if name == "slide" else "deg",
                travel=(-90, 90),
                speed=60,
                acceleration=120,
                jerk=600,
                reference=reference,
            )
            for name, reference in references.items()
        ),
    )


def move(*names: str) -> Move:
    return Move(tracks=tuple(Track(name, (Key(Fraction(0), 0.0, Ease("linear")),)) for name in names))


def test_it_says_what_mixes_what_follows_and_the_mend() -> None:
    words = mixed_references(rig(pan="base", tilt="world", roll="world"), move("pan", "tilt", "roll"))
    assert words.startswith("The move mixes look modes: tilt and roll are set against the world, pan against the base.")
    assert "pan turns with it and tilt and roll do not, so the picture turns" in words
    assert words.endswith("Set the head to one mode for all of them, or correct their reference in rig.json.")


def test_three_are_listed_with_a_comma() -> None:
    both = rig(pan="world", tilt="base", roll="base")
    assert "tilt and roll turn with it and pan does not" in mixed_references(both, move("pan", "tilt", "roll"))


@pytest.mark.parametrize(
    ("references", "used"),
    [
        ({"pan": "world", "tilt": "world"}, ("pan", "tilt")),
        ({"pan": "base", "tilt": "base"}, ("pan", "tilt")),
        ({"pan": "world", "tilt": "base"}, ("pan",)),
        ({"pan": "world", "tilt": None}, ("pan", "tilt")),
        ({"pan": None, "tilt": None}, ("pan", "tilt")),
        ({"pan": "world", "slide": "base"}, ("pan", "slide")),
        ({"pan": "world", "tilt": "base"}, ()),
    ],
)
def test_one_reference_alone_is_none_to_warn_of(references: dict[str, Reference | None], used: tuple[str, ...]) -> None:
    assert mixed_references(rig(**references), move(*used)) == ""


def test_a_reference_that_is_none_is_refused() -> None:
    with pytest.raises(ValueError, match="reference is 'horizon'; it must be one of world, base"):
        rig(pan="horizon")  # type: ignore[arg-type]  # what a file may say
