"""The points of a project file to values and back. Every fault is a ProjectError with its place."""

from collections.abc import Sequence

from msgspec import UNSET

from sequencer.project.points_file import PointFile
from sequencer.project.values import placed, said
from sequencer.score.points import Point, Points


def build_points(written: Sequence[PointFile]) -> Points:
    """Return the points. Error: ProjectError with the place of the first fault."""
    return tuple(
        placed(f"points[{number}]", Point, name=one.name, at_m=one.at_m, sigma_m=said(one.sigma_m, None))
        for number, one in enumerate(written)
    )


def plain_points(points: Points) -> list[PointFile]:
    """Return the points as they are written."""
    return [
        PointFile(
            name=one.name,
            at_m=(float(one.at_m[0]), float(one.at_m[1]), float(one.at_m[2])),
            sigma_m=UNSET if one.sigma_m is None else float(one.sigma_m),
        )
        for one in points
    ]
