"""How the axes of a rig place its camera: which way is positive, where a slide goes, how high and far off the lens is.

It refuses words that an axis of that kind cannot turn to. Directions and signs are those of docs/conventions.md.
"""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

HEIGHT_M = 1.5
SLIDE_HEADING_DEG = -90.0  # from left to right, as most slides stand
# which way an axis goes when its position grows; the first is what counts where nothing is said
WAYS: dict[str, tuple[str, str]] = {
    "pan": ("left", "right"),
    "tilt": ("up", "down"),
    "roll": ("clockwise", "anticlockwise"),
    "lift": ("up", "down"),
}
_HIGHEST_M = 100.0
_LONGEST_MM = 2000.0  # of a lens before its head
Triple = tuple[float, float, float]


@dataclass(frozen=True, slots=True, kw_only=True)
class Geometry:
    """What the axes do to the camera, as far as it is not what every rig's do.

    `height_m` is where pan, tilt and roll meet when all axes stand at zero; the lens is there too, but for `pupil_mm`:
    how far to the right, ahead and above of it, as the camera has them, the entrance pupil is. In its place
    `sensor_plane_mm` says that of the middle of the sensor plane, from which a lens's table of its pupil counts; None
    for whichever nobody says. `positive` is pairs of an axis's name and the way that it goes as its position grows:
    left or right, up or down, clockwise or anticlockwise as seen from behind the camera.
    `heading_deg` is pairs of a slide's name and where it goes as its position grows: 0 forward, 90 left, -90 right.
    Error: ValueError naming the field.
    """

    height_m: float = HEIGHT_M
    positive: tuple[tuple[str, str], ...] = ()
    heading_deg: tuple[tuple[str, float], ...] = ()
    pupil_mm: Triple | None = None
    sensor_plane_mm: Triple | None = None

    def __post_init__(self) -> None:
        if not (math.isfinite(self.height_m) and abs(self.height_m) <= _HIGHEST_M):
            raise ValueError(f"height_m is {self.height_m:g}; it must be from {-_HIGHEST_M:g} to {_HIGHEST_M:g}")
        for field in ("pupil_mm", "sensor_plane_mm"):
            for value in getattr(self, field) or ():
                if not (math.isfinite(value) and abs(value) <= _LONGEST_MM):
                    raise ValueError(f"{field} has {value:g}; it must be from {-_LONGEST_MM:g} to {_LONGEST_MM:g}")
        if self.pupil_mm is not None and self.sensor_plane_mm is not None:
            raise ValueError("pupil_mm and sensor_plane_mm are both given, and each says where the lens is; keep one")
        for name, heading_deg in self.heading_deg:
            if not (math.isfinite(heading_deg) and abs(heading_deg) <= 360):
                raise ValueError(f"heading_deg of {name} is {heading_deg:g}; it must be from -360 to 360")

    @property
    def mounted_mm(self) -> Triple:
        """Where what is said to be mounted, the pupil or the sensor plane, is from the point where the axes meet."""
        return self.pupil_mm or self.sensor_plane_mm or (0.0, 0.0, 0.0)

    def sign(self, name: str, kind: str) -> float:
        """Return -1 for an axis whose positive way is the other one, else 1."""
        ways = WAYS.get(kind)
        return -1.0 if ways is not None and dict(self.positive).get(name) == ways[1] else 1.0

    def heading(self, name: str) -> float:
        """Return where the slide `name` goes. Unit: degrees."""
        return dict(self.heading_deg).get(name, SLIDE_HEADING_DEG)

    def renamed(self, before: str, after: str) -> "Geometry":
        """Return the geometry of a rig in which the axis `before` is called `after`."""
        return replace(
            self,
            positive=tuple((after if name == before else name, word) for name, word in self.positive),
            heading_deg=tuple((after if name == before else name, value) for name, value in self.heading_deg),
        )

    def suited(self, kinds: Mapping[str, str]) -> "Geometry":
        """Return what of it suits a rig with axes of these kinds: what it says of others is left out."""
        return replace(
            self,
            positive=tuple((name, word) for name, word in self.positive if word in WAYS.get(kinds.get(name, ""), ())),
            heading_deg=tuple((name, value) for name, value in self.heading_deg if kinds.get(name) == "slide"),
        )


def check_geometry(geometry: Geometry, kinds: Mapping[str, str], tabled_mm: float | None) -> None:
    """Refuse a geometry that does not suit a rig with axes of these kinds. Error: ValueError in plain words.

    `tabled_mm` is how far ahead of the sensor plane the lens's table has its pupil, mostly; None without a table.
    """
    _check_mounted(geometry, tabled_mm)
    for name in [name for name, _ in geometry.positive] + [name for name, _ in geometry.heading_deg]:
        if name not in kinds:
            raise ValueError(f"the rig has no axis {name!r}; its axes are {', '.join(kinds)}")
    for name, word in geometry.positive:
        ways = WAYS.get(kinds[name])
        if ways is None:
            raise ValueError(
                f"positive of {name} is {word!r}; an axis of the kind {kinds[name]} has none, leave it out"
            )
        if word not in ways:
            raise ValueError(f"positive of {name} is {word!r}; it must be {ways[0]} or {ways[1]}")
    for name, _ in geometry.heading_deg:
        if kinds[name] != "slide":
            raise ValueError(f"heading_deg of {name} is given; only a slide has one, leave it out")


def _check_mounted(geometry: Geometry, tabled_mm: float | None) -> None:
    if tabled_mm is not None and geometry.pupil_mm is not None:
        right, ahead, up = geometry.pupil_mm
        raise ValueError(
            "pupil_mm is given, and the camera has a table pupil, which counts from the sensor plane; say where that "
            f"is instead: with sensor_plane_mm [{right:g}, {ahead - tabled_mm:.2f}, {up:g}] the pupil is at pupil_mm "
            "where the camera's focal_mm and subject_m hold"
        )
    if tabled_mm is None and geometry.sensor_plane_mm is not None:
        raise ValueError(
            "sensor_plane_mm is given, and nothing says how far ahead of it the entrance pupil lies; give the camera a "
            "table pupil, of one row at least, or write pupil_mm instead"
        )
