"""What became of a camera from elsewhere, in numbers and sentences. It refuses to know Qt."""

from collections.abc import Callable
from fractions import Fraction

from sequencer.motion.check import LegCheck
from sequencer.motion.peaks import Asked
from sequencer.project.previz import Near, TakenIn
from sequencer.rig.axis import Unit
from ui.acts.bringing import Camera
from ui.acts.options import in_sight, labels
from ui.acts.written import decimal
from ui.language import translate
from ui.panels.faults import asked_words, left, quantity

Label = Callable[[Fraction], str]
_MOST_OVER = 6
_LITTLE_MM, _LITTLE_DEG = 0.01, 0.001  # less is said as nothing left over


def titles() -> tuple[str, ...]:
    """Return the titles of the table of axes."""
    return (
        translate("hand over", "axis"),
        translate("hand over", "keys, of samples"),
        translate("hand over", "off, of what may be"),
        translate("hand over", "at"),
        translate("hand over", "keys replaced"),
    )


def cells(done: TakenIn, one: Near, label: Label) -> tuple[str, ...]:
    """Return the row of an axis."""
    own, rig = one.fitted.captured, done.project.rig
    unit = rig.axes[rig.index(own.axis)].unit
    percent = 100 * own.keys / len(done.film.frames)
    return (
        f"{own.axis} ({unit})",
        translate("hand over", "{keys}, {percent:.1f} %").format(keys=own.keys, percent=percent),
        translate("hand over", "{off:.3g} of {most:.3g}").format(off=one.off, most=one.fitted.within),
        label(one.at),
        str(one.fitted.replaced),
    )


def where(done: TakenIn, label: Label) -> str:
    """Say which camera it is, and where it goes."""
    cue = translate("hand over", "the new cue {cue}") if done.made else translate("hand over", "the cue {cue}")
    words = translate("hand over", "{camera}: {count} samples, from {first} to {last}, in {cue}.")
    return words.format(
        camera=done.film.name,
        count=len(done.film.frames),
        first=label(done.span[0]),
        last=label(done.span[1]),
        cue=cue.format(cue=done.cue.name),
    )


def verdict(done: TakenIn) -> str:
    """Say whether the motors can do it."""
    if done.ok:
        most = left(-done.check.reserve)
        return translate("hand over", "The motors can do it; {left} of a limit is left at least.").format(left=most)
    words = translate(
        "hand over", "The motors cannot do it as it is: {n} ask too much. Take it, and repair it on the page Check."
    )
    return words.format(n=len(done.over) + len(done.together))


def over(done: TakenIn, label: Label) -> list[str]:
    """Say what asks too much, the worst first."""
    rate, rig = done.project.timebase.rate, done.project.rig

    def asked(one: Asked, unit: Unit | None) -> str:
        value, limit = asked_words(one, unit, "")
        words = translate("hand over", "{what} {value} at {at}, limit {limit}")
        at = label(rate.frames(Fraction(one.at_s)))
        return words.format(what=quantity(one.of), value=value, at=at, limit=limit)

    def leg(one: LegCheck) -> str:
        return f"{one.axis}: {asked(one.worst, rig.axes[rig.index(one.axis)].unit)}"

    told = [leg(one) for one in done.over] + [f"{name}: {asked(one, None)}" for name, one in done.together]
    more = len(told) - _MOST_OVER
    return told if more <= 0 else [*told[:_MOST_OVER], translate("hand over", "and {n} more").format(n=more)]


def reach(done: TakenIn, label: Label) -> list[str]:
    """Say what the rig cannot reach of the camera, and by how much the picture is off what it can."""
    told = []
    for (most, at), least, words in (
        (
            done.left_mm,
            _LITTLE_MM,
            translate("hand over", "Out of the rig's reach: up to {most} mm of its place, at {at}."),
        ),
        (
            done.left_deg,
            _LITTLE_DEG,
            translate("hand over", "Out of the rig's reach: up to {most} degrees of its view, at {at}."),
        ),
    ):
        if most > least:
            told.append(words.format(most=decimal(most, 3), at=label(at)))
    if done.off_px is not None:
        words = translate("hand over", "The picture is off by {off:.2f} pixels at most, at {at}.")
        told.append(words.format(off=done.off_px[0], at=label(done.off_px[1])))
    return told


def notes(found: Camera, label: Label) -> list[str]:
    """Say what else must be known."""
    told = []
    for one in found.done.axes:
        own = one.fitted.captured
        if own.added:
            words = translate("hand over", "{axis}: in motion where it begins or ends, so keys lead there and on: {at}")
            told.append(words.format(axis=own.axis, at=", ".join(label(at) for at in own.added)))
    return [*told, *(in_sight(word) for word in found.remarks)]


def mend(found: Camera) -> str:
    """Say how slow it would have to be for the motors, where that was found; else nothing."""
    if found.slower is None:
        return ""
    words = translate("hand over", "“{lasts}” {times} was tried, and fits.")
    return words.format(lasts=labels()["--time-scale"], times=decimal(found.slower, 3))


def lines(found: Camera, label: Label) -> tuple[str, ...]:
    """Return what is proposed, the motors' word first: what is far down may be out of sight."""
    done = found.done
    mended = mend(found)
    return (
        verdict(done),
        *([mended] if mended else []),
        *reach(done, label),
        *over(done, label),
        *notes(found, label),
    )
