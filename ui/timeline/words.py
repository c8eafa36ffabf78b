"""What the timeline says in words: units, what is too much and how much, and the key where the keyboard is.

It refuses to say a number that is rounded to nothing.
"""

from sequencer.motion.shape import Shape
from sequencer.rig.axis import Axis
from sequencer.timebase.timecode import Timebase
from ui.language import translate
from ui.timeline.judged import Over


def unit_of(axis: Axis) -> str:
    """Return the axis's unit, short, for a scale; a part of a whole is 0 to 1."""
    return {
        "deg": translate("timeline", "deg"),
        "mm": translate("timeline", "mm"),
        "part": translate("timeline", "0 to 1"),
    }[axis.unit]


def spoken_unit(axis: Axis) -> str:
    """Return the axis's unit as one says it."""
    return {
        "deg": translate("timeline", "degrees"),
        "mm": translate("timeline", "millimetres"),
        "part": translate("timeline", "of its range"),
    }[axis.unit]


def asked(over: Over, axis: Axis) -> str:
    """Say what is too much, and how much: `speed 12 % over`."""
    if over.jump:
        return {
            "position": translate("timeline", "position jumps"),
            "speed": translate("timeline", "speed jumps"),
            "acceleration": translate("timeline", "acceleration jumps"),
        }[over.jump]
    if over.of == "travel":
        words = translate("timeline", "travel {much} {unit} over")
        unit = unit_of(axis) if axis.unit != "part" else ""
        return words.format(much=f"{over.beyond:.3g}", unit=unit).replace("  ", " ")
    words = {
        "speed": translate("timeline", "speed {much} % over"),
        "acceleration": translate("timeline", "acceleration {much} % over"),
        "jerk": translate("timeline", "jerk {much} % over"),
    }[over.of]
    percent = 100 * over.excess
    return words.format(much=f"{percent:.0f}" if percent >= 9.5 else f"{percent:.2g}")


def spoken_key(shape: Shape, number: int, timebase: Timebase, *, chosen: bool) -> str:
    """Say one key: `Pan, key 12 of 40, 10:00:04:12, 15.20 degrees, poly345, selected`."""
    key = shape.track.keys[number]
    said = [
        shape.axis.name.capitalize(),
        translate("timeline", "key {number} of {count}").format(number=number + 1, count=len(shape.track.keys)),
        str(timebase.label(key.at)),
        f"{key.value:.{3 if shape.axis.unit == 'part' else 2}f} {spoken_unit(shape.axis)}",
    ]
    if number + 1 < len(shape.track.keys):
        said.append(key.ease.law)
    if key.pin:
        said.append(translate("timeline", "pinned"))
    if chosen:
        said.append(translate("timeline", "selected"))
    return ", ".join(said)
