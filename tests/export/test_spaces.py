"""Our space in others', by scipy's rotations and by what the standards say in words."""

import numpy as np
import pytest
from scipy.spatial.transform import Rotation

from sequencer.export.contract import Wanted
from sequencer.export.foreign import rate_near
from sequencer.export.spaces import Up, Warped, from_space
from sequencer.shell.kinds import exports
from sequencer.timebase.rate import Rate

RNG = np.random.default_rng(11)


def test_forward_right_and_up_are_where_the_standards_have_them() -> None:
    """Source: glTF 2.0, coordinate system, and UsdGeomCamera: right-handed, Y up, a camera looks along -Z."""
    right, forward, up = np.eye(3)
    here = np.stack([right, forward, up])
    spaces = {kind.name: kind.space for kind in exports().values() if kind.holds == "camera"}
    y_up = np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]])
    expected = {"gltf": y_up, "usd": y_up * 100, "opentrackio": here, "csv": here}
    assert spaces.keys() == expected.keys()
    for name, places in expected.items():
        assert spaces[name](Wanted()).placed(here).tolist() == places.tolist(), name
    assert spaces["usd"](Wanted(up="z")).placed(here).tolist() == (here * 100).tolist()
    # the unit is said as it is counted
    units = {name: (space(Wanted()).unit, space(Wanted()).in_metre) for name, space in spaces.items()}
    assert units == {"usd": ("cm", 100), "gltf": ("m", 1), "opentrackio": ("m", 1), "csv": ("m", 1)}


@pytest.mark.parametrize("up", ["y", "z"])
def test_a_strangers_matrix_becomes_our_pose(up: Up) -> None:
    """The camera looks along its -Z: put together by scipy from a look, checked by where its axes point."""
    turns = Rotation.random(50, rng=RNG)
    origin = RNG.normal(size=(50, 3))
    taken = from_space(2.5 * turns.as_matrix(), origin, up, 0.01)
    assert not isinstance(taken, Warped)
    position, matrix, scale = taken
    back = Rotation.from_euler("x", 90, degrees=True) if up == "y" else Rotation.identity()
    assert np.abs(position - back.apply(origin) * 0.01).max() < 1e-12
    assert scale == pytest.approx(2.5)
    for number, own in enumerate(([1, 0, 0], [0, 0, -1], [0, 1, 0])):  # right, forward, up
        assert np.abs(matrix[:, :, number] - back.apply(turns.apply(own))).max() < 1e-12


def test_what_single_precision_leaves_is_taken_off() -> None:
    turns = Rotation.random(20, rng=RNG).as_matrix().astype(np.float32).astype(np.float64)
    taken = from_space(turns, np.zeros((20, 3)), "y", 1.0)
    assert not isinstance(taken, Warped)
    assert np.abs(taken[1] @ np.swapaxes(taken[1], 1, 2) - np.eye(3)).max() < 1e-14


@pytest.mark.parametrize(
    ("matrix", "words"),
    [
        (np.diag([1.0, 1.0, 1.001]), "is scaled unevenly (1, 1, 1.001 along its X, Y and Z)"),
        (np.diag([1.0, 1.0, -1.0]), "is mirrored"),
        (np.diag([1.0, 0.0, 1.0]), "is scaled to nothing"),
        (np.diag([1.0, np.inf, 1.0]), "has a transform that is no number"),
        (np.array([[1.0, 0.001, 0], [0, 1, 0], [0, 0, 1]]), "is sheared"),
    ],
)
def test_what_no_camera_is_is_told_with_its_sample(matrix: np.ndarray, words: str) -> None:
    whole = np.repeat(np.eye(3)[np.newaxis], 5, axis=0)
    whole[3] = matrix
    taken = from_space(whole, np.zeros((5, 3)), "y", 1.0)
    assert isinstance(taken, Warped)
    assert taken.number == 3
    assert words in taken.words


@pytest.mark.parametrize(
    ("fps", "rate"),
    [
        (23.976, Rate(24000, 1001)),
        (23.98, Rate(24000, 1001)),
        (24000 / 1001, Rate(24000, 1001)),
        (24.0, Rate(24)),
        (29.97, Rate(30000, 1001)),
        (59.94, Rate(60000, 1001)),
        (12.0, Rate(12)),
        (120.0, Rate(120)),
        (23.9, None),
        (24.02, None),
        (0.0, None),
        (float("nan"), None),
        (1e9, None),
    ],
)
def test_a_float_is_the_exact_rate_that_it_stands_for(fps: float, rate: Rate | None) -> None:
    assert rate_near(fps) == rate
