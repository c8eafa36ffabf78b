"""The arithmetic of a timelapse: from what the operator knows to what is missing, exactly. It moves nothing.

Source: common practice, and definitions: `frames = clip x rate`; `event = frames x interval`, each frame owning the
interval that begins with its exposure; the interval must hold the way, the settling, the exposure and what the camera
needs besides. Shutter angle = 360 degrees x exposure / interval (the handbooks' angle x exposure x frame rate, from
memory). NTSC rates are exact (SMPTE ST 12-1).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from fractions import Fraction
from math import ceil, floor

from sequencer.score.ramp import Intervals
from sequencer.timebase.rate import RATES, Rate

HALF = Fraction(1, 2)  # of the interval open: 180 degrees, as film has it; common practice, no source
_MOST_FRAMES = 10_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Known:
    """What the operator knows; None for what is missing. Unit: seconds, exact.

    `settle_s` is the longest that the rig may take to stand still. `move_s` is the longest way from one frame's pose to
    the next, `camera_s` what the camera needs beside the exposure (to wake, to write); both are known, 0 where nothing.
    `moving`: the rig moves on while frames are exposed, so that neither way nor settling has a time of its own.
    """

    event_s: Fraction | None = None
    clip_s: Fraction | None = None
    rate: Rate | None = None
    exposure_s: Fraction | None = None
    settle_s: Fraction | None = None
    interval_s: Fraction | None = None
    frames: int | None = None
    ramp: Intervals | None = None  # in place of one interval
    move_s: Fraction = Fraction(0)
    camera_s: Fraction = Fraction(0)
    moving: bool = False

    def __post_init__(self) -> None:
        for name in ("event_s", "clip_s", "exposure_s", "interval_s", "frames"):
            value = getattr(self, name)
            if value is not None and value <= 0:
                raise ValueError(f"{_called(name)} is {value}; it must be above zero")
        for name in ("settle_s", "move_s", "camera_s"):
            value = getattr(self, name)
            if value is not None and value < 0:
                raise ValueError(f"{_called(name)} is {value}; it must be zero or more")
        if self.frames is not None and self.frames > _MOST_FRAMES:
            raise ValueError(f"{self.frames} frames are more than {_MOST_FRAMES}; give fewer")
        if self.ramp is not None and self.interval_s is not None:
            raise ValueError("an interval and a ramp of intervals are both given; leave one of them out")

    @property
    def beside_s(self) -> Fraction:
        """What must find room in an interval beside exposure and settling."""
        return self.camera_s + (0 if self.moving else self.move_s)


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan:
    """A timelapse that is known whole, and what had to be rounded on the way, in words. Unit: seconds, exact."""

    event_s: Fraction
    clip_s: Fraction
    rate: Rate
    exposure_s: Fraction
    settle_s: Fraction
    move_s: Fraction
    camera_s: Fraction
    frames: int
    intervals: Intervals
    moving: bool = False
    notes: tuple[str, ...] = ()

    def at(self, frame: int) -> Fraction:
        """Return when this frame is exposed, after frame 0."""
        return self.intervals.at(frame)

    @property
    def needs_s(self) -> Fraction:
        """The least that an interval must last."""
        return self.exposure_s + self.camera_s + (0 if self.moving else self.settle_s + self.move_s)

    @property
    def shortest_s(self) -> Fraction:
        """The shortest interval."""
        return self.intervals.shortest(self.frames)[1]

    @property
    def angle_deg(self) -> Fraction:
        """The shutter angle, where the interval is longest."""
        return 360 * self.exposure_s / self.intervals.longest(self.frames)[1]


def solve(known: Known) -> Plan:
    """Return the whole plan, whichever two are missing, or more where the rest still says it.

    Frames are whole: a clip is rounded to the nearest, an event holds as many as have their whole interval in it.
    Error: ValueError in words where what is known says too little, or two things that exclude each other.
    """
    notes: list[str] = []
    now = known
    for _ in range(len(_STEPS)):
        before = now
        for ready, fill in _STEPS:
            if ready(now):
                now = fill(now, notes)
        if now == before:
            break
    missing = [_called(name) for name in _ALL if getattr(now, name) is None]
    if missing:
        raise ValueError(f"{' and '.join(missing)} cannot be known from the rest; give one more of them")
    assert now.frames is not None
    assert now.rate is not None
    assert now.clip_s is not None
    assert now.event_s is not None
    assert now.exposure_s is not None
    assert now.settle_s is not None
    intervals = _intervals(now)
    _agree(known, now, intervals)
    return Plan(
        event_s=intervals.at(now.frames),
        clip_s=now.rate.seconds(now.frames),
        rate=now.rate,
        exposure_s=now.exposure_s,
        settle_s=now.settle_s,
        move_s=now.move_s,
        camera_s=now.camera_s,
        frames=now.frames,
        intervals=intervals,
        moving=now.moving,
        notes=tuple(notes),
    )


_ALL = ("event_s", "clip_s", "rate", "exposure_s", "settle_s", "frames")


def _called(name: str) -> str:
    words = {"event_s": "the event's length", "clip_s": "the clip's length", "rate": "the rate", "move_s": "the way"}
    words |= {"exposure_s": "the exposure", "settle_s": "the longest settle", "interval_s": "the interval"}
    return words.get(name, {"camera_s": "the camera's own time"}.get(name, f"the number of {name}"))


def _intervals(now: Known) -> Intervals:
    if now.ramp is not None:
        return now.ramp
    assert now.interval_s is not None
    return Intervals(((0, now.interval_s),))


def _paced(now: Known) -> bool:
    return now.interval_s is not None or now.ramp is not None


def _frames_of_clip(now: Known, notes: list[str]) -> Known:
    assert now.clip_s is not None
    assert now.rate is not None
    exact = now.rate.frames(now.clip_s)
    frames = max(1, floor(exact + HALF))
    if frames != exact:
        lasts = seconds(now.rate.seconds(frames))
        notes.append(f"a clip of {seconds(now.clip_s)} is {number(exact)} frames; {frames} frames are {lasts}")
    return replace(now, frames=frames)


def _frames_of_event(now: Known, notes: list[str]) -> Known:
    assert now.event_s is not None
    intervals = _intervals(now)
    frames = intervals.within(now.event_s)
    if frames < 1:
        raise ValueError(
            f"the event lasts {seconds(now.event_s)}, less than an interval of {seconds(intervals.of(0))}; shorten that"
        )
    if rest := now.event_s - intervals.at(frames):
        notes.append(f"{frames} whole intervals fit the event; {seconds(rest)} of it are left")
    return replace(now, frames=frames)


def _rate_of_clip(now: Known, _: list[str]) -> Known:
    assert now.frames is not None
    assert now.clip_s is not None
    exact = now.frames / now.clip_s
    for rate in RATES.values():
        if rate.fraction == exact:
            return replace(now, rate=rate)
    nearest = min(RATES.values(), key=lambda rate: abs(rate.fraction - exact))
    lasts = seconds(nearest.seconds(now.frames))
    raise ValueError(
        f"{now.frames} frames in {seconds(now.clip_s)} are {number(exact)} a second, which is no rate; "
        f"the nearest is {nearest}, at which they last {lasts}"
    )


def _ask_least_interval(now: Known, notes: list[str]) -> Known:
    assert now.exposure_s is not None
    assert now.settle_s is not None
    least = now.exposure_s + now.beside_s + (0 if now.moving else now.settle_s)
    notes.append(f"the interval is the least that works: {seconds(least)}")
    return replace(now, interval_s=least)


def _room_s(now: Known) -> Fraction:
    """Return what the shortest interval leaves for exposure and settling. Error: ValueError where that is nothing."""
    shortest = _intervals(now).shortest(now.frames or 1)[1]
    room = shortest - now.beside_s
    if room <= 0:
        raise ValueError(
            f"an interval of {seconds(shortest)} leaves nothing for the exposure: the way to the next pose and the "
            f"camera take {seconds(now.beside_s)}; give it more than that"
        )
    return room


def _exposure(now: Known, notes: list[str]) -> Known:
    assert now.settle_s is not None
    longest = _room_s(now) - (0 if now.moving else now.settle_s)
    if longest <= 0:
        raise ValueError(
            f"settling for {seconds(now.settle_s)} leaves nothing of the interval for the exposure; shorten one, or "
            "lengthen the other"
        )
    notes.append(f"the exposure is the longest that works: {seconds(longest, most=True)}")
    return replace(now, exposure_s=longest)


def _settle(now: Known, notes: list[str]) -> Known:
    assert now.exposure_s is not None
    longest = Fraction(0) if now.moving else _room_s(now) - now.exposure_s
    if longest < 0:
        least = seconds(now.exposure_s + now.beside_s)
        raise ValueError(f"an exposure of {seconds(now.exposure_s)} does not fit in; it takes an interval of {least}")
    if not now.moving:
        notes.append(f"the longest settle that works is {seconds(longest, most=True)}")
    return replace(now, settle_s=longest)


def _both(now: Known, notes: list[str]) -> Known:
    """Choose the exposure by the half-open shutter, as far as there is room; settling has the rest."""
    room = _room_s(now)
    exposure = min(room, _intervals(now).shortest(now.frames or 1)[1] * HALF)
    notes.append(f"the exposure is half of the interval, as far as there is room: {seconds(exposure, most=True)}")
    return _settle(replace(now, exposure_s=exposure), notes)


_Step = tuple[Callable[[Known], bool], Callable[[Known, list[str]], Known]]
# in this order: what is exact before what is chosen
_STEPS: tuple[_Step, ...] = (
    (lambda k: k.frames is None and k.clip_s is not None and k.rate is not None, _frames_of_clip),
    (lambda k: k.frames is None and k.event_s is not None and _paced(k), _frames_of_event),
    (lambda k: k.rate is None and k.frames is not None and k.clip_s is not None, _rate_of_clip),
    (
        lambda k: k.clip_s is None and k.frames is not None and k.rate is not None,
        lambda k, _: replace(k, clip_s=k.rate.seconds(k.frames or 0) if k.rate else None),
    ),
    (
        lambda k: not _paced(k) and k.event_s is not None and k.frames is not None,
        lambda k, _: replace(k, interval_s=(k.event_s or 0) / Fraction(k.frames or 1)),
    ),
    (lambda k: not _paced(k) and k.exposure_s is not None and k.settle_s is not None, _ask_least_interval),
    (
        lambda k: k.event_s is None and k.frames is not None and _paced(k),
        lambda k, _: replace(k, event_s=_intervals(k).at(k.frames or 0)),
    ),
    (lambda k: k.exposure_s is None and k.settle_s is None and _paced(k) and k.frames is not None, _both),
    (lambda k: k.exposure_s is None and k.settle_s is not None and _paced(k) and k.frames is not None, _exposure),
    (lambda k: k.settle_s is None and k.exposure_s is not None and _paced(k) and k.frames is not None, _settle),
)


def _agree(known: Known, now: Known, intervals: Intervals) -> None:
    """Refuse what says two things. A clip agrees to half a frame, an event to less than its last interval."""
    assert now.frames is not None
    assert now.rate is not None
    if known.clip_s is not None and abs(now.rate.frames(known.clip_s) - now.frames) > HALF:
        asked = number(now.rate.frames(known.clip_s))
        raise ValueError(
            f"{now.frames} frames do not make a clip of {seconds(known.clip_s)}, which is {asked} frames at "
            f"{now.rate}; leave out the clip, the frames, or one of the event and the interval"
        )
    if known.event_s is not None and not 0 <= known.event_s - intervals.at(now.frames) < intervals.of(now.frames):
        lasts = seconds(intervals.at(now.frames))
        raise ValueError(
            f"{now.frames} frames at these intervals last {lasts}, and the event {seconds(known.event_s)}; leave out "
            "the event, the interval, or one of the frames and the clip"
        )


def refusal(plan: Plan) -> str:
    """Return why the intervals cannot hold what they must, with the nearest that works; empty where they can."""
    frame, shortest = plan.intervals.shortest(plan.frames)
    if plan.needs_s <= shortest:
        return ""
    parts = [(plan.exposure_s, "exposure"), (plan.camera_s, "the camera")]
    parts += [] if plan.moving else [(plan.settle_s, "settling"), (plan.move_s, "the way")]
    sum_up = " + ".join(f"{seconds(one)} {name}" for one, name in parts if one)
    longest = shortest - (plan.needs_s - plan.exposure_s)
    offers = [f"an interval of {seconds(plan.needs_s)}"]
    if longest > 0:
        offers.append(f"an exposure of {seconds(longest, most=True)}")
    fewer = floor(plan.event_s / plan.needs_s)
    if 1 <= fewer < plan.frames and (plan.moving or not plan.move_s):  # else the ways would be longer too
        offers.append(f"{fewer} frames ({seconds(plan.rate.seconds(fewer))} of clip) in the same event")
    where = f" at frame {frame}" if len(plan.intervals.points) > 1 else ""
    return (
        f"the interval of {seconds(shortest)}{where} cannot hold {sum_up} = {seconds(plan.needs_s)}; "
        f"what works: {', or '.join(offers)}"
    )


def guidance(plan: Plan) -> str:
    """Say what the exposure does to motion in the clip. The angles are common practice, no source."""
    angle = plan.angle_deg
    said = f"the shutter angle is {number(angle)} degrees"
    if angle > 360:
        return said
    half = seconds(plan.shortest_s * HALF)
    if angle < 90:
        return f"{said}: what moves will look choppy; {half} would be 180, as film has it"
    if angle > 270:
        return f"{said}: what moves will smear; {half} would be 180, as film has it"
    return f"{said}: what moves blurs much as on film"


def seconds(lasts_s: Fraction, *, most: bool = False) -> str:
    """Write a time for people: short ones as a fraction, those of an hour and more with hours and minutes beside them.

    `most`: it is the most that works, so that it is not rounded up.
    """
    if 0 < lasts_s < 1 and lasts_s.numerator == 1:
        return f"{lasts_s} s"
    said = f"{number(lasts_s, most=most)} s"
    if lasts_s < 120:
        return said
    minutes, rest = divmod(lasts_s, 60)
    hours, minutes = divmod(minutes, 60)
    return f"{said} ({hours} h {minutes:02} min{f' {number(rest)} s' if rest else ''})" if hours else said


def number(value: Fraction, *, most: bool = False) -> str:
    """Write a number to a thousandth, without zeros at its end; rounded up, so that what is least stays enough.

    `most`: rounded down, so that what is most still fits; one of less than a thousandth as it is.
    """
    thousandths = floor(value * 1000) if most else ceil(value * 1000)
    if most and value > 0 and not thousandths:
        return str(value)
    return f"{thousandths / 1000:.3f}".rstrip("0").rstrip(".")
