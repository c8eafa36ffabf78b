"""The set as the views draw it: a ground with a grid, stand-in people and boxes, each with sizes in metres.

Places and headings are in the rig's own space (docs/conventions.md): the camera at zero stands above the origin and
looks along Y. Each value refuses sizes that nothing has. Edits return another stage; none is made here by itself.
"""

import math
from dataclasses import dataclass, field, replace

FARTHEST_M = 1000.0
TALLEST_M = 100.0
SMALLEST_M = 0.001
MOST = 200  # of people, and of boxes
MOST_CELLS = 200  # along a side of the ground


def _between(name: str, value: float, low: float, high: float) -> None:
    if not (math.isfinite(value) and low <= value <= high):
        raise ValueError(f"{name} is {value:g}; it must be from {low:g} to {high:g}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Ground:
    """A square grid around the origin: the length of its side, and of a cell's."""

    size_m: float = 20.0
    cell_m: float = 1.0

    def __post_init__(self) -> None:
        _between("size_m", self.size_m, SMALLEST_M, 2 * FARTHEST_M)
        _between("cell_m", self.cell_m, SMALLEST_M, 2 * FARTHEST_M)
        if self.size_m / self.cell_m > MOST_CELLS:
            raise ValueError(
                f"a ground of {self.size_m:g} m has more than {MOST_CELLS} cells of {self.cell_m:g} m along a side; "
                "make the cells larger"
            )


@dataclass(frozen=True, slots=True, kw_only=True)
class Person:
    """A stand-in: where the feet are, how tall, and where the face points (0 forward, 90 left, 180 to the camera)."""

    name: str
    x_m: float
    y_m: float
    height_m: float
    heading_deg: float = 180.0

    def __post_init__(self) -> None:
        _between("x_m", self.x_m, -FARTHEST_M, FARTHEST_M)
        _between("y_m", self.y_m, -FARTHEST_M, FARTHEST_M)
        _between("height_m", self.height_m, SMALLEST_M, TALLEST_M)
        _between("heading_deg", self.heading_deg, -360, 360)


@dataclass(frozen=True, slots=True, kw_only=True)
class Box:
    """A box: its centre, its size across, along and up before it is turned, and how far it is turned to the left."""

    name: str
    centre_m: tuple[float, float, float]
    size_m: tuple[float, float, float]
    heading_deg: float = 0.0

    def __post_init__(self) -> None:
        for number, value in enumerate(self.centre_m):
            _between(f"centre_m[{number}]", value, -FARTHEST_M, FARTHEST_M)
        for number, value in enumerate(self.size_m):
            _between(f"size_m[{number}]", value, SMALLEST_M, FARTHEST_M)
        _between("heading_deg", self.heading_deg, -360, 360)


Thing = Person | Box


@dataclass(frozen=True, slots=True, kw_only=True)
class Stage:
    """Everything that stands before the camera."""

    ground: Ground = field(default_factory=Ground)
    people: tuple[Person, ...] = ()
    boxes: tuple[Box, ...] = ()

    def __post_init__(self) -> None:
        for name in ("people", "boxes"):
            if len(getattr(self, name)) > MOST:
                raise ValueError(f"there are {len(getattr(self, name))} {name}; {MOST} is the most that is drawn")

    def with_new(self, thing: Thing) -> "Stage":
        """Return the stage with one thing more, the last of its kind."""
        if isinstance(thing, Person):
            return replace(self, people=(*self.people, thing))
        return replace(self, boxes=(*self.boxes, thing))

    def with_person(self, number: int, person: Person | None) -> "Stage":
        """Return the stage with another person in the place `number`, or without the one there."""
        new = () if person is None else (person,)
        return replace(self, people=(*self.people[:number], *new, *self.people[number + 1 :]))

    def with_box(self, number: int, box: Box | None) -> "Stage":
        """Return the stage with another box in the place `number`, or without the one there."""
        new = () if box is None else (box,)
        return replace(self, boxes=(*self.boxes[:number], *new, *self.boxes[number + 1 :]))
