"""The plan of the prep sheet: to scale, with everybody in sight or named, and what is within the area plain to see."""

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.figure import Figure
from matplotlib.patches import Circle, Polygon
from numpy.typing import NDArray

from sequencer.export.drawn import drawing, figure
from sequencer.export.prep import Place, Prep, Stand, Top
from sequencer.export.prep_plan import fitted, hidden, plan
from sequencer.motion.swept import Zone

Floats = NDArray[np.float64]


def person(name: str, x: float, y: float, clear_m: float | None = 1.0) -> Place:
    return Place(name=name, person=True, outline=np.array([[x, y]]), radius_m=0.22, clear_m=clear_m)


def box(name: str, x: float, y: float, size: float = 0.4) -> Place:
    half = size / 2
    outline = np.array([[x - half, y - half], [x + half, y - half], [x + half, y + half], [x - half, y + half]])
    return Place(name=name, person=False, outline=outline, radius_m=0.0, clear_m=1.0)


def prep(places: tuple[Place, ...] = (), reach_m: float | None = 0.45) -> Prep:
    corners = np.array([[0.0, 0.0], [1.08, 0.0]])
    still = Top(0.0, "", "")
    return Prep(
        project="p",
        rig="r",
        made="m",
        stretch="all of it",
        passes=("band",),
        whole_travel=False,
        reach_m=reach_m,
        margin_m=0.0,
        swept=Zone(corners, reach_m or 0.0),
        paths=(np.linspace(corners[0], corners[1], 50),),
        start=Stand(at=corners[0], forward=np.array([0.0, 1.0])),
        end=Stand(at=corners[1], forward=np.array([1.0, 0.0])),
        places=places,
        axes=(),
        pupil=still,
        turn=still,
        part=None,
        heights_m=(1.5, 1.5),
        lens_m=(1.5, 1.5),
        fits="",
        remarks=(),
    )


def drawn(one: Prep) -> Figure:
    with drawing():
        return figure(plan(one))


def test_a_metre_is_as_long_on_paper_as_the_scale_says() -> None:
    one = prep((person("Singer", 1.5, 4.0), box("Crate", -1.4, 2.9)))
    found = drawn(one)
    (axes,) = found.axes
    ends = axes.transData.transform([(0.0, 0.0), (1.0, 0.0), (0.0, 1.0)])
    scale = fitted(one).scale
    # of 72 points, that is an inch, 25.4 mm
    for end in ends[1:]:
        assert np.linalg.norm(end - ends[0]) / 72 * 25.4 == pytest.approx(1000 / scale, rel=1e-6)
    texts = [text.get_text() for text in axes.texts]
    assert any(f"1:{scale} where it is printed at full size" in text for text in texts)
    bar = [patch for patch in axes.patches if patch.get_zorder() == 8]
    length = sum(patch.get_width() for patch in bar)  # type: ignore[attr-defined]  # they are rectangles
    assert any(text.startswith(f"{length:g} m;") for text in texts)


def test_the_area_is_drawn_as_it_is_and_not_without_a_reach() -> None:
    (axes,) = drawn(prep()).axes
    filled = [patch for patch in axes.patches if isinstance(patch, Polygon) and patch.get_fill()]
    (area,) = filled
    low, high = area.get_xy().min(axis=0), area.get_xy().max(axis=0)
    assert low == pytest.approx([-0.45, -0.45])
    assert high == pytest.approx([1.53, 0.45])
    (axes,) = drawn(prep(reach_m=None)).axes
    assert not [patch for patch in axes.patches if isinstance(patch, Polygon) and patch.get_fill()]
    assert "the way of the rig alone" in plan(prep(reach_m=None)).alt


def test_who_is_within_is_black_and_said_so() -> None:
    one = prep((person("Singer", 0.3, 0.2, clear_m=-0.2), person("Fiddle", 2.0, 2.0)))
    (axes,) = drawn(one).axes
    faces = {patch.get_facecolor()[:3] for patch in axes.patches if isinstance(patch, Circle)}
    assert faces == {(0.0, 0.0, 0.0), (1.0, 1.0, 1.0)}
    texts = [text.get_text() for text in axes.texts]
    assert "Singer: WITHIN" in texts
    assert "Fiddle" in texts
    assert plan(one).alt.endswith("within it: Singer")


def test_who_is_near_is_in_sight_and_who_is_far_is_named() -> None:
    near, far = person("Singer", 1.5, 4.0), person("Walker", 5.0, 60.0)
    one = prep((near, far, box("Wall", 0.0, 60.0, 2.0), box("Crate", -1.4, 2.9)))
    assert hidden(one) == ("Walker", "Wall")
    view = fitted(one)
    assert (near.outline - near.radius_m >= view.low).all()
    assert (near.outline + near.radius_m <= view.high).all()
    low, high = one.swept.bounds
    assert (low >= view.low).all()
    assert (high <= view.high).all()


def test_names_do_not_lie_on_each_other() -> None:
    crowd = tuple(person(f"Person {number}", 1.0 + number % 3, 2.0 + number // 3) for number in range(9))
    found = drawn(prep(crowd))
    (axes,) = found.axes
    found.canvas.draw()
    boxes = [text.get_window_extent() for text in axes.texts if text.get_text().startswith("Person")]
    assert len(boxes) == 9
    overlaps = [(one, other) for place, one in enumerate(boxes) for other in boxes[place + 1 :] if one.overlaps(other)]
    assert overlaps == []


@pytest.mark.parametrize("size_m", [0.02, 0.3, 5.0, 80.0])
def test_any_size_of_a_rig_has_a_scale(size_m: float) -> None:
    one = replace(prep(), swept=Zone(np.array([[0.0, 0.0], [size_m, 0.0], [size_m, size_m]]), size_m / 3))
    view = fitted(one)
    low, high = one.swept.bounds
    assert (low >= view.low).all()
    assert (high <= view.high).all()
    assert drawn(one).axes
