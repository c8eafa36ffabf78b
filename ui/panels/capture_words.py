"""What became of a performance, in numbers and sentences. It refuses to know Qt."""

from collections.abc import Callable
from fractions import Fraction

from sequencer.live.capture import Captured
from sequencer.project.document import Project
from ui.language import translate
from ui.panels.capture_plan import Keyed, off_px
from ui.panels.faults import left

Label = Callable[[Fraction], str]


def titles() -> tuple[str, ...]:
    """Return the titles of the table."""
    return (
        translate("capture", "axis"),
        translate("capture", "keys, of samples"),
        translate("capture", "off, of what may be"),
        translate("capture", "pixels"),
        translate("capture", "at"),
        translate("capture", "limits"),
    )


def cells(project: Project, done: Keyed, one: Captured, label: Label) -> tuple[str, ...]:
    """Return the row of an axis."""
    axis = project.rig.axes[project.rig.index(one.axis)]
    moved_px = off_px(project, axis, one.furthest)
    return (
        f"{one.axis} ({axis.unit})",
        translate("capture", "{keys}, {percent:.1f} %").format(keys=one.keys, percent=100 * one.keys / one.samples),
        translate("capture", "{off:.3g} of {most:.3g}").format(off=one.furthest, most=done.within[one.axis]),
        "–" if moved_px is None else f"{moved_px:.2f}",
        label(one.at),
        translate("capture", "broken") if one.over else translate("capture", "kept"),
    )


def verdict(done: Keyed) -> str:
    """Return whether the move with the keys keeps the limits."""
    judged = done.judged
    if judged.ok:
        return translate("capture", "The move then keeps all limits, with {left} left.").format(
            left=left(-judged.reserve)
        )
    count = len(judged.over()) + len(judged.combined_over())
    words = translate("capture", "The move then breaks limits, in {n} legs: see Check, and repair it.")
    return words.format(n=count)


def lines(project: Project, done: Keyed, label: Label) -> tuple[str, ...]:
    """Return what is proposed, the verdict on limits first: what is far down may be out of sight."""
    told = [verdict(done)]
    for one in done.captured:
        axis = project.rig.axes[project.rig.index(one.axis)]
        words = translate(
            "capture", "{axis}: {keys} keys for {samples} samples, at most {off:.3g} {unit} off, {most:.3g} allowed"
        )
        told.append(
            words.format(
                axis=one.axis,
                keys=one.keys,
                samples=one.samples,
                off=one.furthest,
                unit=axis.unit,
                most=done.within[one.axis],
            )
        )
    return (*told, *notes(done, label))


def notes(done: Keyed, label: Label) -> tuple[str, ...]:
    """Return what else the operator must know: keys at the ends, and what is otherwise beside the performance."""
    told = []
    for one in done.captured:
        if one.added:
            words = translate(
                "capture", "{axis}: in motion at an end, so keys outside give it time to come to speed or rest: {at}"
            )
            told.append(words.format(axis=one.axis, at=", ".join(label(at) for at in one.added)))
        if one.beside > done.within[one.axis]:
            words = translate(
                "capture", "{axis}: beside the performance it is up to {off:.3g} from where it was before"
            )
            told.append(words.format(axis=one.axis, off=one.beside))
    return tuple(told)
